//! Whether the control words of a microprogram can do harm: two sources on one bus, an instruction that never ends, steps
//! that never come.
//!
//! Which words can be reached follows from the line `sequence`: each value of its first field is an instruction, which
//! begins at step 0 and goes on to the next step while its word does not end it. All other address bits, such as flags, may
//! have any value in any step. Without that line every word counts.

use super::bits::{Bits, Ready};
use super::names::Names;
use crate::diagnostic::{Diagnostic, count};
use crate::language::ast::{self, Choice, ContentsLine, Index, IndexKind, Match, MatchKind, Template};
use crate::language::expand::Scope;
use crate::text::Span;
use std::collections::BTreeMap;

/// The code of all that is found, and the name of the rule that reports it.
pub(crate) const CODE: &str = "control-words";

/// So many findings of one kind are reported of one table.
const MOST_FINDINGS: usize = 20;

/// The words of a table.
pub(super) struct Words<'t> {
    pub(super) address: &'t Bits,
    pub(super) data: &'t Bits,
    /// By address: which data bits are asserted.
    pub(super) asserted: &'t [u64],
    /// The conditions of its lines, and where each line is written.
    pub(super) lines: Vec<(Span, &'t Ready)>,
}

/// The order of the steps of instructions.
struct Sequence {
    instruction: Vec<u32>,
    step: Vec<u32>,
    /// What a word asserts that ends its instruction.
    end: Ready,
    span: Span,
}

/// The sources of a bus: what each is called, and what a word asserts that makes it drive.
struct Bus {
    name: String,
    sources: Vec<(String, Ready)>,
    span: Span,
}

/// True when a table says something that is to be audited.
pub(super) fn is_wanted(contents: &ast::Contents) -> bool {
    contents.body.iter().any(|line| matches!(line, ContentsLine::Sequence(..) | ContentsLine::Drivers(..)))
}

/// What is wrong with the words; what is wrong with the lines that ask for it goes to `problems`.
pub(super) fn audit(
    contents: &ast::Contents,
    words: &Words<'_>,
    names: &Names,
    problems: &mut Vec<Diagnostic>,
) -> Vec<Diagnostic> {
    let scope = Scope::default();
    let (mut sequence, mut buses) = (None, Vec::new());
    for line in &contents.body {
        match line {
            ContentsLine::Sequence(instruction, step, end, span) => {
                let (instruction, step) =
                    (words.address.find(instruction, &scope, problems), words.address.find(step, &scope, problems));
                let end = words.data.ready(end, &scope, names, problems);
                let (Some(instruction), Some(step), Some(end)) = (instruction, step, end) else {
                    return Vec::new();
                };
                if let Some(first) = sequence.replace(Sequence { instruction, step, end, span: *span }) {
                    problems.push(
                        Diagnostic::error("name-twice", "the table has two `sequence` lines")
                            .at(*span, "the second one")
                            .at(first.span, "the first one")
                            .help("leave one of them out"),
                    );
                }
            }
            ContentsLine::Drivers(bus, sources, span) => {
                let mut ready = Vec::new();
                for source in sources {
                    let Some(asserted) = words.data.ready(source, &scope, names, problems) else {
                        return Vec::new();
                    };
                    ready.push((said(source), asserted));
                }
                buses.push(Bus { name: name(bus), sources: ready, span: *span });
            }
            _ => {}
        }
    }
    let mut found = Vec::new();
    let reached = match &sequence {
        Some(sequence) => words.reached(sequence, &mut found),
        None => vec![true; words.asserted.len()],
    };
    for bus in &buses {
        words.two_sources(bus, &reached, &mut found);
    }
    if sequence.is_some() {
        words.lines_without_a_step(&reached, &mut found);
    }
    found
}

impl Words<'_> {
    /// Which words can be reached. Reports instructions that never end.
    fn reached(&self, sequence: &Sequence, found: &mut Vec<Diagnostic>) -> Vec<bool> {
        let value = |bits: &[u32], at: u64| {
            let senses = at ^ self.address.low;
            bits.iter().rev().fold(0usize, |value, &bit| value << 1 | (senses >> bit & 1) as usize)
        };
        // By instruction and step: the addresses with all values of the other bits.
        let (instructions, steps) = (1usize << sequence.instruction.len(), 1usize << sequence.step.len());
        let mut addresses: Vec<Vec<u32>> = vec![Vec::new(); instructions * steps];
        for at in 0..self.asserted.len() {
            let place = value(&sequence.instruction, at as u64) * steps + value(&sequence.step, at as u64);
            addresses[place].push(at as u32);
        }
        let mut reached = vec![false; self.asserted.len()];
        let mut endless: Vec<(usize, u32)> = Vec::new();
        for instruction in 0..instructions {
            for step in 0..steps {
                let all = &addresses[instruction * steps + step];
                all.iter().for_each(|&at| reached[at as usize] = true);
                let goes_on = all.iter().find(|&&at| !sequence.end.holds(self.asserted[at as usize]));
                match goes_on {
                    None => break,
                    Some(&at) if step + 1 == steps => endless.push((instruction, at)),
                    Some(_) => {}
                }
            }
        }
        if let [(_, first), ..] = endless[..] {
            let listed = ranges(endless.iter().map(|&(instruction, _)| instruction as u64));
            let message = match endless.len() {
                1 => format!("instruction {listed} does not end by its last step, {}", steps - 1),
                many => format!("{many} instructions do not end by their last step, {}: {listed}", steps - 1),
            };
            found.push(
                Diagnostic::warning(CODE, message)
                    .at(sequence.span, "no word of it ends them")
                    .note(self.place(first))
                    .note("the step counter wraps round, and the instruction begins again without a new opcode")
                    .help("end them: `else: last` also ends every opcode that has no meaning"),
            );
        }
        reached
    }

    /// Reports words that make several sources drive one bus.
    fn two_sources(&self, bus: &Bus, reached: &[bool], found: &mut Vec<Diagnostic>) {
        let mut together: BTreeMap<Vec<usize>, (u32, usize)> = BTreeMap::new();
        for (at, &asserted) in self.asserted.iter().enumerate().filter(|&(at, _)| reached[at]) {
            let driving = bus.sources.iter().enumerate().filter(|(_, (_, source))| source.holds(asserted));
            let driving: Vec<usize> = driving.map(|(source, _)| source).collect();
            if driving.len() > 1 {
                together.entry(driving).or_insert((at as u32, 0)).1 += 1;
            }
        }
        for (sources, (first, times)) in together.into_iter().take(MOST_FINDINGS) {
            let names: Vec<&str> = sources.iter().map(|&source| bus.sources[source].0.as_str()).collect();
            let message = format!("{} drive {} in one control word", list(&names), bus.name);
            let mut problem = Diagnostic::error(CODE, message).at(bus.span, "one source at a time");
            for (span, condition) in &self.lines {
                if condition.holds(u64::from(first) ^ self.address.low) {
                    problem = problem.at(*span, "asserted here");
                }
            }
            found.push(
                problem
                    .note(format!("{}; {}", self.place(first), count(times, "such word")))
                    .note("two outputs that drive a bus against each other overload both")
                    .help("let each control word assert one of them"),
            );
        }
    }

    /// Reports lines whose steps all lie behind the end of their instructions.
    fn lines_without_a_step(&self, reached: &[bool], found: &mut Vec<Diagnostic>) {
        let mut lost = self.lines.iter().filter_map(|(span, condition)| {
            let mut first = None;
            for (at, &reached) in reached.iter().enumerate() {
                if condition.holds(at as u64 ^ self.address.low) {
                    if reached {
                        return None;
                    }
                    first.get_or_insert(at as u32);
                }
            }
            first.map(|first| (*span, first))
        });
        for (span, first) in lost.by_ref().take(MOST_FINDINGS) {
            found.push(
                Diagnostic::warning(CODE, "no instruction comes to a step of this line")
                    .at(span, "never reached")
                    .note(self.place(first))
                    .note("an earlier step ends these instructions")
                    .help("leave the line out, or end the instruction later"),
            );
        }
    }

    /// An address and what its fields are.
    fn place(&self, at: u32) -> String {
        format!("the first at address {at:#06X}: {}", self.address.told(at.into()))
    }
}

/// What a source is called: `a_out`, `from = MEMORY`.
fn said(source: &Match) -> String {
    match &source.kind {
        MatchKind::Bit(bit) => name(bit),
        MatchKind::Equals(field, choices, equal) => {
            let sign = if *equal { "=" } else { "!=" };
            let values: Vec<String> = choices.iter().map(value).collect();
            format!("{} {sign} {}", name(field), values.join(", "))
        }
        MatchKind::Not(inner) => format!("not {}", said(inner)),
        MatchKind::And(members) => members.iter().map(said).collect::<Vec<_>>().join(" and "),
        MatchKind::Or(members) => members.iter().map(said).collect::<Vec<_>>().join(" or "),
    }
}

fn value(choice: &Choice) -> String {
    let number = |index: &Index| match &index.kind {
        IndexKind::Number(number) => number.to_string(),
        IndexKind::Name(name) => name.clone(),
        IndexKind::Binary(..) => "...".to_owned(),
    };
    match choice {
        Choice::Range(first, last) if first.span == last.span => number(first),
        Choice::Range(first, last) => format!("{}..{}", number(first), number(last)),
        Choice::Named(named) => named.name.clone(),
    }
}

fn name(template: &Template) -> String {
    Scope::default().names(template).unwrap_or_default().join(", ")
}

/// `a, b and c`.
fn list(names: &[&str]) -> String {
    match names {
        [] => String::new(),
        [one] => (*one).to_owned(),
        [first @ .., last] => format!("{} and {last}", first.join(", ")),
    }
}

/// `0x00..0x0F, 0x13`: numbers that go up.
fn ranges(numbers: impl Iterator<Item = u64>) -> String {
    let mut ranges: Vec<(u64, u64)> = Vec::new();
    for number in numbers {
        match ranges.last_mut() {
            Some(last) if last.1 + 1 == number => last.1 = number,
            _ => ranges.push((number, number)),
        }
    }
    let texts =
        ranges.iter().map(
            |&(first, last)| {
                if first == last { format!("{first:#04X}") } else { format!("{first:#04X}..{last:#04X}") }
            },
        );
    texts.collect::<Vec<_>>().join(", ")
}
