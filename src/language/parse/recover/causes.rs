//! Causes of a mistake, the surest first: what it most likely is, and where reading goes on.

use super::blocks::Block;
use super::mistake::{Failure, Mistake, Resume, between_statements, read, reads_all};
use super::places::{blanks, end_of_string, line_end, line_start, marks, shortened, token_before, word_at};
use super::words::{COLOURS, VALUES, phrase};
use crate::diagnostic::{Diagnostic, did_you_mean, nearest};
use crate::language::parse::grammar::Rule;
use crate::quantity::UNITS;

type Told = (Vec<Diagnostic>, Resume);

impl Mistake<'_, '_> {
    /// What is told, and where reading goes on.
    pub(super) fn tell(&self) -> Told {
        self.unclosed_text()
            .or_else(|| self.end_of_file())
            .or_else(|| self.stray_brace())
            .or_else(|| self.missing_brace())
            .or_else(|| self.missing_bracket())
            .or_else(|| self.unfinished_line())
            .or_else(|| self.missing_kind())
            .or_else(|| self.unknown_colour())
            .or_else(|| self.misspelt_start())
            .or_else(|| self.misspelt_before())
            .or_else(|| self.foreign_statement())
            .unwrap_or_else(|| self.unexpected())
    }

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
                self.error(message, open.brace..open.brace + 1, "this brace is still open")
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
            .error("this `}` closes nothing", self.found.clone(), "no block is open here")
            .help("leave it out, or look for a `}` too many above");
        Some((vec![problem], Resume::At(self.at + 1)))
    }

    /// A line that stands no deeper than the head of the open block, and that makes sense outside it.
    fn missing_brace(&self) -> Option<Told> {
        let line = line_start(self.text, self.at);
        let indent = blanks(&self.text[line..]);
        let word = word_at(self.text, line + indent);
        if self.text[line + indent..].starts_with('}') {
            return None;
        }
        if self.walk.innermost().brace >= line && self.walk.open.len() > 1 {
            return None;
        }
        for open in (1..self.walk.open.len()).rev() {
            let (outer, inner) = (self.walk.open[open - 1], self.walk.open[open]);
            if indent > inner.indent {
                return None;
            }
            let begins = outer.block.begins_with(word) && !self.begins_here(word);
            let deeper = self.indent_of_body(inner).is_some_and(|body| body > inner.indent);
            let ends_its_line = &self.text[inner.body(self.text)..line_end(self.text, inner.brace)];
            let told_apart = deeper || !ends_its_line.trim().is_empty();
            if !(begins || told_apart && self.reads_on(outer.block, line)) {
                continue;
            }
            let end = line + indent + word.len().max(1);
            let message = format!("the block `{}` is not closed", self.walk.head_of(inner));
            let problem = self
                .error(message, line + indent..end, "this does not belong in it")
                .at(self.span(inner.brace..inner.brace + 1), "this brace is still open")
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
            .error(format!("{close} is missing"), self.before.clone()?, format!("expected {close} behind this"))
            .at(self.span(at..at + 1), "opened here")
            .help(format!("close it: `{}{}`", self.text[at..self.before.clone()?.end].trim(), close.trim_matches('`')));
        Some((vec![problem], self.after_a_line_that_ended()))
    }

    /// The line before ends too early: what it lacks is not what this line begins with, or this line was swallowed.
    fn unfinished_line(&self) -> Option<Told> {
        if self.line_ended() && !self.between_statements() {
            let problem = self.behind_the_token_before(&self.expected);
            let resume = self.as_if_opened();
            return Some((vec![problem], resume.unwrap_or_else(|| self.after_a_line_that_ended())));
        }
        let line = line_start(self.text, self.at);
        let end = token_before(self.text, line)?.end;
        let open = self.walk.innermost();
        let body = if self.walk.open.len() > 1 { open.body(self.text) } else { 0 };
        let from = self.start.max(body);
        if end <= from || !self.reads_on(self.block, line) {
            return None;
        }
        let failure = read(self.block.rest()?, &self.text[from..end]).err()?;
        if failure.at + from < end || between_statements(&failure.expected) {
            return None;
        }
        let above =
            Mistake::new(self.file, self.text, self.walk, self.start, Failure { at: end, expected: failure.expected });
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
        (opens && self.reads_on(block, line) && !self.reads_on(self.block, line)).then_some(Resume::Inside {
            block,
            head,
            brace,
            at: line,
        })
    }

    /// The first word of the statement is a misspelt keyword: with it mended, the line makes sense.
    fn misspelt_start(&self) -> Option<Told> {
        let (at, word) = self.statement_start();
        let starters = self.block.starters();
        if at == self.at || self.block.begins_with(word) {
            return None;
        }
        let meant = nearest(word, starters.split_whitespace())?;
        let line = &self.text[at + word.len()..line_end(self.text, at)];
        let mended = format!("{meant}{line}");
        if !reads_all(self.block, &mended) {
            return None;
        }
        let expected = self.block.content();
        let problem = self
            .error(format!("expected {expected}, found `{word}`"), at..at + word.len(), "")
            .help(format!("did you mean `{meant}`?"));
        Some((vec![problem], Resume::NextLine))
    }

    /// The word before is a misspelt keyword that passed for a name.
    fn misspelt_before(&self) -> Option<Told> {
        let words: &[&str] = match self.block {
            Block::Part | Block::Stores => &["when", "else", "and", "or", "xor", "at", "not"],
            Block::Board => &["decouples", "from", "bussed", "isolated"],
            _ => return None,
        };
        let before = self.before.clone()?;
        let (start, _) = self.statement_start();
        let word = &self.text[before.clone()];
        let meant = nearest(word, words.iter().copied()).filter(|meant| *meant != word)?;
        if start > before.start || before.end > self.at {
            return None;
        }
        let end = line_end(self.text, self.at);
        let mended = format!("{}{meant}{}", &self.text[start..before.start], &self.text[before.end..end]);
        if !reads_all(self.block, &mended) {
            return None;
        }
        let problem =
            self.error(format!("`{word}` is not understood here"), before, "").help(format!("did you mean `{meant}`?"));
        Some((vec![problem], Resume::NextLine))
    }

    /// `C1 100 nF`: a value stands where the kind belongs.
    fn missing_kind(&self) -> Option<Told> {
        if self.block != Block::Board {
            return None;
        }
        let (start, first) = self.statement_start();
        let line = &self.text[start..line_end(self.text, start)];
        let mut words = line.split_whitespace();
        let name = words.next()?;
        let number = words.next()?;
        let unit = words.next().filter(|unit| UNITS.contains(unit))?;
        if self.begins_here(first) || number.parse::<f64>().is_err() {
            return None;
        }
        let kind = match unit {
            _ if unit.ends_with('F') => "capacitor",
            _ if unit.ends_with("ohm") => "resistor",
            _ => return None,
        };
        let at = start + line.find(number)?;
        let value = at..start + line.find(unit)? + unit.len();
        let problem = self
            .error("a value stands where the kind of the component belongs", value, "")
            .help(format!("write `{name} {kind} {number} {unit}`"));
        Some((vec![problem], Resume::NextLine))
    }

    /// `D1 led pink`: another word stands where the colour belongs.
    fn unknown_colour(&self) -> Option<Told> {
        if self.block != Block::Board {
            return None;
        }
        let (start, _) = self.statement_start();
        let end = line_end(self.text, start);
        let led = start + self.text[start..end].find(" led ")? + " led ".len();
        let at = led + blanks(&self.text[led..end]);
        let word = word_at(self.text, at);
        let known = VALUES.split(' ').any(|value| value == word) || word == "decouples";
        if known || !word.starts_with(|c: char| c.is_ascii_alphabetic()) {
            return None;
        }
        let rest = &self.text[at + word.len()..end];
        if !reads_all(self.block, &format!("{}{}{rest}", &self.text[start..at], "red")) {
            return None;
        }
        let near = did_you_mean(word, COLOURS.split(' '));
        let colours = format!("the colours are: {}", COLOURS.replace(' ', ", "));
        let problem = self
            .error(format!("`{word}` is no colour of an LED"), at..at + word.len(), "")
            .help(near.unwrap_or(colours));
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
            .error(format!("expected {expected}, found `{word}`"), at..at + word.len(), "")
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
}
