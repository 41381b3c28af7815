//! One mistake: what it most likely is, and how a person is told.

use super::blocks::{
    Block, Open, Walk, blanks, end_of_string, line_end, line_start, marks, shortened,
};
use super::words::{keyword, keywords, listed, phrase};
use super::{Failure, read};
use crate::diagnostic::{Diagnostic, did_you_mean, nearest};
use crate::language::parse::grammar::Rule;
use crate::quantity::UNITS;
use crate::text::{FileKey, Span};

/// More alternatives than this help nobody; the kind of statement is named instead.
const MOST_ALTERNATIVES: usize = 5;

/// Where reading goes on.
pub(super) enum Resume {
    /// At a byte.
    At(usize),
    /// Behind the line of the mistake.
    NextLine,
    /// At a byte, in a block that was opened without its brace.
    Inside {
        block: Block,
        head: usize,
        brace: usize,
        at: usize,
    },
    /// At a byte, with only so many blocks open.
    Outside { open: usize, at: usize },
    /// The text is at its end.
    Never,
}

/// A mistake and its surroundings.
pub(super) struct Mistake<'t, 'w> {
    file: FileKey,
    text: &'t str,
    walk: &'w Walk<'t>,
    /// Where reading started.
    start: usize,
    /// Where it failed.
    at: usize,
    expected: Vec<Rule>,
    /// The block of the mistake.
    block: Block,
    /// The bytes of what was found.
    found: std::ops::Range<usize>,
    /// The bytes of the token before it.
    before: Option<std::ops::Range<usize>>,
}

type Told = (Vec<Diagnostic>, Resume);

impl<'t, 'w> Mistake<'t, 'w> {
    pub(super) fn new(
        file: FileKey,
        text: &'t str,
        walk: &'w Walk<'t>,
        start: usize,
        failure: Failure,
    ) -> Self {
        let at = failure.at;
        Mistake {
            file,
            text,
            walk,
            start,
            at,
            expected: failure.expected,
            block: walk.innermost().block,
            found: token_at(text, at),
            before: token_before(text, at),
        }
    }

    /// What is told, and where reading goes on.
    pub(super) fn tell(&self) -> Told {
        self.unclosed_text()
            .or_else(|| self.end_of_file())
            .or_else(|| self.stray_brace())
            .or_else(|| self.missing_brace())
            .or_else(|| self.missing_bracket())
            .or_else(|| self.unfinished_line())
            .or_else(|| self.misspelt_start())
            .or_else(|| self.foreign_statement())
            .unwrap_or_else(|| self.unexpected())
    }

    // ---- causes, the surest first ---------------------------------------------------------------------------

    fn unclosed_text(&self) -> Option<Told> {
        if !self.text[self.at..].starts_with('"') || end_of_string(self.text, self.at).is_some() {
            return None;
        }
        let line = self.text[self.at..line_end(self.text, self.at)].trim_end();
        let problem = self
            .error("this text is not closed", self.at..self.at + line.len(), "")
            .help("write the closing `\"` on the same line");
        Some((vec![problem], Resume::NextLine))
    }

    fn end_of_file(&self) -> Option<Told> {
        if self.at < self.text.len() {
            return None;
        }
        let mut told = Vec::new();
        if !self.between_statements() {
            told.push(self.behind_the_token_before(&self.expected));
        }
        if self.walk.open.len() > 1 {
            let open = self.walk.never_closed();
            let message = format!("the block `{}` is never closed", self.walk.head_of(open));
            told.push(
                self.error(
                    message,
                    open.brace..open.brace + 1,
                    "this brace is still open",
                )
                .help("write `}` where the block ends"),
            );
        }
        Some((told, Resume::Never))
    }

    fn stray_brace(&self) -> Option<Told> {
        if self.block != Block::File || !self.text[self.at..].starts_with('}') {
            return None;
        }
        let problem = self
            .error(
                "this `}` closes nothing",
                self.found.clone(),
                "no block is open here",
            )
            .help("leave it out, or look for a `}` too many above");
        Some((vec![problem], Resume::At(self.at + 1)))
    }

    /// A line that stands no deeper than the head of the open block, and that makes sense outside it.
    fn missing_brace(&self) -> Option<Told> {
        let line = line_start(self.text, self.at);
        let indent = blanks(&self.text[line..]);
        let word = word_at(self.text, line + indent);
        if self.walk.innermost().brace >= line && self.walk.open.len() > 1 {
            return None;
        }
        for open in (1..self.walk.open.len()).rev() {
            let (outer, inner) = (self.walk.open[open - 1], self.walk.open[open]);
            if indent > inner.indent {
                return None;
            }
            let begins = outer.block.starters().contains(&word) && !self.begins_here(word);
            let deeper = self
                .indent_of_body(inner)
                .is_some_and(|body| body > inner.indent);
            if !(begins || deeper && self.reads_on(outer.block, line)) {
                continue;
            }
            let end = line + indent + word.len().max(1);
            let message = format!("the block `{}` is not closed", self.walk.head_of(inner));
            let problem = self
                .error(message, line + indent..end, "this does not belong in it")
                .at(
                    self.span(inner.brace..inner.brace + 1),
                    "this brace is still open",
                )
                .help("write `}` before this line");
            return Some((vec![problem], Resume::Outside { open, at: line }));
        }
        None
    }

    fn missing_bracket(&self) -> Option<Told> {
        let mut open: Vec<(usize, u8)> = Vec::new();
        for (at, mark) in marks(self.text, self.start).take_while(|&(at, _)| at < self.at) {
            match mark {
                b'{' | b'(' | b'[' => open.push((at, mark)),
                b'}' | b')' | b']' => drop(open.pop()),
                _ => {}
            }
        }
        let (at, close) = match open.last()? {
            (at, b'(') => (*at, Rule::close_paren),
            (at, b'[') => (*at, Rule::close_bracket),
            _ => return None,
        };
        let found = &self.text[self.found.clone()];
        let continues = !found.starts_with(['=', '}', '{', ')', ']']) && !self.line_ended();
        if !self.expected.contains(&close) || found == "==" || continues {
            return None;
        }
        let close = phrase(close, self.block);
        let problem = self
            .error(
                format!("{close} is missing"),
                self.before.clone()?,
                format!("expected {close} behind this"),
            )
            .at(self.span(at..at + 1), "opened here")
            .help(format!(
                "close it: `{}{}`",
                self.text[at..self.before.clone()?.end].trim(),
                close.trim_matches('`')
            ));
        Some((vec![problem], self.after_a_line_that_ended()))
    }

    /// The line before ends too early: what it lacks is not what this line begins with, or this line was swallowed.
    fn unfinished_line(&self) -> Option<Told> {
        if self.line_ended() && !self.between_statements() {
            let problem = self.behind_the_token_before(&self.expected);
            let resume = self.as_if_opened();
            return Some((
                vec![problem],
                resume.unwrap_or_else(|| self.after_a_line_that_ended()),
            ));
        }
        let line = line_start(self.text, self.at);
        let end = token_before(self.text, line)?.end;
        let open = self.walk.innermost();
        let body = if self.walk.open.len() > 1 {
            open.brace + 1
        } else {
            0
        };
        let from = self.start.max(body);
        if end <= from || !self.reads_on(self.block, line) {
            return None;
        }
        let failure = read(self.block.rest()?, &self.text[from..end]).err()?;
        if failure.at + from < end || between_statements(&failure.expected) {
            return None;
        }
        let above = Mistake::new(
            self.file,
            self.text,
            self.walk,
            self.start,
            Failure {
                at: end,
                expected: failure.expected,
            },
        );
        let problem = above.behind_the_token_before(&above.expected);
        Some((vec![problem], Resume::At(line)))
    }

    /// Where only the opening brace is missing, reading goes on as if it were there.
    fn as_if_opened(&self) -> Option<Resume> {
        let line = line_start(self.text, self.at);
        let (head, _) = self.statement_start();
        let brace = self.before.as_ref()?.end;
        let block = self.block.inner(&self.text[head..brace]);
        let opens = self.expected.contains(&Rule::open_brace) && line >= brace;
        (opens && self.reads_on(block, line) && !self.reads_on(self.block, line)).then_some(
            Resume::Inside {
                block,
                head,
                brace,
                at: line,
            },
        )
    }

    /// The first word of the statement is a misspelt keyword: with it mended, the line makes sense.
    fn misspelt_start(&self) -> Option<Told> {
        let (at, word) = self.statement_start();
        let starters = self.block.starters();
        if at == self.at || starters.contains(&word) {
            return None;
        }
        let meant = nearest(word, starters.iter().copied())?;
        let line = &self.text[at + word.len()..line_end(self.text, at)];
        let mended = format!("{meant}{line}");
        if !reads_all(self.block, &mended) {
            return None;
        }
        let expected = self.block.content();
        let problem = self
            .error(
                format!("expected {expected}, found `{word}`"),
                at..at + word.len(),
                "",
            )
            .help(format!("did you mean `{meant}`?"));
        Some((vec![problem], Resume::NextLine))
    }

    /// A statement that belongs in a block of another kind.
    fn foreign_statement(&self) -> Option<Told> {
        let (at, word) = self.statement_start();
        let (home, place) = Block::home_of(word).filter(|_| !self.begins_here(word))?;
        if at == self.at || !self.reads_on(home, at) {
            return None;
        }
        let expected = self.block.content();
        let problem = self
            .error(
                format!("expected {expected}, found `{word}`"),
                at..at + word.len(),
                "",
            )
            .help(format!("`{word}` stands {place}"));
        Some((vec![problem], Resume::NextLine))
    }

    fn unexpected(&self) -> Told {
        let wanted = self.wanted(&self.expected);
        let message = format!("expected {wanted}, found {}", self.found_in_words());
        let mut problem = self.error(&message, self.found.clone(), "");
        problem.help = self.help(&message);
        (vec![problem], Resume::NextLine)
    }

    /// Something is missing at the end of a line.
    fn behind_the_token_before(&self, expected: &[Rule]) -> Diagnostic {
        let place = self.before.clone().unwrap_or(self.found.clone());
        let token = shortened(&self.text[place.clone()]);
        let message = format!("expected {} behind `{token}`", self.wanted(expected));
        let mut problem = self.error(&message, place, "");
        problem.help = self.example(&message);
        problem
    }

    // ---- words ------------------------------------------------------------------------------------------------

    /// What was expected, as a list in words.
    fn wanted(&self, expected: &[Rule]) -> String {
        let next = between_statements(expected);
        let content = self.block.content();
        let mut words: Vec<String> = Vec::new();
        let operators = expected.iter().filter(|&&rule| is_operator(rule)).count();
        for &rule in useful(expected) {
            let word = if operators > 2 && is_operator(rule) {
                "an operator".to_owned()
            } else {
                phrase(rule, self.block)
            };
            let begins = keyword(rule).is_some_and(|word| self.begins_here(&word));
            let statement = rule == Rule::close_brace || word == content || begins;
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

    fn help(&self, message: &str) -> Option<String> {
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
        let written: Vec<String> = self
            .expected
            .iter()
            .filter_map(|&rule| keyword(rule))
            .collect();
        let grouped = self.expected.iter().flat_map(|&rule| keywords(rule));
        let here = self.block.starters().iter().filter(|_| next);
        let candidates = written
            .iter()
            .map(String::as_str)
            .chain(grouped.copied())
            .chain(here.copied());
        if let Some(meant) = did_you_mean(found, candidates.filter(|word| *word != found)) {
            return Some(meant);
        }
        if next && let Some((_, place)) = Block::home_of(found) {
            return Some(format!("`{found}` stands {place}"));
        }
        if next && self.first_on_its_line() {
            return self.block.holds();
        }
        self.example(message)
    }

    /// An example of the statement that is being written, unless the message has it already.
    fn example(&self, message: &str) -> Option<String> {
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
            "," if self.between_statements() => "leave the `,` out: blanks are enough between two",
            "//" | "/*" | "--" => "a comment starts with `#`",
            "'" | "\u{2018}" | "\u{2019}" | "\u{201c}" | "\u{201d}" | "\u{201e}" => {
                "texts stand in plain quotation marks: `\"`"
            }
            "\u{a0}" | "\u{2007}" | "\u{202f}" | "\u{200b}" => {
                "this only looks like a blank; write a plain one"
            }
            "\u{2013}" | "\u{2014}" | "\u{2212}" => "write a plain `-`",
            "\u{2026}" => "write two dots: `..`",
            _ => return None,
        };
        Some(hint.to_owned())
    }

    fn unit_hint(&self) -> Option<String> {
        let text = &self.text[..self.at];
        let number = text.trim_end();
        let digits = number.rfind(|c: char| !(c.is_ascii_digit() || c == '.'));
        let number = &number[digits.map_or(0, |at| at + 1)..];
        let written = &self.text[self.at..self.found.end];
        let unit = match written {
            "k" | "K" | "kR" | "kohms" | "k\u{3a9}" | "k\u{2126}" => "kohm",
            "R" | "Ohm" | "ohms" | "\u{3a9}" | "\u{2126}" => "ohm",
            "M" | "\u{b5}m" => return None,
            "\u{b5}s" | "\u{3bc}s" | "usec" => "us",
            "\u{b5}F" | "\u{3bc}F" => "uF",
            "sec" | "second" | "seconds" => "s",
            "msec" => "ms",
            "nsec" => "ns",
            "volt" | "volts" => "V",
            other => nearest(other, UNITS.iter().copied())?,
        };
        Some(match number {
            "" => format!("did you mean `{unit}`?"),
            _ => format!("did you mean `{number} {unit}`?"),
        })
    }

    fn found_in_words(&self) -> String {
        let found = &self.text[self.found.clone()];
        match found.chars().next() {
            None => "the end of the file".to_owned(),
            Some(first) if first.is_whitespace() || first.is_control() || first == '\u{200b}' => {
                format!("the character U+{:04X}", u32::from(first))
            }
            Some(_) => format!("`{}`", shortened(found)),
        }
    }

    // ---- surroundings -----------------------------------------------------------------------------------------

    fn span(&self, bytes: std::ops::Range<usize>) -> Span {
        Span {
            file: self.file,
            start: bytes.start as u32,
            end: bytes.end as u32,
        }
    }

    fn error(
        &self,
        message: impl Into<String>,
        bytes: std::ops::Range<usize>,
        label: impl Into<String>,
    ) -> Diagnostic {
        Diagnostic::error("syntax", message).at(self.span(bytes), label)
    }

    fn begins_here(&self, word: &str) -> bool {
        self.block.starters().contains(&word)
    }

    fn between_statements(&self) -> bool {
        between_statements(&self.expected)
    }

    /// True when the token before stands on an earlier line, in the same block.
    fn line_ended(&self) -> bool {
        let Some(before) = &self.before else {
            return false;
        };
        self.text[before.end..self.at].contains('\n') && before.start > self.walk.innermost().brace
    }

    fn first_on_its_line(&self) -> bool {
        let line = line_start(self.text, self.at);
        self.text[line..self.at].trim_start().is_empty()
    }

    /// Where reading goes on behind an unfinished line: at the next one, when that makes sense by itself.
    fn after_a_line_that_ended(&self) -> Resume {
        let line = line_start(self.text, self.at);
        if self.line_ended() && line > self.start && self.reads_on(self.block, line) {
            Resume::At(line)
        } else {
            Resume::NextLine
        }
    }

    /// True when the rest of the line at a byte makes sense in a block.
    fn reads_on(&self, block: Block, at: usize) -> bool {
        reads_all(block, &self.text[at..line_end(self.text, self.at)])
    }

    fn indent_of_body(&self, open: Open) -> Option<usize> {
        let first = line_end(self.text, open.brace) + 1;
        let lines = self.text.get(first..self.at)?.lines();
        lines
            .filter(|line| !line.trim().is_empty())
            .map(blanks)
            .next()
    }

    /// The first word of the statement of the mistake, as far as its line tells.
    fn statement_start(&self) -> (usize, &'t str) {
        let line = line_start(
            self.text,
            self.before
                .as_ref()
                .map_or(self.at, |b| b.start)
                .min(self.at),
        );
        let open = self.walk.innermost().brace + 1;
        let line = if self.walk.open.len() > 1 {
            line.max(open)
        } else {
            line
        };
        let code = &self.text[line..self.at.max(line)];
        let first = line + code.len() - code.trim_start().len();
        (first, word_at(self.text, first))
    }
}

/// True when a new statement, or the end of the block, could have stood there.
fn between_statements(expected: &[Rule]) -> bool {
    expected.iter().any(|rule| {
        matches!(rule, Rule::close_brace | Rule::EOI)
            || (Rule::rest_of_file..=Rule::rest_of_trial).contains(rule)
    })
}

/// Without what could only have prolonged the name before, where anything else is left.
fn useful(expected: &[Rule]) -> impl Iterator<Item = &Rule> {
    let prolongs = |rule: &&Rule| {
        matches!(
            rule,
            Rule::bracket | Rule::open_bracket | Rule::inner_slash | Rule::slash | Rule::dot
        )
    };
    let any_other = !expected.iter().all(|rule| prolongs(&rule));
    expected
        .iter()
        .filter(move |rule| !(any_other && prolongs(rule)))
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

/// True when a text is the beginning of what may stand in a block.
fn reads_all(block: Block, text: &str) -> bool {
    let text = text.trim_end();
    match block.rest().map(|rule| read(rule, text)) {
        Some(Ok(_)) => true,
        Some(Err(failure)) => failure.at >= text.len() && !text.trim_start().is_empty(),
        None => false,
    }
}

fn is_word(c: char) -> bool {
    c.is_ascii_alphanumeric() || c == '_' || c == '-'
}

fn word_at(text: &str, at: usize) -> &str {
    let rest = &text[at..];
    &rest[..rest.find(|c| !is_word(c)).unwrap_or(rest.len())]
}

/// The word, the text in quotation marks or the mark at a byte, as one that people see.
fn token_at(text: &str, at: usize) -> std::ops::Range<usize> {
    let rest = &text[at..];
    if rest.starts_with('"') {
        return at..end_of_string(text, at).unwrap_or(at + 1);
    }
    let word = rest
        .find(|c: char| !(is_word(c) || c.is_alphabetic()))
        .unwrap_or(rest.len());
    if word > 0 && !rest.starts_with('-') {
        return at..at + word;
    }
    // A comparison whose first half was read already.
    if rest.starts_with(['=', '>']) && text[..at].ends_with(['<', '>', '=', ':', '!']) && at > 0 {
        return at - 1..at + 1;
    }
    const MARKS: [&str; 13] = [
        "==", "!=", "<=", ">=", ":=", "=>", "->", "&&", "||", "//", "/*", "--", "..",
    ];
    let length = MARKS
        .iter()
        .find(|mark| rest.starts_with(**mark))
        .map(|mark| mark.len())
        .or(rest.chars().next().map(char::len_utf8))
        .unwrap_or(0);
    at..at + length
}

/// The token before a byte, blanks and comments aside.
fn token_before(text: &str, at: usize) -> Option<std::ops::Range<usize>> {
    let mut end = at;
    loop {
        let line = line_start(text, end);
        let code = without_comment(&text[line..end]).trim_end();
        if !code.is_empty() {
            let end = line + code.len();
            let start = if code.ends_with('"') {
                code[..code.len() - 1].rfind('"')
            } else {
                let word = code.trim_end_matches(is_word);
                let last = code.chars().next_back().map_or(0, char::len_utf8);
                Some(word.len().min(code.len() - last))
            };
            return Some(line + start.unwrap_or(0)..end);
        }
        end = line.checked_sub(1)?;
    }
}

/// A line up to its comment.
fn without_comment(line: &str) -> &str {
    let mut quoted = false;
    let comment = line.find(|c| {
        quoted ^= c == '"';
        c == '#' && !quoted
    });
    &line[..comment.unwrap_or(line.len())]
}
