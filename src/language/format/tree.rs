//! A text as statements of tokens, with the blanks and comments between them.

use crate::language::parse::grammar::{Grammar, Rule};
use crate::language::parse::written_end;
use pest::Parser;
use pest::iterators::Pair;
use std::borrow::Cow;

/// A comment, from its `#` to the end of its line.
pub(super) struct Comment<'t> {
    pub(super) text: &'t str,
    /// False when it stands behind something on its line.
    pub(super) own_line: bool,
    pub(super) blank_before: bool,
}

/// What stands between two tokens.
#[derive(Default)]
pub(super) struct Gap<'t> {
    pub(super) comments: Vec<Comment<'t>>,
    /// True when a line ends in it.
    pub(super) newline: bool,
    /// True when an empty line stands right before the second token.
    pub(super) blank: bool,
}

/// A token, or a name with everything in its brackets.
pub(super) struct Token<'t> {
    pub(super) text: Cow<'t, str>,
    pub(super) rule: Rule,
    /// What stands before it.
    pub(super) gap: Gap<'t>,
}

/// A statement: its tokens up to its opening brace, and its body.
pub(super) struct Statement<'t> {
    pub(super) rule: Rule,
    pub(super) tokens: Vec<Token<'t>>,
    pub(super) body: Option<Body<'t>>,
}

/// What stands between braces.
pub(super) struct Body<'t> {
    pub(super) statements: Vec<Statement<'t>>,
    pub(super) close: Token<'t>,
}

/// A whole text.
pub(super) struct File<'t> {
    pub(super) items: Vec<Statement<'t>>,
    /// What stands behind the last item.
    pub(super) end: Gap<'t>,
}

/// Reads a text; nothing when it does not parse.
pub(super) fn read(text: &str) -> Option<File<'_>> {
    let file = Grammar::parse(Rule::file, text).ok()?.next()?;
    let mut reader = Reader { text, at: 0, inside: Vec::new() };
    let items =
        file.into_inner().filter(|pair| pair.as_rule() != Rule::EOI).map(|pair| reader.statement(pair)).collect();
    let end = reader.gap(text.len());
    Some(File { items, end })
}

struct Reader<'t> {
    text: &'t str,
    /// The end of the last token.
    at: usize,
    /// Comments from inside the brackets of the last token.
    inside: Vec<Comment<'t>>,
}

impl<'t> Reader<'t> {
    fn statement(&mut self, pair: Pair<'t, Rule>) -> Statement<'t> {
        let mut statement = Statement { rule: pair.as_rule(), tokens: Vec::new(), body: None };
        self.collect(pair, &mut statement);
        statement
    }

    /// Adds the tokens of a pair to a statement; braces open and close its body.
    fn collect(&mut self, pair: Pair<'t, Rule>, statement: &mut Statement<'t>) {
        let whole = matches!(
            pair.as_rule(),
            Rule::name | Rule::form_name | Rule::named | Rule::local | Rule::path | Rule::range | Rule::string
        );
        if whole || pair.clone().into_inner().next().is_none() {
            statement.tokens.push(self.token(&pair));
            return;
        }
        // The innermost rule says most: `board_statement` is whatever it holds.
        if statement.tokens.is_empty() {
            statement.rule = refined(statement.rule, pair.as_rule());
        }
        let mut body: Option<Vec<Statement<'t>>> = None;
        for inner in pair.into_inner() {
            match (inner.as_rule(), &mut body) {
                (Rule::open_brace, _) => {
                    statement.tokens.push(self.token(&inner));
                    body = Some(Vec::new());
                }
                (Rule::close_brace, _) => {
                    statement.body =
                        Some(Body { statements: body.take().unwrap_or_default(), close: self.token(&inner) });
                }
                (Rule::bar | Rule::cell, Some(rows)) => {
                    let token = self.token(&inner);
                    match rows.last_mut().filter(|_| !token.gap.newline) {
                        Some(row) => row.tokens.push(token),
                        None => rows.push(Statement { rule: Rule::cell, tokens: vec![token], body: None }),
                    }
                }
                (_, Some(statements)) => statements.push(self.statement(inner)),
                (_, None) => self.collect(inner, statement),
            }
        }
    }

    fn token(&mut self, pair: &Pair<'t, Rule>) -> Token<'t> {
        let span = pair.as_span();
        let gap = self.gap(span.start());
        self.at = written_end(pair);
        let text = &self.text[span.start()..self.at];
        let has_brackets = matches!(pair.as_rule(), Rule::name | Rule::form_name | Rule::path | Rule::range);
        let text = if has_brackets { self.without_blanks(text) } else { Cow::Borrowed(text.trim_end()) };
        Token { text, rule: pair.as_rule(), gap }
    }

    /// A name with the blanks in its brackets made regular; comments in them are put behind it.
    fn without_blanks(&mut self, text: &'t str) -> Cow<'t, str> {
        if !text.contains(|c: char| c.is_whitespace() || matches!(c, '#' | ',' | '\u{feff}')) {
            return Cow::Borrowed(text);
        }
        let mut regular = String::with_capacity(text.len());
        for (number, line) in text.split('\n').enumerate() {
            let (code, comment) = match line.find('#') {
                Some(at) => line.split_at(at),
                None => (line, ""),
            };
            for c in code.chars().filter(|c| !c.is_whitespace() && *c != '\u{feff}') {
                regular.push(c);
                if c == ',' {
                    regular.push(' ');
                }
            }
            if !comment.is_empty() {
                self.inside.push(Comment { text: comment.trim_end(), own_line: number > 0, blank_before: false });
            }
        }
        Cow::Owned(regular)
    }

    /// What stands between the last token and a byte.
    fn gap(&mut self, end: usize) -> Gap<'t> {
        let mut gap = Gap { comments: std::mem::take(&mut self.inside), ..Gap::default() };
        let mut newlines = 0;
        let mut at = self.at;
        while at < end {
            match self.text.as_bytes()[at] {
                b'#' => {
                    let length = self.text[at..end].find('\n').unwrap_or(end - at);
                    gap.comments.push(Comment {
                        text: self.text[at..at + length].trim_end(),
                        own_line: newlines > 0 || self.at == 0,
                        blank_before: newlines > 1,
                    });
                    newlines = 0;
                    at += length;
                }
                b'\n' => {
                    newlines += 1;
                    gap.newline = true;
                    at += 1;
                }
                _ => at += 1,
            }
        }
        gap.newline |= !gap.comments.is_empty();
        gap.blank = newlines > 1;
        gap
    }
}

/// Wrappers such as `board_statement` and `item` give way to what they hold.
fn refined(outer: Rule, inner: Rule) -> Rule {
    let is_wrapper = matches!(
        outer,
        Rule::item
            | Rule::part_statement
            | Rule::sheet_line
            | Rule::sheet_row
            | Rule::family_line
            | Rule::board_statement
            | Rule::assembly_statement
            | Rule::trial_statement
            | Rule::machine_line
            | Rule::effect_step
            | Rule::instructions_line
            | Rule::program_line
            | Rule::contents_line
    );
    if is_wrapper { inner } else { outer }
}

/// Tokens on one line.
pub(super) fn joined(tokens: &[Token<'_>]) -> String {
    let mut text = String::new();
    for (index, token) in tokens.iter().enumerate() {
        if index > 0 && !tight(tokens[index - 1].rule, token.rule) {
            text.push(' ');
        }
        text.push_str(&token.text);
    }
    text
}

/// True when no blank stands between two tokens.
pub(super) fn tight(first: Rule, second: Rule) -> bool {
    matches!(first, Rule::open_paren | Rule::open_bracket | Rule::negative)
        || matches!(first, Rule::word | Rule::symbol) && second == Rule::open_paren
        || first == Rule::dots && second != Rule::unit
        || matches!(second, Rule::comma | Rule::colon | Rule::close_paren | Rule::close_bracket | Rule::dots)
}
