//! From syntax tree to model.
//!
//! Each board is planned once (`board`): its nets get local numbers, its chips their parts. Plans are then put in
//! place (`place`), and cables and supplies are led to their connectors. Every step walks flat lists once, so the time
//! grows with the number of pins.

mod assembler;
mod assembly;
mod board;
mod cable;
mod component;
mod connector;
mod contents;
mod designs;
mod discrete;
mod feed;
mod place;
mod plan;
mod supply;

use super::problems::Problems;
use super::things::Model;
use crate::contents::Contents;
use crate::language::ast;
use crate::part::Library;
use designs::{Design, Designs};
use plan::Context;
use std::sync::Arc;

/// A model, unless it is not clear which board or assembly is meant, and what its making had to say.
#[derive(Clone, Debug)]
pub(crate) struct Elaborated {
    pub(crate) model: Option<Arc<Model>>,
    pub(crate) problems: Problems,
}

/// Makes the model of a board or assembly: without a name the only assembly, or else the only board.
pub(crate) fn elaborate(name: Option<&str>, files: &[ast::File], library: &Library, contents: &Contents) -> Elaborated {
    let context = Context { library, contents };
    let mut problems = Problems::default();
    let designs = Designs::of(files);
    let model = match problems.take(designs.choose(name)) {
        Some(Design::Board(board)) => Some(alone(board, context, &mut problems)),
        Some(Design::Assembly(assembly)) => Some(assembly::assemble(assembly, &designs, context, &mut problems)),
        None => None,
    };
    let model = model.map(|model| {
        let lost = contents::left_out(&model, contents);
        lost.into_iter().for_each(|problem| problems.report(problem));
        Arc::new(Model { names: Arc::new(contents.names.clone()), ..model })
    });
    Elaborated { model, problems }
}

fn alone(board: &ast::Board, context: Context<'_>, problems: &mut Problems) -> Model {
    let plan = board::plan(board, context, problems);
    let mut model = Model { name: board.name.node.as_str().into(), ..Model::default() };
    model.place(&plan, &Arc::default(), board.name.span);
    model
}
