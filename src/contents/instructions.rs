//! Instruction sets: which bytes each instruction is, checked once for all programs.

use super::formula::value;
use super::name_table::NameTable;
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast::{self, EffectStep, EffectTarget, FormLine, Named, OperandKind, Whole, WholeKind, Word};
use crate::language::expand::Scope;
use crate::text::Span;
use std::collections::{BTreeMap, BTreeSet};

/// The longest instruction, in bytes.
pub(crate) const LONGEST_INSTRUCTION: usize = 16;

/// The most instructions of a set.
pub(crate) const MOST_FORMS: usize = 4096;

/// The most operand values that are tried to learn the first bytes of one instruction.
const MOST_TRIALS: u64 = 1 << 17;

/// An instruction set, ready for programs.
#[derive(Clone, Debug, Default)]
pub(super) struct InstructionSet {
    pub(super) name: String,
    pub(super) forms: Vec<Form>,
    /// Every register with the kinds that it belongs to, and its number in each.
    pub(super) registers: BTreeMap<String, Vec<(usize, i64)>>,
    /// Words that stand for themselves in some operand.
    pub(super) fixed: BTreeSet<String>,
    /// Registers of each kind.
    kinds: Vec<(String, Vec<i64>)>,
}

/// An instruction as it is written, with the variables of its repetitions put in.
pub(super) struct Written {
    mnemonic: String,
    operands: Vec<(bool, Vec<(Word, Option<OperandKind>)>)>,
    encoding: Vec<Whole>,
    alias: Option<String>,
    /// What it does, where that is said.
    pub(super) effect: Option<Vec<EffectStep>>,
    pub(super) span: Span,
}

/// An instruction.
#[derive(Clone, Debug)]
pub(super) struct Form {
    pub(super) mnemonic: String,
    pub(super) operands: Vec<(bool, Vec<Piece>)>,
    pub(super) encoding: Vec<Whole>,
    pub(super) span: Span,
}

/// A piece of an operand.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum Piece {
    /// A word that stands for itself.
    Fixed(String),
    /// A register of a kind, under a name for the formulas.
    Register(String, usize),
    /// A number from here to there.
    Number(String, i64, i64),
    /// A place, as its distance from the end of the instruction.
    Relative(String),
}

impl Form {
    /// `LOAD d, [n]`, for messages.
    pub(super) fn shape(&self) -> String {
        let operands = self.operands.iter().map(|(bracketed, pieces)| {
            let pieces: Vec<&str> = pieces.iter().map(Piece::name).collect();
            let pieces = pieces.join(", ");
            if *bracketed { format!("[{pieces}]") } else { pieces }
        });
        let operands: Vec<String> = operands.collect();
        format!("{} {}", self.mnemonic, operands.join(", ")).trim_end().to_owned()
    }
}

impl Piece {
    pub(super) fn name(&self) -> &str {
        match self {
            Piece::Fixed(name) | Piece::Register(name, _) | Piece::Number(name, ..) | Piece::Relative(name) => name,
        }
    }
}

/// Reads a declared set, with the forms of it that are right. What its instructions begin with becomes a list of names.
pub(super) fn read(
    declared: &ast::Instructions,
    problems: &mut Vec<Diagnostic>,
) -> (InstructionSet, NameTable, Vec<Written>) {
    let mut set = InstructionSet { name: declared.name.node.clone(), ..InstructionSet::default() };
    let mut table = NameTable { name: set.name.clone(), entries: Vec::new() };
    set.add_registers(declared, problems);
    let mut written = Vec::new();
    flatten(&declared.forms, &mut Scope::default(), &mut written, problems);
    if written.len() > MOST_FORMS {
        problems.push(
            Diagnostic::error("too-large", format!("more than {MOST_FORMS} instructions"))
                .at(declared.name.span, "in this set")
                .help("leave some out"),
        );
        return (set, table, Vec::new());
    }
    let mut kept = Vec::new();
    let mut by_mnemonic: BTreeMap<String, Vec<usize>> = BTreeMap::new();
    for written in written {
        let Some(form) = set.form(&written, problems) else {
            continue;
        };
        let same = by_mnemonic.entry(form.mnemonic.clone()).or_default();
        if let Some(&other) = same.iter().find(|&&other| set.alike(&set.forms[other], &form)) {
            let message = format!("two forms of {} cannot be told apart", form.mnemonic);
            problems.push(
                Diagnostic::error("ambiguous-form", message)
                    .at(form.span, "the second one")
                    .at(set.forms[other].span, "the first one")
                    .help("let one of them take brackets, another register or another number of operands"),
            );
            continue;
        }
        same.push(set.forms.len());
        match set.first_bytes(&form) {
            Ok(bytes) => {
                let alias = written.alias.as_ref().unwrap_or(&written.mnemonic);
                bytes.into_iter().for_each(|byte| table.add(alias, byte.into(), byte.into()));
            }
            Err(problem) => problems.push(*problem),
        }
        for (_, pieces) in &form.operands {
            for piece in pieces {
                if let Piece::Fixed(word) = piece {
                    set.fixed.insert(word.clone());
                }
            }
        }
        set.forms.push(form);
        kept.push(written);
    }
    (set, table, kept)
}

/// Each form once for each value of its repetitions; ends soon behind the most that there may be.
fn flatten(lines: &[FormLine], scope: &mut Scope, forms: &mut Vec<Written>, problems: &mut Vec<Diagnostic>) {
    for line in lines {
        if forms.len() > MOST_FORMS {
            return;
        }
        match line {
            FormLine::Form(form) => match written(form, scope) {
                Ok(form) => forms.push(form),
                Err(problem) => problems.push(problem),
            },
            FormLine::Each(each) => {
                let known = problems.len();
                let done = scope.each(each, |scope, body| {
                    // A mistake is told for the first value only.
                    if problems.len() == known {
                        flatten(body, scope, forms, problems);
                    }
                });
                problems.extend(done.err());
            }
        }
    }
}

fn written(form: &ast::Form, scope: &Scope) -> Result<Written, Diagnostic> {
    let operand = |operand: &ast::FormOperand| {
        let pieces = operand.pieces.iter().map(|(name, kind)| {
            let word = Word { node: scope.name(name)?, span: name.span };
            Ok((word, kind.clone()))
        });
        Ok((operand.bracketed, pieces.collect::<Result<_, _>>()?))
    };
    Ok(Written {
        mnemonic: scope.name(&form.mnemonic)?,
        operands: form.operands.iter().map(operand).collect::<Result<_, _>>()?,
        encoding: form.encoding.iter().map(|whole| with_variables(whole, scope)).collect(),
        alias: form.alias.as_ref().map(|alias| scope.name(alias)).transpose()?,
        effect: form.effect.as_ref().map(|steps| steps.iter().map(|step| step_with_variables(step, scope)).collect()),
        span: form.span,
    })
}

fn step_with_variables(step: &EffectStep, scope: &Scope) -> EffectStep {
    let inner = |whole: &Whole| with_variables(whole, scope);
    match step {
        EffectStep::Call(name, values, span) => {
            EffectStep::Call(name.clone(), values.iter().map(inner).collect(), *span)
        }
        EffectStep::Set(EffectTarget::Memory(address), value, span) => {
            EffectStep::Set(EffectTarget::Memory(inner(address)), inner(value), *span)
        }
        EffectStep::Set(target, value, span) => EffectStep::Set(target.clone(), inner(value), *span),
    }
}

/// A formula with numbers in place of the variables of repetitions.
fn with_variables(whole: &Whole, scope: &Scope) -> Whole {
    let inner = |whole: &Whole| Box::new(with_variables(whole, scope));
    let kind = match &whole.kind {
        WholeKind::Name(named) if named.owner.is_none() => match scope.variable(&named.name) {
            Some(value) => WholeKind::Number(value),
            None => whole.kind.clone(),
        },
        WholeKind::Unary(operator, operand) => WholeKind::Unary(*operator, inner(operand)),
        WholeKind::Binary(left, operator, right) => WholeKind::Binary(inner(left), *operator, inner(right)),
        WholeKind::Memory(address) => WholeKind::Memory(inner(address)),
        WholeKind::When(parts) => WholeKind::When(Box::new(parts.each_ref().map(|part| with_variables(part, scope)))),
        WholeKind::Name(_) | WholeKind::Number(_) | WholeKind::Text(_) => whole.kind.clone(),
    };
    Whole { kind, span: whole.span }
}

impl InstructionSet {
    fn add_registers(&mut self, declared: &ast::Instructions, problems: &mut Vec<Diagnostic>) {
        for ast::Registers { kind, members } in &declared.registers {
            let index = self.kinds.len();
            if is_own_kind(&kind.node) || self.kinds.iter().any(|(name, _)| *name == kind.node) {
                problems.push(
                    Diagnostic::error("name-twice", format!("{} is a kind of operand already", kind.node))
                        .at(kind.span, "the second one")
                        .help("call it something else"),
                );
                continue;
            }
            let mut numbers = Vec::new();
            for (name, number) in members {
                let known = self.registers.entry(name.node.clone()).or_default();
                if known.iter().any(|&(of, _)| of == index) {
                    problems.push(
                        Diagnostic::error("name-twice", format!("{} is there twice", name.node))
                            .at(name.span, "the second time")
                            .help("give each register a name of its own"),
                    );
                    continue;
                }
                known.push((index, number.node));
                numbers.push(number.node);
            }
            self.kinds.push((kind.node.clone(), numbers));
        }
    }

    fn form(&self, written: &Written, problems: &mut Vec<Diagnostic>) -> Option<Form> {
        let before = problems.len();
        let mut fields: Vec<&str> = Vec::new();
        let mut operands = Vec::new();
        for operand in &written.operands {
            let mut pieces = Vec::new();
            for (name, kind) in &operand.1 {
                let Some(kind) = kind else {
                    pieces.push(Piece::Fixed(name.node.clone()));
                    continue;
                };
                if fields.contains(&name.node.as_str()) {
                    problems.push(
                        Diagnostic::error("name-twice", format!("two operands are called {}", name.node))
                            .at(name.span, "the second one")
                            .help("the formulas must tell them apart: rename one"),
                    );
                }
                fields.push(&name.node);
                match self.piece(&name.node, kind) {
                    Ok(piece) => pieces.push(piece),
                    Err(problem) => problems.push(*problem),
                }
            }
            operands.push((operand.0, pieces));
        }
        if written.encoding.len() > LONGEST_INSTRUCTION {
            problems.push(
                Diagnostic::error("too-large", format!("an instruction of more than {LONGEST_INSTRUCTION} bytes"))
                    .at(written.span, "")
                    .help("make two instructions of it"),
            );
        }
        for formula in &written.encoding {
            names_in(formula, &mut |named| {
                if named.owner.is_some() || !fields.contains(&named.name.as_str()) {
                    let message = format!("{} is no operand of this instruction", named.name);
                    let near = did_you_mean(&named.name, fields.iter().copied());
                    problems.push(Diagnostic::error("unknown-name", message).at(named.span, "not known here").help(
                        near.unwrap_or_else(|| {
                            "formulas speak of the operands that have a kind, as in `n: byte`".to_owned()
                        }),
                    ));
                }
            });
        }
        (problems.len() == before).then(|| Form {
            mnemonic: written.mnemonic.clone(),
            operands,
            encoding: written.encoding.clone(),
            span: written.span,
        })
    }

    fn piece(&self, name: &str, kind: &OperandKind) -> Result<Piece, Box<Diagnostic>> {
        let name = name.to_owned();
        let word = match kind {
            OperandKind::Range(first, last) if first.node <= last.node => {
                return Ok(Piece::Number(name, first.node, last.node));
            }
            OperandKind::Range(first, last) => {
                return Err(Box::new(
                    Diagnostic::error("range", "this range runs down")
                        .at(first.span.to(last.span), "the first number is the larger one")
                        .help("write the smaller number first"),
                ));
            }
            OperandKind::Word(word) => word,
        };
        Ok(match word.node.as_str() {
            "byte" => Piece::Number(name, -128, 255),
            "word" => Piece::Number(name, -0x8000, 0xFFFF),
            "address" => Piece::Number(name, 0, 0xFFFF),
            "relative" => Piece::Relative(name),
            other => match self.kinds.iter().position(|(kind, _)| kind == other) {
                Some(kind) => Piece::Register(name, kind),
                None => {
                    let kinds = self.kinds.iter().map(|(kind, _)| kind.as_str());
                    let near = did_you_mean(other, OWN_KINDS.iter().copied().chain(kinds));
                    let problem = Diagnostic::error("unknown-kind", format!("{other} is no kind of operand"))
                        .at(word.span, "not known")
                        .help(
                            near.unwrap_or_else(|| format!("declare its registers: `registers {other}: A = 0, B = 1`")),
                        );
                    return Err(Box::new(problem));
                }
            },
        })
    }

    /// True when some line of a program could be either.
    fn alike(&self, one: &Form, other: &Form) -> bool {
        let operands = one.operands.iter().zip(&other.operands);
        one.operands.len() == other.operands.len()
            && operands.into_iter().all(|((brackets, a), (others, b))| {
                brackets == others && a.len() == b.len() && a.iter().zip(b).all(|(a, b)| self.overlap(a, b))
            })
    }

    fn overlap(&self, one: &Piece, other: &Piece) -> bool {
        let in_kind = |name: &str, kind: usize| {
            let kinds = self.registers.get(name).into_iter().flatten();
            kinds.into_iter().any(|&(of, _)| of == kind)
        };
        match (one, other) {
            (Piece::Fixed(a), Piece::Fixed(b)) => a == b,
            (Piece::Fixed(word), Piece::Register(_, kind)) | (Piece::Register(_, kind), Piece::Fixed(word)) => {
                in_kind(word, *kind)
            }
            (Piece::Register(_, a), Piece::Register(_, b)) => {
                self.registers.keys().any(|name| in_kind(name, *a) && in_kind(name, *b))
            }
            (Piece::Fixed(_) | Piece::Register(..), _) | (_, Piece::Fixed(_) | Piece::Register(..)) => false,
            _ => true,
        }
    }

    /// Every first byte that an instruction can have.
    fn first_bytes(&self, form: &Form) -> Result<BTreeSet<u8>, Box<Diagnostic>> {
        let Some(first) = form.encoding.first() else {
            return Ok(BTreeSet::new());
        };
        Ok(self.byte_values(form, first)?.into_iter().map(|(byte, _)| byte).collect())
    }

    /// Every value that a byte of an instruction can have, with the values of the operands in it, in order of these.
    pub(super) fn byte_values<'f>(
        &self,
        form: &'f Form,
        formula: &Whole,
    ) -> Result<Vec<(u8, Vec<(&'f str, i64)>)>, Box<Diagnostic>> {
        let mut used: BTreeSet<&str> = BTreeSet::new();
        names_in(formula, &mut |named| {
            let pieces = form.operands.iter().flat_map(|(_, pieces)| pieces);
            used.extend(pieces.map(Piece::name).filter(|name| *name == named.name));
        });
        let pieces = form.operands.iter().flat_map(|(_, pieces)| pieces);
        let fields: Vec<(&str, Vec<i64>)> = pieces
            .filter(|piece| used.contains(piece.name()) && !matches!(piece, Piece::Fixed(_)))
            .map(|piece| {
                let values = match piece {
                    Piece::Register(_, kind) => self.kinds[*kind].1.clone(),
                    Piece::Number(_, first, last) if last.abs_diff(*first) < MOST_TRIALS => (*first..=*last).collect(),
                    Piece::Relative(_) => (-128..=127).collect(),
                    _ => Vec::new(),
                };
                (piece.name(), values)
            })
            .collect();
        let count = fields.iter().try_fold(1u64, |count, (_, values)| match values.len() {
            0 => None,
            more => count.checked_mul(more as u64),
        });
        let Some(count) = count.filter(|&count| count <= MOST_TRIALS) else {
            return Err(Box::new(
                Diagnostic::error("too-large", "too many values go into this byte")
                    .at(formula.span, "one byte of the instruction")
                    .help("give the operands in it smaller ranges, or registers"),
            ));
        };
        let mut bytes = Vec::new();
        for number in 0..count {
            let mut rest = number;
            let values: Vec<(&str, i64)> = fields
                .iter()
                .map(|(name, values)| {
                    let value = values[(rest % values.len() as u64) as usize];
                    rest /= values.len() as u64;
                    (*name, value)
                })
                .collect();
            let byte = value(formula, &mut |named: &Named| {
                let field = values.iter().find(|(name, _)| *name == named.name);
                Ok(field.map_or(0, |&(_, value)| value))
            })
            .and_then(|value| super::formula::byte(value, formula.span))
            .map_err(|problem| {
                let with: Vec<String> = values.iter().map(|(name, value)| format!("{name} = {value}")).collect();
                if with.is_empty() { problem } else { problem.note(format!("with {}", with.join(", "))) }
            })?;
            bytes.push((byte, values));
        }
        Ok(bytes)
    }

    /// The kinds of registers by number, each with the numbers of its registers.
    pub(super) fn kinds(&self) -> impl Iterator<Item = (usize, &[i64])> {
        self.kinds.iter().enumerate().map(|(kind, (_, numbers))| (kind, numbers.as_slice()))
    }
}

const OWN_KINDS: &[&str] = &["byte", "word", "address", "relative"];

fn is_own_kind(name: &str) -> bool {
    OWN_KINDS.contains(&name)
}

/// Calls back with each name of a formula.
pub(super) fn names_in<'w>(whole: &'w Whole, tell: &mut dyn FnMut(&'w Named)) {
    match &whole.kind {
        WholeKind::Number(_) | WholeKind::Text(_) => {}
        WholeKind::Name(named) => tell(named),
        WholeKind::Unary(_, inner) | WholeKind::Memory(inner) => names_in(inner, tell),
        WholeKind::When(parts) => parts.iter().for_each(|part| names_in(part, tell)),
        WholeKind::Binary(left, _, right) => {
            names_in(left, tell);
            names_in(right, tell);
        }
    }
}
