//! Tables of equations: for each address, which outputs are asserted.

use super::audit;
use super::bits::{Bits, Ready};
use super::limits::MOST_PROBLEMS;
use super::listing::ListingLine;
use super::names::{Names, holds};
use crate::diagnostic::Diagnostic;
use crate::image::Image;
use crate::language::ast::{self, ContentsLine};
use crate::language::expand::Scope;
use crate::text::Span;

/// The most address bits of a table.
pub(crate) const MOST_ADDRESS_BITS: usize = 20;

/// The most data bits of a table: eight chips side by side.
pub(crate) const MOST_DATA_BITS: usize = 64;

/// The most conditions that are looked at for one table: addresses times conditions.
const MOST_WORK: u64 = 1 << 26;

/// What a table came to.
#[derive(Debug, Default)]
pub(super) struct Computed {
    pub(super) image: Image,
    pub(super) lanes: u32,
    pub(super) listing: Vec<ListingLine>,
    /// What is wrong with its control words.
    pub(super) audit: Vec<Diagnostic>,
}

/// What is asserted where a condition holds.
struct Rule {
    condition: Option<Ready>,
    /// Bits that it speaks of.
    mask: u64,
    /// Their asserted sense.
    value: u64,
    span: Span,
    used: bool,
}

/// Rules as they are read.
struct Reading<'r> {
    address: &'r Bits,
    data: &'r Bits,
    names: &'r Names,
    problems: &'r mut Vec<Diagnostic>,
    rules: &'r mut Vec<Rule>,
}

impl Reading<'_> {
    fn lines(&mut self, lines: &[ContentsLine], scope: &mut Scope) {
        for line in lines {
            let (condition, outputs, span) = match line {
                ContentsLine::When(condition, outputs, span) => (Some(condition), outputs, *span),
                ContentsLine::Else(outputs, span) => (None, outputs, *span),
                ContentsLine::Each(each) => {
                    let known = self.problems.len();
                    let done = scope.each(each, |scope, body| {
                        // A mistake is told for the first value only.
                        if self.problems.len() == known {
                            self.lines(body, scope);
                        }
                    });
                    self.problems.extend(done.err());
                    continue;
                }
                _ => continue,
            };
            let condition = condition.map(|condition| self.address.ready(condition, scope, self.names, self.problems));
            let asserted = self.data.asserted(outputs, scope, self.names, self.problems);
            if let (Some((mask, value)), false) = (asserted, matches!(condition, Some(None))) {
                self.rules.push(Rule { condition: condition.flatten(), mask, value, span, used: false });
            }
        }
    }
}

/// Computes every word of a table.
pub(super) fn compute(contents: &ast::Contents, names: &Names, problems: &mut Vec<Diagnostic>) -> Computed {
    let before = problems.len();
    let (mut address, mut data) = (Bits::default(), Bits::default());
    for line in &contents.body {
        match line {
            ContentsLine::Address(lines) => address.add(lines, MOST_ADDRESS_BITS, "address", problems),
            ContentsLine::Data(lines) => data.add(lines, MOST_DATA_BITS, "data", problems),
            _ => {}
        }
    }
    for (bits, what, example) in
        [(&address, "address", "address { 0..7 opcode[0..7] }"), (&data, "data", "data { 0 pc_out }")]
    {
        if bits.named == 0 && problems.len() == before {
            problems.push(
                Diagnostic::error("no-bits", format!("the table has no {what} bits"))
                    .at(contents.name.span, "this table")
                    .help(format!("name them, as in `{example}`")),
            );
        }
    }
    let mut rules = Vec::new();
    let mut reading = Reading { address: &address, data: &data, names, problems: &mut *problems, rules: &mut rules };
    reading.lines(&contents.body, &mut Scope::default());
    if problems.len() > before {
        problems.truncate(before + MOST_PROBLEMS);
        return Computed::default();
    }
    let otherwise: Vec<Span> = rules.iter().filter(|rule| rule.condition.is_none()).map(|rule| rule.span).collect();
    if let [first, second, ..] = otherwise.as_slice() {
        problems.push(
            Diagnostic::error("name-twice", "the table has two `else`")
                .at(*second, "the second one")
                .at(*first, "the first one")
                .help("write all of it behind one"),
        );
    }
    let words = 1u64 << (64 - address.named.leading_zeros());
    let work: u64 = rules.iter().map(|rule| rule.condition.as_ref().map_or(1, size)).sum();
    if words.saturating_mul(work) > MOST_WORK {
        problems.push(
            Diagnostic::error("too-large", "the table has too many addresses for so many conditions")
                .at(contents.name.span, format!("{words} addresses, {work} conditions"))
                .help("take address bits away, or split the table into several"),
        );
        return Computed::default();
    }
    let (mut computed, asserted) = fill(&address, &data, &mut rules, words, problems);
    if audit::is_wanted(contents) && !asserted.is_empty() {
        let used = rules.iter().filter(|rule| rule.used);
        let lines = used.filter_map(|rule| Some((rule.span, rule.condition.as_ref()?))).collect();
        let words = audit::Words { address: &address, data: &data, asserted: &asserted, lines };
        computed.audit = audit::audit(contents, &words, names, problems);
    }
    computed
}

/// Fills the words, and reports rules that contradict one another or never count. Beside what it came to, by address which
/// data bits are asserted; none when rules contradict one another.
fn fill(
    address: &Bits,
    data: &Bits,
    rules: &mut [Rule],
    words: u64,
    problems: &mut Vec<Diagnostic>,
) -> (Computed, Vec<u64>) {
    let before = problems.len();
    let lanes = (64 - data.named.leading_zeros()).div_ceil(8);
    let mut computed = Computed { lanes, ..Computed::default() };
    let mut asserted = Vec::new();
    let mut told: Vec<(usize, usize)> = Vec::new();
    for at in 0..words {
        let senses = at ^ address.low;
        let mut holding: Vec<usize> = Vec::new();
        for (index, rule) in rules.iter().enumerate() {
            if rule.condition.as_ref().is_some_and(|condition| condition.holds(senses)) {
                holding.push(index);
            }
        }
        if holding.is_empty() {
            let otherwise = rules.iter().position(|rule| rule.condition.is_none());
            holding.extend(otherwise);
        }
        let (mut mask, mut value) = (0u64, 0u64);
        for (place, &index) in holding.iter().enumerate() {
            rules[index].used = true;
            let rule = &rules[index];
            if mask & rule.mask & (value ^ rule.value) != 0 {
                let rival = holding[..place].iter().copied().find(|&other| {
                    let other = &rules[other];
                    other.mask & rule.mask & (other.value ^ rule.value) != 0
                });
                if let Some(rival) = rival.filter(|&rival| !told.contains(&(rival, index)))
                    && told.len() < MOST_PROBLEMS
                {
                    told.push((rival, index));
                    let both = rule.mask & rules[rival].mask & (rule.value ^ rules[rival].value);
                    let message = format!("two rules want {} differently", data.names_of(both));
                    problems.push(
                        Diagnostic::error("contradiction", message)
                            .at(rule.span, "this one")
                            .at(rules[rival].span, "and that one")
                            .note(format!("for example at address {at:#X}: {}", address.told(at)))
                            .help("let the conditions exclude each other"),
                    );
                }
            }
            mask |= rule.mask;
            value |= rule.value;
        }
        asserted.push(value);
        // A bit without a name stays as a blank chip has it.
        let word = (value ^ data.low) | !data.named;
        let bytes: Vec<u8> = (0..lanes).map(|lane| (word >> (8 * lane)) as u8).collect();
        for (lane, byte) in bytes.iter().enumerate() {
            computed.image.insert(at * u64::from(lanes) + lane as u64, *byte);
        }
        if let Some(&first) = holding.first() {
            let span = rules[first].span;
            computed.listing.push(ListingLine { address: at, bytes, span });
        }
    }
    for rule in rules.iter().filter(|rule| !rule.used) {
        let what = if rule.condition.is_some() { "this holds at no address" } else { "no address is left for this" };
        problems.push(
            Diagnostic::warning("never", what)
                .at(rule.span, "it does nothing")
                .help("mend the condition, or leave the line out"),
        );
    }
    if problems[before..].iter().any(|problem| problem.code == "contradiction") {
        return (Computed::default(), Vec::new());
    }
    (computed, asserted)
}

/// Comparisons in a condition.
fn size(condition: &Ready) -> u64 {
    match condition {
        Ready::Among(_, ranges) => 1 + ranges.len() as u64,
        Ready::Not(inner) => size(inner),
        Ready::And(members) | Ready::Or(members) => members.iter().map(size).sum(),
    }
}

impl Ready {
    pub(super) fn holds(&self, senses: u64) -> bool {
        match self {
            Ready::Among(bits, ranges) => {
                let value = bits.iter().rev().fold(0, |value, &bit| value << 1 | (senses >> bit & 1));
                holds(ranges, value)
            }
            Ready::Not(inner) => !inner.holds(senses),
            Ready::And(members) => members.iter().all(|member| member.holds(senses)),
            Ready::Or(members) => members.iter().any(|member| member.holds(senses)),
        }
    }
}
