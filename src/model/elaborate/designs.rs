//! The boards and assemblies of a design, by name.

use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast;
use crate::model::problems::several;
use rustc_hash::FxHashMap;

/// The boards and assemblies of a design, in order of writing.
pub(super) struct Designs<'a> {
    boards: Vec<&'a ast::Board>,
    board_called: FxHashMap<&'a str, &'a ast::Board>,
    assemblies: Vec<&'a ast::Assembly>,
}

#[derive(Clone, Copy)]
pub(super) enum Design<'a> {
    Board(&'a ast::Board),
    Assembly(&'a ast::Assembly),
}

impl<'a> Designs<'a> {
    pub(super) fn of(files: &'a [ast::File]) -> Self {
        let mut designs = Designs { boards: Vec::new(), board_called: FxHashMap::default(), assemblies: Vec::new() };
        for item in files.iter().flat_map(|file| &file.items) {
            match item {
                ast::Item::Board(board) => {
                    designs.boards.push(board);
                    designs.board_called.entry(&board.name.node).or_insert(board);
                }
                ast::Item::Assembly(assembly) => designs.assemblies.push(assembly),
                _ => {}
            }
        }
        designs
    }

    pub(super) fn board(&self, name: &str) -> Option<&'a ast::Board> {
        self.board_called.get(name).copied()
    }

    pub(super) fn assembly(&self, name: &str) -> Option<&'a ast::Assembly> {
        self.assemblies.iter().find(|assembly| assembly.name.node == name).copied()
    }

    pub(super) fn board_names(&self) -> impl Iterator<Item = &'a str> + use<'a, '_> {
        self.boards.iter().map(|board| board.name.node.as_str())
    }

    fn names(&self) -> Vec<&'a str> {
        let assemblies = self.assemblies.iter().map(|assembly| assembly.name.node.as_str());
        assemblies.chain(self.board_names()).collect()
    }

    pub(super) fn choose(&self, name: Option<&str>) -> Result<Design<'a>, Diagnostic> {
        if let Some(name) = name {
            let board = || self.board(name).map(Design::Board);
            return self.assembly(name).map(Design::Assembly).or_else(board).ok_or_else(|| {
                let message = format!("there is no board or assembly `{name}` in the design");
                let names = self.names();
                let near = did_you_mean(name, names.iter().copied());
                Diagnostic::error("unknown-design", message)
                    .help(near.unwrap_or_else(|| format!("there are: {}", several(&names))))
            });
        }
        match (self.assemblies.as_slice(), self.boards.as_slice()) {
            ([assembly], _) => Ok(Design::Assembly(assembly)),
            ([], [board]) => Ok(Design::Board(board)),
            ([], []) => {
                Err(Diagnostic::error("unknown-design", "the design has no board")
                    .help("write one: `board NAME { ... }`"))
            }
            _ => {
                let message = format!("which one? the design has {}", several(&self.names()));
                Err(Diagnostic::error("unknown-design", message).help("name the board or assembly"))
            }
        }
    }
}
