//! Which blocks are open at a byte of a text that does not parse, told from its braces alone.

use super::places::{blanks, line_start, marks, shortened};
use crate::diagnostic::nearest;
use crate::language::parse::grammar::Rule;

/// The kinds of blocks, by what may stand in them.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(super) enum Block {
    File,
    Part,
    Package,
    Stores,
    Table,
    Sheet,
    Rows,
    Family,
    Levels,
    Board,
    Connector,
    Component,
    Assembly,
    Wires,
    Poles,
    Trial,
    Names,
    Instructions,
    /// What an instruction does.
    Effect,
    /// Where a trial finds registers and memory.
    Machine,
    Program,
    Contents,
    Bits,
    /// What it is cannot be told.
    Unknown,
}

impl Block {
    /// Every kind.
    #[cfg(test)]
    pub(super) const ALL: &[Block] = &[
        Block::File,
        Block::Part,
        Block::Package,
        Block::Stores,
        Block::Table,
        Block::Sheet,
        Block::Rows,
        Block::Family,
        Block::Levels,
        Block::Board,
        Block::Connector,
        Block::Component,
        Block::Assembly,
        Block::Wires,
        Block::Poles,
        Block::Trial,
        Block::Names,
        Block::Instructions,
        Block::Effect,
        Block::Machine,
        Block::Program,
        Block::Contents,
        Block::Bits,
        Block::Unknown,
    ];

    /// The rule that reads the rest of such a block; none for an unknown one.
    pub(super) fn rest(self) -> Option<Rule> {
        Some(match self {
            Block::File => Rule::rest_of_file,
            Block::Part => Rule::rest_of_part,
            Block::Package => Rule::rest_of_package,
            Block::Stores => Rule::rest_of_stores,
            Block::Table => Rule::rest_of_table,
            Block::Sheet => Rule::rest_of_sheet,
            Block::Rows => Rule::rest_of_rows,
            Block::Family => Rule::rest_of_family,
            Block::Levels => Rule::rest_of_levels,
            Block::Board => Rule::rest_of_board,
            Block::Connector => Rule::rest_of_connector,
            Block::Component => Rule::rest_of_component,
            Block::Assembly => Rule::rest_of_assembly,
            Block::Wires => Rule::rest_of_wires,
            Block::Poles => Rule::rest_of_poles,
            Block::Trial => Rule::rest_of_trial,
            Block::Names => Rule::rest_of_names,
            Block::Instructions => Rule::rest_of_instructions,
            Block::Effect => Rule::rest_of_effect,
            Block::Machine => Rule::rest_of_machine,
            Block::Program => Rule::rest_of_program,
            Block::Contents => Rule::rest_of_contents,
            Block::Bits => Rule::rest_of_bits,
            Block::Unknown => return None,
        })
    }

    /// The words that open a block inside this one.
    fn openers(self) -> &'static [(&'static str, Block)] {
        match self {
            Block::File => &[
                ("part", Block::Part),
                ("family", Block::Family),
                ("board", Block::Board),
                ("assembly", Block::Assembly),
                ("trial", Block::Trial),
                ("procedure", Block::Trial),
                ("names", Block::Names),
                ("instructions", Block::Instructions),
                ("program", Block::Program),
                ("contents", Block::Contents),
            ],
            Block::Part => &[
                ("package", Block::Package),
                ("on", Block::Stores),
                ("while", Block::Stores),
                ("table", Block::Table),
                ("family", Block::Sheet),
                ("grade", Block::Sheet),
                ("each", Block::Part),
            ],
            Block::Stores => &[("each", Block::Stores), ("when", Block::Stores)],
            Block::Sheet => &[("at", Block::Rows)],
            Block::Family => &[("at", Block::Levels)],
            Block::Contents => &[("address", Block::Bits), ("data", Block::Bits), ("each", Block::Contents)],
            Block::Wires => &[("each", Block::Wires)],
            Block::Poles => &[("each", Block::Poles)],
            Block::Instructions => &[("each", Block::Instructions)],
            Block::Board => &[("connector", Block::Connector), ("each", Block::Board)],
            Block::Component => &[("each", Block::Component)],
            Block::Trial => &[
                ("each", Block::Trial),
                ("repeat", Block::Trial),
                ("together", Block::Trial),
                ("machine", Block::Machine),
            ],
            Block::Assembly => &[("cable", Block::Wires), ("supply", Block::Poles), ("each", Block::Assembly)],
            _ => &[],
        }
    }

    /// The block that a brace opens inside this one behind a head; a misspelt word counts as the nearest one.
    pub(super) fn inner(self, head: &str) -> Block {
        let openers = self.openers();
        let mut words = head.split(|c: char| !c.is_ascii_alphanumeric()).filter(|word| !word.is_empty());
        let exact = words.clone().find_map(|word| openers.iter().find(|(opener, _)| *opener == word));
        let near = || {
            let names = openers.iter().map(|&(opener, _)| opener);
            let opener = nearest(words.next()?, names)?;
            openers.iter().find(|&&(word, _)| word == opener)
        };
        match exact.or_else(near) {
            Some(&(_, block)) => block,
            None if self == Block::Board => Block::Component,
            None if self == Block::Instructions => Block::Effect,
            None => Block::Unknown,
        }
    }
}

/// A block that is open.
#[derive(Clone, Copy, Debug)]
pub(super) struct Open {
    pub(super) block: Block,
    /// Where its head starts.
    pub(super) head: usize,
    /// Its brace, or where one is missing.
    pub(super) brace: usize,
    /// Blanks before the line of its head.
    pub(super) indent: usize,
}

impl Open {
    /// Where its body starts: behind its brace, if there is one.
    pub(super) fn body(&self, text: &str) -> usize {
        self.brace + usize::from(text[self.brace..].starts_with('{'))
    }
}

/// A walk through a text, which knows what is open where it stands.
pub(super) struct Walk<'t> {
    text: &'t str,
    /// The byte that it stands at.
    pub(super) at: usize,
    /// What is open there; the file itself is the first.
    pub(super) open: Vec<Open>,
    /// Where the line starts.
    newline: usize,
    /// Where the line or the block starts.
    line: usize,
    /// Where what stands before the next brace may start at the earliest.
    head: usize,
}

impl<'t> Walk<'t> {
    pub(super) fn new(text: &'t str) -> Self {
        let file = Open { block: Block::File, head: 0, brace: 0, indent: 0 };
        Walk { text, at: 0, open: vec![file], newline: 0, line: 0, head: 0 }
    }

    pub(super) fn innermost(&self) -> Open {
        *self.open.last().expect("the file is always open")
    }

    /// Opens and closes what the braces before a byte say, and stands there.
    pub(super) fn go_to(&mut self, to: usize) {
        for (at, mark) in marks(self.text, self.at).take_while(|&(at, _)| at < to) {
            match mark {
                b'{' => {
                    let outer = self.innermost().block;
                    let start = |from: usize| {
                        let text = &self.text[from..at];
                        from + text.len() - text.trim_start().len()
                    };
                    let mut head = start(self.line);
                    let mut block = outer.inner(&self.text[head..at]);
                    if block == Block::Unknown {
                        // The head may stand on several lines.
                        let whole = start(self.head);
                        block = outer.inner(&self.text[whole..at]);
                        head = if block == Block::Unknown { head } else { whole };
                    }
                    let newline = if head < self.newline { line_start(self.text, head) } else { self.newline };
                    self.open.push(Open { block, head, brace: at, indent: blanks(&self.text[newline..head]) });
                }
                b'}' if self.open.len() > 1 => {
                    self.open.pop();
                }
                _ => {}
            }
            match mark {
                b'{' | b'}' => (self.line, self.head) = (at + 1, at + 1),
                b'\n' => (self.line, self.newline) = (at + 1, at + 1),
                _ => {}
            }
        }
        self.at = to;
    }

    /// Leaves the innermost block behind the brace that ends at a byte.
    pub(super) fn leave(&mut self, end: usize) {
        if self.open.len() > 1 {
            self.open.pop();
        }
        self.newline = line_start(self.text, end);
        (self.at, self.line, self.head) = (end, end, end);
    }

    /// The byte behind the brace that closes the innermost block.
    pub(super) fn end_of_innermost(&self) -> usize {
        let mut depth = 1usize;
        for (at, mark) in marks(self.text, self.at) {
            match mark {
                b'{' => depth += 1,
                b'}' => depth -= 1,
                _ => {}
            }
            if depth == 0 {
                return at + 1;
            }
        }
        self.text.len()
    }

    /// The head of a block as a person calls it: `on rise CLK`.
    pub(super) fn head_of(&self, open: Open) -> String {
        let words: Vec<&str> = self.text[open.head..open.brace]
            .lines()
            .map(|line| line.split('#').next().unwrap_or(line))
            .flat_map(str::split_whitespace)
            .collect();
        shortened(&words.join(" "))
    }

    /// The brace that a text which ends too early has most likely left open: one whose closing brace stood further
    /// left than its head, or else the innermost that is open.
    pub(super) fn never_closed(&self) -> Open {
        let mut walk = Walk::new(self.text);
        for (at, mark) in marks(self.text, 0) {
            if mark == b'}' {
                walk.go_to(at);
                let inner = walk.innermost();
                let before = &self.text[walk.newline.max(walk.line)..at];
                let first = walk.line == walk.newline && before.trim_start().is_empty();
                if first && walk.open.len() > 1 && blanks(before) < inner.indent {
                    return inner;
                }
            }
        }
        self.innermost()
    }
}
