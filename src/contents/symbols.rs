//! What the names of a program stand for: labels, constants, names of values.

use super::formula::value;
use super::instructions::InstructionSet;
use super::names::Names;
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::{self, Named, ProgramLine, Whole, Word};
use crate::text::Span;
use std::collections::BTreeMap;

/// Constants that lean on later ones, in a row.
const DEEPEST_CONSTANTS: usize = 64;

/// The code of a refusal that was told before.
pub(super) const LOST: &str = "lost";

/// What a name of the program stands for.
enum Symbol<'a> {
    /// An address, once it is known.
    Label(Option<i64>),
    /// A formula.
    Constant(&'a Whole, Constant),
}

/// How far a constant is.
#[derive(Clone, Copy)]
enum Constant {
    Open,
    Busy,
    Known(i64),
    /// It was told already that it cannot be had.
    Lost,
}

/// The names of a program.
pub(super) struct Symbols<'a> {
    set: &'a InstructionSet,
    names: &'a Names,
    table: BTreeMap<&'a str, (Symbol<'a>, Span)>,
    /// Constants that are being worked out, one for the other.
    depth: usize,
}

impl<'a> Symbols<'a> {
    pub(super) fn new(set: &'a InstructionSet, names: &'a Names) -> Self {
        Symbols { set, names, table: BTreeMap::new(), depth: 0 }
    }

    /// True for a register and other words that the instructions use.
    pub(super) fn is_word(&self, name: &str) -> bool {
        self.set.registers.contains_key(name) || self.set.fixed.contains(name)
    }

    /// Takes in the labels and constants of a program; the mnemonics of its instructions are no names.
    pub(super) fn declare(&mut self, program: &'a ast::Program, is_mnemonic: &dyn Fn(&str) -> bool) -> Vec<Diagnostic> {
        let mut problems = Vec::new();
        for line in &program.lines {
            let (word, symbol): (&Word, Symbol<'a>) = match line {
                ProgramLine::Label(word) => (word, Symbol::Label(None)),
                ProgramLine::Constant(word, formula) => (word, Symbol::Constant(formula, Constant::Open)),
                _ => continue,
            };
            // A line that was left unfinished must not take the next one for a value.
            if self.is_word(&word.node) || is_mnemonic(&word.node) {
                let message = format!("{} is a word of the instructions", word.node);
                problems.push(
                    Diagnostic::error("name-twice", message)
                        .at(word.span, "it cannot be a label or a constant")
                        .help("call it something else"),
                );
            } else if let Some((_, first)) = self.table.get(word.node.as_str()) {
                let problem = Diagnostic::error("name-twice", format!("{} is there twice", word.node))
                    .at(word.span, "the second time")
                    .at(*first, "the first time")
                    .help("rename one of them");
                problems.push(problem);
            } else {
                self.table.insert(&word.node, (symbol, word.span));
            }
        }
        problems
    }

    /// Gives a label its address, unless another one has taken its name.
    pub(super) fn place(&mut self, label: &Word, at: u64) {
        if let Some((Symbol::Label(address), first)) = self.table.get_mut(label.node.as_str())
            && *first == label.span
        {
            *address = Some(at as i64);
        }
    }

    /// The value of a name.
    pub(super) fn meaning(&mut self, named: &Named) -> Result<i64, Diagnostic> {
        let name = named.name.as_str();
        if named.owner.is_some() {
            return match self.names.find(named)?.1.as_slice() {
                [(first, last)] if first == last => Ok(*first as i64),
                _ => Err(Diagnostic::error("unknown-name", format!("{name} stands for several values"))
                    .at(named.span, "one is wanted")
                    .help("write the number")),
            };
        }
        match self.table.get(name) {
            Some((Symbol::Label(Some(address)), _)) => Ok(*address),
            Some((Symbol::Label(None), span)) => Err(Diagnostic::error("not-yet", format!("{name} is not known yet"))
                .at(named.span, "this decides where the lines below stand")
                .at(*span, "its address comes later")
                .help("use labels and constants from above here")),
            Some((Symbol::Constant(_, Constant::Known(value)), _)) => Ok(*value),
            Some((Symbol::Constant(_, Constant::Lost), _)) => Err(Diagnostic::error(LOST, "")),
            Some((Symbol::Constant(_, Constant::Busy), span)) => {
                Err(Diagnostic::error("circle", format!("{name} is made of itself"))
                    .at(*span, "this constant")
                    .at(named.span, "which leads back to it")
                    .help("give one of the constants in the circle a value of its own"))
            }
            Some(&(Symbol::Constant(formula, Constant::Open), span)) => self.constant(name, formula, span),
            None if self.is_word(name) => {
                Err(Diagnostic::error("operands", format!("{name} is a word of the instructions, not a number"))
                    .at(named.span, "a number is wanted here")
                    .help("a register stands alone, never in a formula"))
            }
            None => {
                let near = did_you_mean(name, self.table.keys().copied());
                Err(Diagnostic::error("unknown-name", format!("the program has no label or constant {name}"))
                    .at(named.span, "not known")
                    .help(near.unwrap_or_else(|| format!("write `{name}:` before a line, or `constant {name} = 0`"))))
            }
        }
    }

    fn constant(&mut self, name: &str, formula: &'a Whole, span: Span) -> Result<i64, Diagnostic> {
        if self.depth >= DEEPEST_CONSTANTS {
            return Err(Diagnostic::error("too-deep", "constants lean on later ones too many times in a row")
                .at(span, "this one")
                .help("write them in the order in which they need one another"));
        }
        self.set_constant(name, Constant::Busy);
        self.depth += 1;
        let found = value(formula, &mut |named| self.meaning(named));
        self.depth -= 1;
        let state = match &found {
            Ok(value) => Constant::Known(*value),
            // A label that comes later will be known in the second walk.
            Err(problem) if problem.code == "not-yet" => Constant::Open,
            Err(_) => Constant::Lost,
        };
        self.set_constant(name, state);
        found
    }

    fn set_constant(&mut self, name: &str, state: Constant) {
        if let Some((Symbol::Constant(_, constant), _)) = self.table.get_mut(name) {
            *constant = state;
        }
    }
}
