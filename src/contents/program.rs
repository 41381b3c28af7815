//! Programs: from lines to bytes at addresses.
//!
//! The length of an instruction follows from how its operands are written, never from their values. So one walk over
//! the lines gives every label its address, and a second one gives every byte its value.

use super::formula::{byte, codes, value};
use super::instructions::{Form, InstructionSet, Piece};
use super::limits::{HIGHEST_ADDRESS, MOST_BYTES, MOST_PROBLEMS};
use super::listing::ListingLine;
use super::names::Names;
use super::symbols::{LOST, Symbols};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::image::Image;
use crate::language::ast::{self, Named, Operand, ProgramLine, Whole, WholeKind, Word};
use crate::text::Span;
use std::collections::BTreeMap;

/// What a program came to.
#[derive(Debug, Default)]
pub(super) struct Assembled {
    pub(super) image: Image,
    pub(super) listing: Vec<ListingLine>,
    /// Its labels but for local ones.
    pub(super) labels: Vec<(u64, String)>,
}

/// Gives every line of a program its bytes.
pub(super) fn assemble(
    program: &ast::Program,
    set: &InstructionSet,
    names: &Names,
    problems: &mut Vec<Diagnostic>,
) -> Assembled {
    let mut forms: BTreeMap<&str, Vec<&Form>> = BTreeMap::new();
    for form in &set.forms {
        forms.entry(&form.mnemonic).or_default().push(form);
    }
    let mut assembler = Assembler { set, forms, symbols: Symbols::new(set, names), problems: Vec::new() };
    let forms = &assembler.forms;
    let is_mnemonic = |word: &str| forms.contains_key(word);
    for problem in assembler.symbols.declare(program, &is_mnemonic) {
        assembler.tell(problem);
    }
    let placed = assembler.place(program);
    let mut assembled = Assembled::default();
    let mut taken: BTreeMap<u64, (u64, Span)> = BTreeMap::new();
    for line in placed {
        let (address, span) = (line.address, line.span);
        let bytes = assembler.bytes(&line);
        let end = address + bytes.len() as u64;
        if !bytes.is_empty() {
            let before = taken.range(..end).next_back();
            if let Some((_, &(_, first))) = before.filter(|(_, (other, _))| *other > address) {
                assembler.tell(
                    Diagnostic::error("overlap", format!("something is at address {address:#06X} already"))
                        .at(span, "the second bytes for it")
                        .at(first, "the first ones")
                        .help("move one of the two with `origin`"),
                );
                continue;
            }
            taken.insert(address, (end, span));
        }
        for (at, byte) in (address..).zip(&bytes) {
            assembled.image.insert(at, *byte);
        }
        if let What::Label(word) = line.what
            && !word.node.contains('.')
        {
            assembled.labels.push((address, word.node.clone()));
        }
        // A constant stands nowhere.
        if !matches!(line.what, What::Constant(_)) {
            assembled.listing.push(ListingLine { address, bytes, span });
        }
    }
    problems.extend(assembler.problems);
    assembled
}

struct Assembler<'a> {
    set: &'a InstructionSet,
    forms: BTreeMap<&'a str, Vec<&'a Form>>,
    symbols: Symbols<'a>,
    problems: Vec<Diagnostic>,
}

/// A line with its address, before its bytes are known.
struct Placed<'a> {
    address: u64,
    span: Span,
    what: What<'a>,
}

enum What<'a> {
    /// An origin.
    Nothing,
    Label(&'a Word),
    Constant(&'a Word),
    Bytes(&'a [Whole]),
    Fill(usize, &'a Whole),
    Instruction(&'a Form, &'a [Operand]),
}

impl<'a> Assembler<'a> {
    fn tell(&mut self, problem: Diagnostic) {
        if self.problems.len() < MOST_PROBLEMS {
            self.problems.push(problem);
        }
    }

    fn take<T>(&mut self, result: Result<T, Diagnostic>) -> Option<T> {
        result.map_err(|problem| self.tell(problem)).ok()
    }

    fn value(&mut self, formula: &'a Whole) -> Option<i64> {
        let found = value(formula, &mut |named| self.symbols.meaning(named));
        self.told(found)
    }

    /// A value, or none when it has been told why.
    fn told(&mut self, found: Result<i64, Diagnostic>) -> Option<i64> {
        match found {
            // It was told where the name was lost.
            Err(problem) if problem.code == LOST => None,
            found => self.take(found),
        }
    }

    /// The first walk: where every line stands.
    fn place(&mut self, program: &'a ast::Program) -> Vec<Placed<'a>> {
        let mut placed = Vec::new();
        let mut at: u64 = 0;
        let mut total: u64 = 0;
        for line in &program.lines {
            let (what, span, length) = match line {
                ProgramLine::Note => continue,
                ProgramLine::Label(word) => {
                    self.symbols.place(word, at);
                    (What::Label(word), word.span, 0)
                }
                ProgramLine::Constant(word, formula) => (What::Constant(word), word.span.to(formula.span), 0),
                ProgramLine::Origin(formula, span) => {
                    if let Some(origin) = self.value(formula) {
                        match u64::try_from(origin) {
                            Ok(origin) if origin <= HIGHEST_ADDRESS => at = origin,
                            _ => self.tell(
                                Diagnostic::error("range", format!("{origin} is no address"))
                                    .at(formula.span, format!("0 to {HIGHEST_ADDRESS:#X} are"))
                                    .help("write the address of the next byte"),
                            ),
                        }
                    }
                    (What::Nothing, *span, 0)
                }
                ProgramLine::Bytes(items, span) => {
                    let length = items.iter().map(|item| match &item.kind {
                        WholeKind::Text(text) => text.chars().count() as u64,
                        _ => 1,
                    });
                    (What::Bytes(items), *span, length.sum())
                }
                ProgramLine::Fill(count, with, span) => {
                    let Some(value) = self.value(count) else {
                        continue;
                    };
                    let most = MOST_BYTES as i64;
                    if !(0..=most).contains(&value) {
                        self.tell(
                            Diagnostic::error("range", format!("{value} bytes cannot be filled"))
                                .at(count.span, format!("0 to {most} can"))
                                .help("write how many bytes follow"),
                        );
                        continue;
                    }
                    (What::Fill(value as usize, with), *span, value as u64)
                }
                ProgramLine::Instruction(mnemonic, operands, span) => {
                    let Some(form) = self.form(mnemonic, operands, *span) else {
                        continue;
                    };
                    let length = form.encoding.len() as u64;
                    (What::Instruction(form, operands), *span, length)
                }
            };
            total += length;
            if at + length > HIGHEST_ADDRESS + 1 || total > MOST_BYTES as u64 {
                self.tell(
                    Diagnostic::error("too-large", "the program does not fit any memory")
                        .at(span, "from here on")
                        .note(format!("{MOST_BYTES} bytes fit, at addresses up to {HIGHEST_ADDRESS:#X}"))
                        .help("mend the `origin` above, or make the program smaller"),
                );
                break;
            }
            placed.push(Placed { address: at, span, what });
            at += length;
        }
        placed
    }

    /// The second walk: the bytes of a line. As many as it has room for, also when something is wrong with it.
    fn bytes(&mut self, line: &Placed<'a>) -> Vec<u8> {
        match line.what {
            What::Nothing | What::Label(_) => Vec::new(),
            What::Constant(word) => {
                // One that nobody asks for is still to be right.
                let named = Named { owner: None, name: word.node.clone(), span: word.span };
                let found = self.symbols.meaning(&named);
                self.told(found);
                Vec::new()
            }
            What::Fill(count, with) => vec![self.byte(with); count],
            What::Bytes(items) => {
                let mut bytes = Vec::new();
                for item in items {
                    match &item.kind {
                        WholeKind::Text(text) => {
                            let found = codes(text, item.span);
                            bytes.extend(self.take(found).unwrap_or_default());
                        }
                        _ => bytes.push(self.byte(item)),
                    }
                }
                bytes
            }
            What::Instruction(form, operands) => self.instruction(form, operands, line),
        }
    }

    fn byte(&mut self, formula: &'a Whole) -> u8 {
        let found = self.value(formula);
        let found = found.map(|value| byte(value, formula.span));
        found.and_then(|byte| self.take(byte)).unwrap_or(0)
    }

    fn instruction(&mut self, form: &'a Form, operands: &'a [Operand], line: &Placed<'a>) -> Vec<u8> {
        let length = form.encoding.len();
        let mut fields: Vec<(&str, i64)> = Vec::new();
        let mut whole = true;
        for ((_, pieces), operand) in form.operands.iter().zip(operands) {
            for (piece, written) in pieces.iter().zip(&operand.pieces) {
                match self.operand(piece, written, line.address + length as u64) {
                    Some(Some(field)) => fields.push(field),
                    Some(None) => {}
                    None => whole = false,
                }
            }
        }
        if !whole {
            return vec![0; length];
        }
        let mut bytes = Vec::with_capacity(length);
        for formula in &form.encoding {
            let found = value(formula, &mut |named: &Named| {
                let field = fields.iter().find(|(name, _)| *name == named.name);
                Ok(field.map_or(0, |&(_, value)| value))
            });
            let found = found.and_then(|value| byte(value, formula.span));
            let found = found.map_err(|mut problem| {
                // The person is to look at the program first.
                problem
                    .labels
                    .insert(0, crate::diagnostic::Label { span: line.span, text: "with these operands".to_owned() });
                problem
            });
            bytes.push(self.take(found).unwrap_or(0));
        }
        bytes
    }

    /// The field that an operand gives to the formulas; no field for a word that stands for itself.
    fn operand(&mut self, piece: &'a Piece, written: &'a Whole, end: u64) -> Option<Option<(&'a str, i64)>> {
        let out_of_range = |value: i64, what: &str, first: i64, last: i64| {
            Diagnostic::error("range", format!("{value} {what}")).at(written.span, format!("{first} to {last} fit"))
        };
        match piece {
            Piece::Fixed(_) => Some(None),
            Piece::Register(name, kind) => {
                let word = bare(written)?;
                let numbers = self.set.registers.get(word)?;
                let number = numbers.iter().find(|(of, _)| of == kind)?.1;
                Some(Some((name, number)))
            }
            Piece::Number(name, first, last) => {
                let value = self.value(written)?;
                if !(*first..=*last).contains(&value) {
                    let problem = out_of_range(value, &format!("does not fit the operand {name}"), *first, *last);
                    self.tell(problem.help("mend the value, or take another form of the instruction"));
                    return None;
                }
                Some(Some((name, value)))
            }
            Piece::Relative(name) => {
                let target = self.value(written)?;
                let distance = target.checked_sub(end as i64).filter(|d| (-128..=127).contains(d));
                if distance.is_none() {
                    let far = target.saturating_sub(end as i64);
                    let problem = out_of_range(far, "bytes are too far to go", -128, 127);
                    self.tell(
                        problem
                            .note("counted from the address behind the instruction")
                            .help("move the two nearer to each other, or go by way of another instruction"),
                    );
                }
                Some(Some((name, distance?)))
            }
        }
    }

    /// The form of an instruction that is written so.
    fn form(&mut self, mnemonic: &Word, operands: &[Operand], span: Span) -> Option<&'a Form> {
        let Some(forms) = self.forms.get(mnemonic.node.as_str()) else {
            let near = did_you_mean(&mnemonic.node, self.forms.keys().copied());
            let message = format!("{} has no instruction {}", self.set.name, mnemonic.node);
            self.tell(
                Diagnostic::error("unknown-instruction", message)
                    .at(mnemonic.span, "not known")
                    .help(near.unwrap_or_else(|| format!("declare it in `instructions {} {{ ... }}`", self.set.name))),
            );
            return None;
        };
        let found = forms.iter().find(|form| self.fits(form, operands)).copied();
        if found.is_none() {
            let shapes: Vec<String> = forms.iter().map(|form| form.shape()).collect();
            let message = format!("{} does not take these operands", mnemonic.node);
            self.tell(
                Diagnostic::error("operands", message)
                    .at(span, "no form of it is like this")
                    .note(format!("it is written {}", shapes.join("; ")))
                    .help("a register stands only where a form has one, and brackets likewise"),
            );
        }
        found
    }

    fn fits(&self, form: &Form, operands: &[Operand]) -> bool {
        let pieces_fit = |piece: &Piece, written: &Whole| {
            let word = bare(written).filter(|name| self.symbols.is_word(name));
            match piece {
                Piece::Fixed(fixed) => word == Some(fixed.as_str()),
                Piece::Register(_, kind) => word
                    .and_then(|name| self.set.registers.get(name))
                    .is_some_and(|numbers| numbers.iter().any(|(of, _)| of == kind)),
                Piece::Number(..) | Piece::Relative(_) => word.is_none(),
            }
        };
        form.operands.len() == operands.len()
            && form.operands.iter().zip(operands).all(|((brackets, pieces), operand)| {
                *brackets == operand.bracketed
                    && pieces.len() == operand.pieces.len()
                    && pieces.iter().zip(&operand.pieces).all(|(piece, written)| pieces_fit(piece, written))
            })
    }
}

/// The name that an operand is, when it is nothing else.
fn bare(whole: &Whole) -> Option<&str> {
    match &whole.kind {
        WholeKind::Name(named) if named.owner.is_none() => Some(&named.name),
        _ => None,
    }
}
