//! Text to syntax tree.
//!
//! A text without mistakes is parsed in one go. When that fails, [`recover`] walks it block by block, so that every
//! mistake of a text is told in one run.

mod assembly;
mod board;
mod contents;
pub(in crate::language) mod grammar;
mod machine;
mod names;
mod part;
mod program;
mod recover;
mod repetition;
mod sheet;
mod trial;

use super::{DEEPEST, LARGEST_TEXT, ast, characters};
use crate::diagnostic::{self, Diagnostic};
use crate::quantity::Quantity;
use crate::text::{FileKey, Span, Spanned};
use grammar::{Grammar, Rule};
use pest::Parser;
use pest::iterators::{Pair, Pairs};

/// Parses a text. The tree holds what could be read; it is complete when there are no errors.
pub fn parse(file: FileKey, text: &str) -> (ast::File, Vec<Diagnostic>) {
    if let Err(problem) = check_size(file, text) {
        return (ast::File::default(), vec![*problem]);
    }
    if let Some(problem) = characters::check(file, text) {
        return (ast::File::default(), vec![problem]);
    }
    match Grammar::parse(Rule::file, text) {
        Ok(pairs) => {
            let mut reader = Reader { file, problems: Vec::new(), operators: 0, label: String::new() };
            let items = pairs.flat_map(|pair| pair.into_inner()).filter_map(|pair| reader.item(pair)).collect();
            diagnostic::sort(&mut reader.problems);
            reader.problems.truncate(recover::MOST_ERRORS);
            (ast::File { items }, reader.problems)
        }
        Err(_) => (ast::File::default(), recover::all_errors(file, text)),
    }
}

/// Refuses what the later recursion could not stand: texts too large, brackets nested too deep.
fn check_size(file: FileKey, text: &str) -> Result<(), Box<Diagnostic>> {
    let span = |at: usize| Span { file, start: at as u32, end: at as u32 };
    if text.len() > LARGEST_TEXT {
        let message = format!("this text is larger than {} MiB", LARGEST_TEXT >> 20);
        return Err(Box::new(
            Diagnostic::error("too-large", message).at(span(0), "").help("split it into several files"),
        ));
    }
    let mut depth = 0usize;
    for (at, mark) in recover::marks(text, 0) {
        match mark {
            b'{' | b'(' | b'[' => depth += 1,
            b'}' | b')' | b']' => depth = depth.saturating_sub(1),
            _ => {}
        }
        if depth > DEEPEST {
            let message = format!("brackets are nested deeper than {DEEPEST} here");
            return Err(Box::new(
                Diagnostic::error("too-deep", message)
                    .at(span(at), "one bracket too many")
                    .help("close what is open, or write it flatter"),
            ));
        }
    }
    Ok(())
}

/// Turns pairs of the grammar into the tree. The grammar has checked the shape; what it cannot see (a number out of
/// range, a wrong unit) is collected in `problems`.
struct Reader {
    file: FileKey,
    problems: Vec<Diagnostic>,
    /// Operators of the formula that is being read.
    operators: usize,
    /// The label of the program that is being read under which local ones stand.
    label: String,
}

type P<'i> = Pair<'i, Rule>;

impl Reader {
    fn span(&self, pair: &P<'_>) -> Span {
        Span { file: self.file, start: pair.as_span().start() as u32, end: written_end(pair) as u32 }
    }

    fn problem(&mut self, span: Span, message: impl Into<String>, help: impl Into<String>) {
        self.problems.push(Diagnostic::error("syntax", message).at(span, "").help(help));
    }

    /// A word that the language no longer has.
    fn old_word(&mut self, word: &P<'_>, old: &str, new: &str) {
        let span = self.span(word);
        self.problem(
            span,
            format!("`{old}` is now called `{new}`"),
            format!("write `{new}`; `coldboard format --update --write FILE` rewrites the whole file"),
        );
    }

    fn word(&self, pair: &P<'_>) -> ast::Word {
        Spanned { node: pair.as_str().trim_end().to_owned(), span: self.span(pair) }
    }

    /// The characters between the quotation marks.
    fn string(&self, pair: P<'_>) -> Spanned<String> {
        let span = self.span(&pair);
        let text = pair.into_inner().next().map(|inner| inner.as_str().to_owned()).unwrap_or_default();
        Spanned { node: text, span }
    }

    fn item(&mut self, pair: P<'_>) -> Option<ast::Item> {
        let inner = if pair.as_rule() == Rule::item { pair.into_inner().next()? } else { pair };
        Some(match inner.as_rule() {
            Rule::use_item => ast::Item::Use(self.string(without_words(inner).next()?)),
            Rule::part_item => ast::Item::Part(self.part(inner)),
            Rule::family_item => ast::Item::Family(self.family(inner)),
            Rule::board_item => ast::Item::Board(self.board(inner)),
            Rule::assembly_item => ast::Item::Assembly(self.assembly(inner)),
            Rule::trial_item => ast::Item::Trial(self.trial(inner)),
            Rule::procedure_item => ast::Item::Procedure(self.procedure(inner)?),
            Rule::names_item => ast::Item::Names(self.name_list(inner)),
            Rule::instructions_item => ast::Item::Instructions(self.instructions(inner)),
            Rule::program_item => ast::Item::Program(self.program(inner)?),
            Rule::contents_item => ast::Item::Contents(self.contents(inner)),
            _ => return None,
        })
    }

    /// Splits a block into its head and the statements between its braces.
    fn head_and_body<'i>(&self, pair: P<'i>) -> (P<'i>, impl Iterator<Item = P<'i>> + use<'i>) {
        let mut inner = pair.into_inner();
        let head = inner.next().expect("a block has a head");
        (head, inner.filter(|pair| !is_mark(pair.as_rule())))
    }

    /// `NAME "title"` behind a keyword: the words of a head.
    fn name_and_title(&self, head: P<'_>) -> (ast::Word, String) {
        let mut name = None;
        let mut title = String::new();
        for pair in without_words(head) {
            match pair.as_rule() {
                Rule::string => title = self.string(pair).node,
                _ => name = name.or(Some(self.word(&pair))),
            }
        }
        (name.expect("a head has a name"), title)
    }

    fn each<T>(&mut self, pair: P<'_>, mut body: impl FnMut(&mut Self, P<'_>) -> Option<T>) -> ast::Each<T> {
        let (head, statements) = self.head_and_body(pair);
        let span = self.span(&head);
        let mut inner = without_words(head);
        let variable = self.word(&inner.next().expect("a variable"));
        let ranges = inner.map(|range| self.range(range)).collect();
        let body = statements.filter_map(|statement| body(self, statement)).collect();
        ast::Each { variable, ranges, body, span }
    }

    fn whole(&mut self, pair: &P<'_>) -> u64 {
        let span = self.span(pair);
        match pair.as_str().trim_end().parse::<u64>() {
            Ok(number) if number <= 1 << 40 => number,
            _ => {
                self.problem(span, "this number is too large", "the largest is 2^40");
                0
            }
        }
    }

    fn small(&mut self, pair: &P<'_>, most: u64, what: &str) -> u32 {
        let span = self.span(pair);
        let number = self.whole(pair);
        if number > most {
            self.problem(span, format!("{number} is too large for {what}"), format!("the largest is {most}"));
            return 0;
        }
        number as u32
    }

    /// A number with sign, decimal, `0x` or `0b`, that must be whole.
    fn number(&mut self, pair: &P<'_>) -> Spanned<i64> {
        let span = self.span(pair);
        let text = pair.as_str().trim_end();
        let (negative, digits) = text.strip_prefix('-').map_or((false, text), |rest| (true, rest));
        let value = if let Some(hex) = digits.strip_prefix("0x") {
            i64::from_str_radix(hex, 16)
        } else if let Some(binary) = digits.strip_prefix("0b") {
            i64::from_str_radix(binary, 2)
        } else {
            digits.parse()
        };
        let node = value.unwrap_or_else(|_| {
            self.problem(span, format!("`{text}` is not a whole number that fits 63 bits"), "write a whole number");
            0
        });
        Spanned { node: if negative { -node } else { node }, span }
    }

    fn quantity(&mut self, pair: P<'_>) -> Spanned<Quantity> {
        let span = self.span(&pair);
        let mut inner = pair.into_inner();
        let number = inner.next().map(|p| p.as_str().to_owned()).unwrap_or_default();
        let unit = inner.next().map(|p| p.as_str().to_owned()).unwrap_or_default();
        Spanned { node: self.measure(span, &number, &unit), span }
    }

    fn measure(&mut self, span: Span, number: &str, unit: &str) -> Quantity {
        Quantity::parse(number.trim(), unit.trim()).unwrap_or_else(|error| {
            self.problem(span, error.to_string(), "write a number that fits, and its unit");
            Quantity::Number(0)
        })
    }

    /// Takes one kind of quantity, or tells what was wanted.
    fn as_kind<T>(&mut self, quantity: Spanned<Quantity>, take: fn(Quantity) -> Option<T>, wanted: &str) -> Option<T> {
        let taken = take(quantity.node);
        // One that could not be read was told already.
        let here = |problem: &Diagnostic| problem.labels.iter().any(|at| at.span == quantity.span);
        if taken.is_none() && !self.problems.last().is_some_and(here) {
            let message = format!("{} stands where {wanted} is wanted", quantity.node.kind());
            self.problem(quantity.span, message, format!("write {wanted} with its unit"));
        }
        taken
    }
}

/// Where the last token of a pair ends. Blanks and comments behind it belong to the rule, not to what is meant.
pub(in crate::language) fn written_end(pair: &P<'_>) -> usize {
    let written = pair.as_str().trim_end();
    let last_line = written.rsplit('\n').next().unwrap_or(written);
    if !last_line.contains('#') {
        return pair.as_span().start() + written.len();
    }
    let mut last = pair.clone();
    while last.as_rule() != Rule::string
        && let Some(inner) = last.clone().into_inner().next_back()
    {
        last = inner;
    }
    last.as_span().start() + last.as_str().trim_end().len()
}

/// The inner pairs, without keywords and marks.
fn without_words(pair: P<'_>) -> impl Iterator<Item = P<'_>> {
    pair.into_inner().filter(|pair| !is_mark(pair.as_rule()) && !is_keyword(pair.as_rule()))
}

/// Statements come wrapped in the rule of their block's kind; this opens the wrapper.
fn only_child<'i>(pair: P<'i>) -> Option<P<'i>> {
    Pairs::next(&mut pair.into_inner())
}

/// What a pair is made of, if that is one thing alone.
fn the_only_child<'i>(pair: &P<'i>) -> Option<P<'i>> {
    let mut inner = pair.clone().into_inner();
    let first = inner.next()?;
    inner.next().is_none().then_some(first)
}

fn is_mark(rule: Rule) -> bool {
    matches!(
        rule,
        Rule::open_brace
            | Rule::close_brace
            | Rule::open_bracket
            | Rule::close_bracket
            | Rule::open_paren
            | Rule::close_paren
            | Rule::comma
            | Rule::colon
            | Rule::equals
            | Rule::dots
            | Rule::dot
            | Rule::arrow
            | Rule::by
            | Rule::EOI
    )
}

/// Every word that the language gives a meaning, in alphabetical order.
pub fn keywords() -> Vec<String> {
    let mut words: Vec<String> = Rule::all_rules().iter().copied().filter_map(recover::keyword).collect();
    words.sort();
    words
}

/// The keywords are the last rules of the grammar, `kw_use` the first of them.
fn is_keyword(rule: Rule) -> bool {
    rule >= Rule::kw_use
}
