//! How a mistake is worded: what was expected, what was found, and what to do about it.

use super::blocks::Block;
use super::mistake::{Mistake, between_statements};
use super::places::shortened;
use super::statements::listed;
use super::words::{keyword, keywords, phrase};
use crate::diagnostic::{did_you_mean, nearest};
use crate::language::parse::grammar::Rule;
use crate::quantity::UNITS;

/// More alternatives than this help nobody; the kind of statement is named instead.
const MOST_ALTERNATIVES: usize = 5;

impl Mistake<'_, '_> {
    /// What was expected, as a list in words.
    pub(super) fn wanted(&self, expected: &[Rule]) -> String {
        let next = between_statements(expected);
        let content = self.block.content();
        let mut words: Vec<String> = Vec::new();
        let operators = expected.iter().filter(|&&rule| is_operator(rule)).count();
        for rule in useful(expected) {
            let word =
                if operators > 2 && is_operator(rule) { "an operator".to_owned() } else { phrase(rule, self.block) };
            let begins = keyword(rule).is_some_and(|word| self.begins_here(&word));
            let statement = word == content || begins || begins_statement(rule);
            if !(next && statement || words.contains(&word)) {
                words.push(word);
            }
        }
        if next && (self.first_on_its_line() || words.len() >= MOST_ALTERNATIVES) {
            words.clear();
        }
        if next || words.is_empty() {
            words.push(content.to_owned());
        }
        if words.len() > MOST_ALTERNATIVES + 1 {
            words.truncate(MOST_ALTERNATIVES);
            words.push("the like".to_owned());
        }
        listed(&words, "or")
    }

    pub(super) fn help(&self, message: &str) -> Option<String> {
        let found = &self.text[self.found.clone()];
        let next = self.between_statements();
        if let Some(hint) = self.foreign_mark(found) {
            return Some(hint);
        }
        if self.expected.iter().any(|&rule| wants_unit(rule))
            && let Some(hint) = self.unit_hint()
        {
            return Some(hint);
        }
        if next
            && self.first_on_its_line()
            && let Some((_, place)) = Block::home_of(found)
        {
            return Some(format!("`{found}` stands {place}"));
        }
        let written: Vec<String> = self.expected.iter().filter_map(|&rule| keyword(rule)).collect();
        let grouped = self.expected.iter().flat_map(|&rule| keywords(rule).split_whitespace());
        let here = self.block.starters().split_whitespace().filter(|_| next);
        let candidates = written.iter().map(String::as_str).chain(grouped).chain(here);
        if let Some(meant) = did_you_mean(found, candidates.filter(|word| *word != found)) {
            return Some(meant);
        }
        if next && self.first_on_its_line() {
            return self.block.holds();
        }
        self.example(message)
    }

    /// An example of the statement that is being written, unless the message has it already.
    pub(super) fn example(&self, message: &str) -> Option<String> {
        let (start, _) = self.statement_start();
        let written = &self.text[start..self.at.max(start)];
        let example = self.block.example(written);
        (!message.contains(example)).then(|| format!("for example `{example}`"))
    }

    /// Marks that people bring along from other languages, and characters that look like others.
    fn foreign_mark(&self, found: &str) -> Option<String> {
        let formula = matches!(self.block, Block::Part | Block::Stores);
        let hint = match found {
            "==" => "compare with a single `=`",
            "<=" | ">=" if formula => "write `not A > B` for A <= B, and `not A < B` for A >= B",
            "<=" | ":=" | "=>" | "->" if self.expected.contains(&Rule::equals) => "write `=`",
            "&" | "&&" => "write `and`",
            "|" | "||" if formula => "write `or`",
            "^" if formula => "write `xor`",
            "!" | "~" if formula => "write `not`",
            "!" | "~" => "an active-low name starts with `/`",
            ";" => "nothing ends a statement: leave the `;` out",
            "," if self.statement_start().1 == "expect" => {
                "several values need an edge: `expect on rise strobe: a = 1, 4, 9`"
            }
            "," if self.between_statements() => "leave the `,` out: blanks are enough between two",
            "//" | "/*" | "--" => "a comment starts with `#`",
            "'" | "\u{2018}" | "\u{2019}" | "\u{201c}" | "\u{201d}" | "\u{201e}" => {
                "texts stand in plain quotation marks: `\"`"
            }
            "\u{a0}" | "\u{2007}" | "\u{202f}" | "\u{200b}" => "this only looks like a blank; write a plain one",
            "\u{2013}" | "\u{2014}" | "\u{2212}" => "write a plain `-`",
            "\u{2026}" => "write two dots: `..`",
            "." if self.expected.contains(&Rule::dots) => "write two dots: `..`",
            _ => return None,
        };
        Some(hint.to_owned())
    }

    fn unit_hint(&self) -> Option<String> {
        let text = &self.text[..self.at];
        let number = text.trim_end();
        let before = number.trim_end_matches(|c: char| c.is_ascii_digit() || c == '.');
        let number = &number[before.len()..];
        let written = &self.text[self.at..self.found.end];
        let unit = match written {
            "k" | "K" | "kR" | "kohms" | "k\u{3a9}" | "k\u{2126}" => "kohm",
            "R" | "Ohm" | "ohms" | "\u{3a9}" | "\u{2126}" => "ohm",
            "M" | "\u{b5}m" => return None,
            "\u{b5}s" | "\u{3bc}s" | "usec" => "us",
            "\u{b5}F" | "\u{3bc}F" => "uF",
            // Capacitors are often named by the prefix alone.
            "n" | "p" | "u" if self.statement_holds("capacitor") => match written {
                "n" => "nF",
                "p" => "pF",
                _ => "uF",
            },
            "sec" | "second" | "seconds" => "s",
            "msec" => "ms",
            "nsec" => "ns",
            "volt" | "volts" => "V",
            "min" | "minute" | "minutes" | "h" | "hour" | "hours" | "d" | "day" | "days" | "week" | "weeks"
            | "year" | "years" => {
                let longest = "the longest unit of time is s, and the longest time 9223372 s";
                return Some(longest.to_owned());
            }
            other => nearest(other, UNITS.iter().copied())?,
        };
        Some(match number {
            "" => format!("did you mean `{unit}`?"),
            _ => format!("did you mean `{number} {unit}`?"),
        })
    }

    pub(super) fn found_in_words(&self) -> String {
        let found = &self.text[self.found.clone()];
        match found.chars().next() {
            None => "the end of the file".to_owned(),
            Some(first) if first.is_whitespace() || first.is_control() || first == '\u{200b}' => {
                format!("the character U+{:04X}", u32::from(first))
            }
            Some(_) => format!("`{}`", shortened(found)),
        }
    }
}

/// What a statement begins with where it has no keyword; the block's kind of statement says more.
fn begins_statement(rule: Rule) -> bool {
    matches!(
        rule,
        Rule::close_brace
            | Rule::bar
            | Rule::name
            | Rule::refs
            | Rule::path
            | Rule::pin_numbers
            | Rule::pin_range
            | Rule::pin_digits
            | Rule::pin_choice
            | Rule::connection
            | Rule::target
            | Rule::open_paren
            | Rule::target_group
    )
}

/// Without what could only have prolonged the name before, where anything else is left.
fn useful(expected: &[Rule]) -> Vec<Rule> {
    let prolongs =
        |rule: &&Rule| matches!(rule, Rule::bracket | Rule::open_bracket | Rule::inner_slash | Rule::slash | Rule::dot);
    let without =
        |skip: &dyn Fn(&&Rule) -> bool| -> Vec<Rule> { expected.iter().filter(|rule| !skip(rule)).copied().collect() };
    let others = without(&|rule| prolongs(rule) || **rule == Rule::word);
    let words = without(&prolongs);
    [others, words, expected.to_vec()].into_iter().find(|rules| !rules.is_empty()).unwrap_or_default()
}

/// Marks and words between two operands of a formula or an index.
fn is_operator(rule: Rule) -> bool {
    matches!(
        rule,
        Rule::kw_and
            | Rule::kw_or
            | Rule::kw_xor
            | Rule::kw_when
            | Rule::kw_at
            | Rule::equals
            | Rule::differs
            | Rule::less
            | Rule::greater
            | Rule::plus
            | Rule::minus
            | Rule::star
            | Rule::divide
            | Rule::percent
    )
}

fn wants_unit(rule: Rule) -> bool {
    matches!(rule, Rule::unit | Rule::quantity | Rule::value)
}
