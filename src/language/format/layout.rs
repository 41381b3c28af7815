//! Statements to lines.

use super::columns::{Column, Row, aligned, cells, columns, rows};
use super::tree::{Body, File, Gap, Statement, Token, joined, tight};
use super::{INDENT, WIDTH};
use crate::language::parse::grammar::Rule;
use crate::text::WIDEST_COLUMN;

/// A line of the result.
#[derive(Default)]
struct Line<'t> {
    indent: usize,
    text: String,
    /// A comment behind the text, or alone.
    comment: Option<&'t str>,
}

#[derive(Default)]
struct Page<'t> {
    lines: Vec<Line<'t>>,
}

/// The whole text.
pub(super) fn print(file: &File<'_>) -> String {
    let mut page = Page::default();
    let mut small_before = true;
    for (index, item) in file.items.iter().enumerate() {
        // Small items may stand together; others have an empty line around them.
        let small = one_line(item, 0).is_some();
        let apart = index > 0 && !(small && small_before);
        page.gap(&item.tokens[0].gap, 0, apart);
        page.statement(item, 0);
        small_before = small;
    }
    let comments = !file.end.comments.is_empty();
    page.gap(&without_blank(&file.end), 0, comments && !small_before);
    page.finish()
}

/// True when a line may end between two tokens of a statement.
fn breaks(statement: Rule, first: Rule, second: Rule) -> bool {
    matches!(first, Rule::comma | Rule::kw_and | Rule::kw_or | Rule::kw_xor | Rule::kw_else)
        || matches!(second, Rule::kw_and | Rule::kw_or | Rule::kw_xor | Rule::kw_when | Rule::kw_else | Rule::kw_within)
        || (statement == Rule::forbid_line && second == Rule::string)
}

/// A statement on one line, when it was written so and fits; without a body it always fits.
fn one_line(statement: &Statement<'_>, indent: usize) -> Option<String> {
    let pairs = statement.tokens.windows(2);
    let broken = |pair: &[Token<'_>]| {
        let kept = breaks(statement.rule, pair[0].rule, pair[1].rule) && pair[1].gap.newline;
        kept || !pair[1].gap.comments.is_empty()
    };
    if pairs.into_iter().any(broken) {
        return None;
    }
    let mut text = joined(&statement.tokens);
    if let Some(body) = &statement.body {
        for inner in &body.statements {
            if inner.tokens[0].gap.newline || inner.tokens.iter().any(|t| t.gap.newline) {
                return None;
            }
            text.push_str(if text.ends_with('{') { " " } else { "  " });
            text.push_str(&one_line(inner, 0)?);
        }
        let empty = body.statements.is_empty() && body.close.gap.comments.is_empty();
        if body.close.gap.newline && !empty {
            return None;
        }
        text.push_str(" }");
    }
    (indent + text.chars().count() <= WIDTH).then_some(text)
}

impl<'t> Page<'t> {
    fn push(&mut self, indent: usize, text: String) {
        self.lines.push(Line { indent, text, comment: None });
    }

    /// An empty line, but none at the start of the text or of a block, and no second one.
    fn blank(&mut self) {
        let opens = |line: &Line<'_>| line.text.ends_with('{');
        let is_blank = |line: &Line<'_>| line.text.is_empty() && line.comment.is_none();
        if self.lines.last().is_some_and(|line| !opens(line) && !is_blank(line)) {
            self.lines.push(Line::default());
        }
    }

    fn comment(&mut self, indent: usize, comment: &'t str) {
        self.lines.push(Line { indent, text: String::new(), comment: Some(comment) });
    }

    /// The comments and empty lines before a statement, which stands `apart` where an empty line is wanted anyway.
    fn gap(&mut self, gap: &Gap<'t>, indent: usize, mut apart: bool) {
        for comment in &gap.comments {
            let behind = self.lines.last_mut().filter(|line| !comment.own_line && line.comment.is_none());
            if let Some(line) = behind {
                line.comment = Some(comment.text);
                continue;
            }
            if comment.blank_before || apart {
                self.blank();
            }
            apart = false;
            self.comment(indent, comment.text);
        }
        // Comments have stood apart already, unless all of them stood behind something.
        if gap.blank || apart {
            self.blank();
        }
    }

    /// One statement; what stands before it is there already.
    fn statement(&mut self, statement: &Statement<'t>, indent: usize) {
        if let Some(text) = one_line(statement, indent) {
            self.push(indent, text);
            return;
        }
        self.flow(statement, indent);
        if let Some(body) = &statement.body {
            self.body(statement.rule, body, indent + INDENT);
            self.gap(&without_blank(&body.close.gap), indent + INDENT, false);
            self.push(indent, "}".to_owned());
        }
    }

    /// The tokens of a statement on as many lines as its breaks, its comments and the width ask for.
    fn flow(&mut self, statement: &Statement<'t>, indent: usize) {
        let steps = if statement.body.is_some() { 2 } else { 1 };
        let hang = indent + steps * INDENT;
        let tokens = &statement.tokens;
        let mut start = 0;
        let mut margin = indent;
        for (index, token) in tokens.iter().enumerate().skip(1) {
            let comments = &token.gap.comments;
            let kept = token.gap.newline && breaks(statement.rule, tokens[index - 1].rule, token.rule);
            if kept || !comments.is_empty() {
                self.fill(statement.rule, &tokens[start..index], margin, hang);
                (start, margin) = (index, hang);
            }
            if !comments.is_empty() {
                self.gap(&without_blank(&token.gap), hang, false);
            }
        }
        self.fill(statement.rule, &tokens[start..], margin, hang);
    }

    /// Tokens that were on one line, broken where they are too wide for it.
    fn fill(&mut self, rule: Rule, mut tokens: &[Token<'t>], mut indent: usize, hang: usize) {
        while let Some(at) = place_to_break(rule, tokens, indent) {
            self.push(indent, joined(&tokens[..at]));
            (tokens, indent) = (&tokens[at..], hang);
        }
        self.push(indent, joined(tokens));
    }

    /// The statements between braces, in columns where their block has them.
    fn body(&mut self, block: Rule, body: &Body<'t>, indent: usize) {
        let statements = &body.statements;
        match block {
            Rule::package_block
            | Rule::connector_block
            | Rule::bits_block
            | Rule::component
            | Rule::each_connection
            | Rule::supply_block
            | Rule::machine_block => self.pins(block, statements, indent),
            Rule::table_block | Rule::at_block | Rule::level_block | Rule::cable_block => {
                self.rows(block, statements, indent)
            }
            Rule::names_item | Rule::instructions_item => self.rows(block, statements, indent),
            Rule::program_item => {
                for statement in statements {
                    // Labels stand out.
                    let label = statement.rule == Rule::label_mark;
                    let indent = if label { indent } else { indent + INDENT };
                    self.gap(&statement.tokens[0].gap, indent, false);
                    self.statement(statement, indent);
                }
            }
            _ => {
                for statement in statements {
                    self.gap(&statement.tokens[0].gap, indent, false);
                    self.statement(statement, indent);
                }
            }
        }
    }

    /// Rows of one statement each.
    fn rows(&mut self, block: Rule, statements: &[Statement<'t>], indent: usize) {
        let apart = |rule: Rule| matches!(rule, Rule::registers_line | Rule::visible_line | Rule::note_line);
        let is_short = |s: &Statement<'_>| s.rule == Rule::instruction_form && one_line(s, indent).is_some();
        let in_columns = |s: &&Statement<'_>| (is_simple(s) || is_short(s)) && !apart(s.rule);
        let simple: Vec<&Statement<'_>> = statements.iter().filter(in_columns).collect();
        let mut rows = rows(block, &simple);
        for (row, statement) in rows.iter_mut().zip(&simple) {
            // What an instruction does stands behind it.
            if let Some(body) = &statement.body {
                let steps: Vec<String> = body.statements.iter().filter_map(|step| one_line(step, 0)).collect();
                row.tail = format!("{} }}", steps.join("  ")).trim_start().to_owned();
            }
        }
        let most = rows.iter().map(|row| row.cells.len()).max().unwrap_or(0);
        let mut texts = aligned(&rows, &columns(block, most)).into_iter();
        let listed = matches!(block, Rule::cable_block | Rule::instructions_item) || is_wiring(block);
        for statement in statements {
            self.gap(&statement.tokens[0].gap, indent, false);
            let text = if in_columns(&statement) { texts.next() } else { None };
            match text {
                Some(text) if !listed || indent + text.chars().count() <= WIDTH => {
                    self.push(indent, text);
                }
                _ => self.statement(statement, indent),
            }
        }
    }

    /// Pins and connections, in the lines that their writer grouped them in.
    fn pins(&mut self, block: Rule, statements: &[Statement<'t>], indent: usize) {
        let mut lines: Vec<&[Statement<'t>]> = Vec::new();
        let mut start = 0;
        for index in 1..=statements.len() {
            let ends = statements.get(index).is_none_or(|next| {
                next.tokens[0].gap.newline || !is_simple(next) || !is_simple(&statements[index - 1])
            });
            if ends {
                lines.push(&statements[start..index]);
                start = index;
            }
        }
        if lines.iter().all(|line| line.len() == 1) {
            self.rows(block, statements, indent);
        } else if is_wiring(block) {
            for line in lines {
                self.wiring(line, indent);
            }
        } else {
            self.grid(block, &lines, indent);
        }
    }

    /// Connections that share a line, on several when they do not fit.
    fn wiring(&mut self, line: &[Statement<'t>], indent: usize) {
        for (index, statement) in line.iter().enumerate() {
            let text = joined(&statement.tokens);
            if index > 0
                && let Some(last) = self.lines.last_mut()
                && last.indent + last.text.chars().count() + 2 + text.chars().count() <= WIDTH
            {
                last.text.push_str("  ");
                last.text.push_str(&text);
                continue;
            }
            self.gap(&statement.tokens[0].gap, indent, false);
            self.statement(statement, indent);
        }
    }

    /// Pins that share lines, each in the columns of its place on the line.
    fn grid(&mut self, block: Rule, lines: &[&[Statement<'t>]], indent: usize) {
        let mut looks: Vec<Column> = Vec::new();
        let mut rows: Vec<Row> = Vec::new();
        for line in lines.iter().filter(|line| is_simple(&line[0])) {
            let mut row = Row { cells: Vec::new(), tail: String::new() };
            for statement in *line {
                let pin = cells(block, statement).cells;
                if looks.len() <= row.cells.len() {
                    let gap = if looks.is_empty() { 0 } else { 3 };
                    looks.push(Column { right: false, gap });
                    looks.resize(row.cells.len() + pin.len(), Column { right: false, gap: 1 });
                }
                row.cells.extend(pin);
            }
            rows.push(row);
        }
        let mut texts = aligned(&rows, &looks).into_iter();
        for line in lines {
            self.gap(&line[0].tokens[0].gap, indent, false);
            let text = if is_simple(&line[0]) { texts.next() } else { None };
            match text {
                Some(text) => self.push(indent, text),
                None => self.statement(&line[0], indent),
            }
        }
    }

    /// The lines as text; comments behind neighbouring lines stand in one column.
    fn finish(self) -> String {
        let mut text = String::new();
        let mut index = 0;
        let has_both = |line: &Line<'_>| line.comment.is_some() && !line.text.is_empty();
        while index < self.lines.len() {
            let indent = self.lines[index].indent;
            let run = self.lines[index..].iter().take_while(|line| has_both(line) && line.indent == indent).count();
            let run = &self.lines[index..index + run.max(1)];
            let width = run.iter().map(|line| line.text.chars().count()).max().unwrap_or(0).min(WIDEST_COLUMN);
            for line in run {
                let written = match line.comment {
                    None => line.text.clone(),
                    Some(comment) if line.text.is_empty() => comment.to_owned(),
                    Some(comment) => format!("{:<width$}  {comment}", line.text),
                };
                if !written.is_empty() {
                    text.extend(std::iter::repeat_n(' ', line.indent));
                }
                text.push_str(&written);
                text.push('\n');
            }
            index += run.len();
        }
        text
    }
}

/// True for a statement that is one row: without braces and inner comments.
fn is_simple(statement: &Statement<'_>) -> bool {
    let mut inner = statement.tokens.iter().skip(1);
    statement.body.is_none() && inner.all(|token| token.gap.comments.is_empty())
}

fn is_wiring(block: Rule) -> bool {
    matches!(block, Rule::component | Rule::each_connection | Rule::supply_block | Rule::machine_block)
}

/// The last break that keeps a line within the width, of those that stand least deep in parentheses; the first one of
/// all where none keeps it.
fn place_to_break(rule: Rule, tokens: &[Token<'_>], indent: usize) -> Option<usize> {
    // Each token but the last takes a character at least, so that of a long list only the beginning is looked at.
    let beginning = &tokens[..tokens.len().min(WIDTH + 1)];
    if indent + joined(beginning).chars().count() <= WIDTH && beginning.len() == tokens.len() {
        return None;
    }
    let mut width = indent;
    let mut depth = 0usize;
    let mut best: Option<(usize, usize)> = None;
    for index in 1..tokens.len() {
        let (first, second) = (&tokens[index - 1], &tokens[index]);
        let blank = index > 1 && !tight(tokens[index - 2].rule, first.rule);
        width += usize::from(blank) + first.text.chars().count();
        match first.rule {
            Rule::open_paren => depth += 1,
            Rule::close_paren => depth = depth.saturating_sub(1),
            _ => {}
        }
        if !breaks(rule, first.rule, second.rule) {
            continue;
        }
        if width > WIDTH {
            best = best.or(Some((depth, index)));
            break;
        }
        if best.is_none_or(|(least, _)| depth <= least) {
            best = Some((depth, index));
        }
    }
    best.map(|(_, index)| index)
}

/// A gap whose empty line does not count: before a closing brace, and within a statement.
fn without_blank<'t>(gap: &Gap<'t>) -> Gap<'t> {
    Gap {
        comments: gap.comments.iter().map(|comment| super::tree::Comment { ..*comment }).collect(),
        newline: gap.newline,
        blank: false,
    }
}
