//! Every error of a text in one run.
//!
//! The parser stops at the first mistake. So the text is read block by block: the rest of the innermost open block is
//! parsed; on a mistake it is noted, reading goes on at the next line, in the block that is open there. A block whose
//! kind cannot be told is passed over in silence, so that one mistake is not told twice.

use super::grammar::{Grammar, Rule};
use crate::diagnostic::Diagnostic;
use crate::text::{FileKey, Span};
use pest::Parser;
use pest::error::{Error, ErrorVariant, InputLocation};

/// No person mends more than this at once.
const MOST_ERRORS: usize = 50;

/// All syntax errors of a text that is known to have one.
pub(super) fn all_errors(file: FileKey, text: &str) -> Vec<Diagnostic> {
    let mut problems = Vec::new();
    let mut open = vec![Block::File];
    let mut at = 0;
    while problems.len() < MOST_ERRORS {
        let Some(&block) = open.last() else { break };
        let Some(rule) = block.rest() else {
            at = skip_unknown(text, at);
            open.pop();
            continue;
        };
        match Grammar::parse(rule, &text[at..]) {
            Ok(pairs) => {
                if block == Block::File {
                    break;
                }
                at += pairs.as_str().len();
                open.pop();
            }
            Err(error) => {
                let offset = at + offset_of(&error);
                problems.push(describe(file, text, offset, &error, block));
                let line_end = text[offset..]
                    .find('\n')
                    .map_or(text.len(), |newline| offset + newline + 1);
                if line_end >= text.len() {
                    break;
                }
                walk(text, at, line_end, &mut open);
                at = line_end;
            }
        }
    }
    problems
}

/// The kinds of blocks, by what may stand in them.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
enum Block {
    File,
    Part,
    Package,
    Stores,
    Table,
    Sheet,
    Rows,
    Family,
    Levels,
    Board,
    Connector,
    Component,
    Assembly,
    Wires,
    Poles,
    Trial,
    Unknown,
}

impl Block {
    fn rest(self) -> Option<Rule> {
        Some(match self {
            Block::File => Rule::rest_of_file,
            Block::Part => Rule::rest_of_part,
            Block::Package => Rule::rest_of_package,
            Block::Stores => Rule::rest_of_stores,
            Block::Table => Rule::rest_of_table,
            Block::Sheet => Rule::rest_of_sheet,
            Block::Rows => Rule::rest_of_rows,
            Block::Family => Rule::rest_of_family,
            Block::Levels => Rule::rest_of_levels,
            Block::Board => Rule::rest_of_board,
            Block::Connector => Rule::rest_of_connector,
            Block::Component => Rule::rest_of_component,
            Block::Assembly => Rule::rest_of_assembly,
            Block::Wires => Rule::rest_of_wires,
            Block::Poles => Rule::rest_of_poles,
            Block::Trial => Rule::rest_of_trial,
            Block::Unknown => return None,
        })
    }

    /// The block that a brace opens inside this one, told by the first word of its head.
    fn inner(self, head: &str) -> Block {
        match (self, head) {
            (Block::File, "part") => Block::Part,
            (Block::File, "family") => Block::Family,
            (Block::File, "board") => Block::Board,
            (Block::File, "assembly") => Block::Assembly,
            (Block::File, "trial") => Block::Trial,
            (Block::Part, "package") => Block::Package,
            (Block::Part, "on" | "while") => Block::Stores,
            (Block::Part, "table") => Block::Table,
            (Block::Part, "family" | "grade") => Block::Sheet,
            (Block::Sheet, "at") => Block::Rows,
            (Block::Family, "at") => Block::Levels,
            (Block::Board, "connector") => Block::Connector,
            (Block::Assembly, "cable") => Block::Wires,
            (Block::Assembly, "supply") => Block::Poles,
            (
                Block::Part | Block::Board | Block::Assembly | Block::Stores | Block::Component,
                "each",
            ) => self,
            (Block::Board, _) => Block::Component,
            _ => Block::Unknown,
        }
    }

    fn content(self) -> &'static str {
        match self {
            Block::File => "`use`, `part`, `family`, `board`, `assembly` or `trial`",
            Block::Part => "a statement of a part",
            Block::Package => "a pin such as `2..9 D[1..8] in`",
            Block::Stores => "an assignment such as `q = D`",
            Block::Table => "a row of a table",
            Block::Sheet => "`source`, `columns` or `at`",
            Block::Rows => "a row such as `delay A -> Y 9 18 ns`",
            Block::Family => "`source`, `columns`, `supply` or `at`",
            Block::Levels => "a row such as `input-high 3.15 V`",
            Block::Board => "a statement of a board",
            Block::Connector => "a connector pin such as `1 CLK`",
            Block::Component => "a connection such as `CLK = phi`",
            Block::Assembly => "a statement of an assembly",
            Block::Wires => "connectors `A.BUS, B.BUS`, or wires `A.BUS.1 to B.BUS.2`",
            Block::Poles => "`plus = ...` or `minus = ...`",
            Block::Trial => "a step of a trial",
            Block::Unknown => "a statement",
        }
    }
}

/// Braces, brackets and newlines of a text from byte `from`, outside strings and comments.
pub(super) fn marks(text: &str, from: usize) -> impl Iterator<Item = (usize, u8)> + '_ {
    let bytes = text.as_bytes();
    let mut at = from;
    std::iter::from_fn(move || {
        while at < bytes.len() {
            let here = at;
            at += 1;
            match bytes[here] {
                b'#' => at = line_end(bytes, here),
                b'"' => {
                    // A string ends on its line; an unclosed one is left to the parser.
                    let end = line_end(bytes, here);
                    at = bytes[here + 1..end]
                        .iter()
                        .position(|&b| b == b'"')
                        .map_or(end, |close| here + close + 2);
                }
                mark @ (b'{' | b'}' | b'(' | b')' | b'[' | b']' | b'\n') => {
                    return Some((here, mark));
                }
                _ => {}
            }
        }
        None
    })
}

fn line_end(bytes: &[u8], from: usize) -> usize {
    bytes[from..]
        .iter()
        .position(|&b| b == b'\n')
        .map_or(bytes.len(), |end| from + end)
}

/// Opens and closes blocks as the braces between two bytes say.
fn walk(text: &str, from: usize, to: usize, open: &mut Vec<Block>) {
    let mut head_start = from;
    for (at, mark) in marks(text, from).take_while(|&(at, _)| at < to) {
        match mark {
            b'{' => {
                let head = text[head_start..at].trim_start();
                let word = head
                    .split(|c: char| !c.is_ascii_alphanumeric())
                    .next()
                    .unwrap_or("");
                let inner = open
                    .last()
                    .map_or(Block::Unknown, |block| block.inner(word));
                open.push(inner);
                head_start = at + 1;
            }
            b'}' => {
                if open.len() > 1 {
                    open.pop();
                }
                head_start = at + 1;
            }
            b'\n' => head_start = at + 1,
            _ => {}
        }
    }
}

/// The byte behind the brace that closes a block of unknown kind.
fn skip_unknown(text: &str, from: usize) -> usize {
    let mut depth = 1usize;
    for (at, mark) in marks(text, from) {
        match mark {
            b'{' => depth += 1,
            b'}' => depth -= 1,
            _ => {}
        }
        if depth == 0 {
            return at + 1;
        }
    }
    text.len()
}

fn offset_of(error: &Error<Rule>) -> usize {
    match error.location {
        InputLocation::Pos(at) => at,
        InputLocation::Span((start, _)) => start,
    }
}

/// Words one mistake for a person.
fn describe(
    file: FileKey,
    text: &str,
    offset: usize,
    error: &Error<Rule>,
    block: Block,
) -> Diagnostic {
    let rest = &text[offset..];
    let length = found_length(rest);
    let span = Span {
        file,
        start: offset as u32,
        end: (offset + length) as u32,
    };
    let found = if rest.is_empty() {
        "the end of the file".to_owned()
    } else {
        format!("`{}`", &rest[..length])
    };
    let mut expected = match &error.variant {
        ErrorVariant::ParsingError { positives, .. } => {
            let mut words: Vec<String> = positives.iter().map(|&rule| user_word(rule)).collect();
            words.sort();
            words.dedup();
            words
        }
        ErrorVariant::CustomError { message } => vec![message.clone()],
    };
    let misspelt = rest[..length]
        .chars()
        .all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_');
    let near = expected
        .iter()
        .filter_map(|word| word.strip_prefix('`')?.strip_suffix('`'));
    let near = misspelt
        .then(|| crate::diagnostic::did_you_mean(&rest[..length], near))
        .flatten();
    if expected.len() > 6 {
        expected = vec![block.content().to_owned()];
    }
    let wanted = match expected.as_slice() {
        [] => block.content().to_owned(),
        [one] => one.clone(),
        [first @ .., last] => format!("{} or {last}", first.join(", ")),
    };
    let help = near.unwrap_or_else(|| {
        format!(
            "{} stands here; see `coldboard reference` for the language",
            block.content()
        )
    });
    Diagnostic::error("syntax", format!("expected {wanted}, found {found}"))
        .at(span, format!("expected {wanted}"))
        .help(help)
}

/// Bytes of the word, or of the one character, at the start of a text.
fn found_length(rest: &str) -> usize {
    let word = rest
        .find(|c: char| !(c.is_ascii_alphanumeric() || c == '_' || c == '-'))
        .unwrap_or(rest.len());
    if word > 0 {
        word
    } else {
        rest.chars().next().map_or(0, char::len_utf8)
    }
}

/// What a person calls a rule of the grammar.
fn user_word(rule: Rule) -> String {
    let name = format!("{rule:?}");
    if let Some(keyword) = name.strip_prefix("kw_") {
        return format!("`{}`", keyword.replace('_', "-"));
    }
    let word = match rule {
        Rule::open_brace => "`{`",
        Rule::close_brace => "`}`",
        Rule::open_bracket => "`[`",
        Rule::close_bracket => "`]`",
        Rule::open_paren => "`(`",
        Rule::close_paren => "`)`",
        Rule::comma => "`,`",
        Rule::colon => "`:`",
        Rule::equals => "`=`",
        Rule::differs => "`!=`",
        Rule::less => "`<`",
        Rule::greater => "`>`",
        Rule::plus => "`+`",
        Rule::minus | Rule::dash => "`-`",
        Rule::star => "`*`",
        Rule::divide | Rule::slash | Rule::inner_slash => "`/`",
        Rule::percent => "`%`",
        Rule::arrow => "`->`",
        Rule::bar => "`|`",
        Rule::dot => "`.`",
        Rule::dots => "`..`",
        Rule::by => "`x`",
        Rule::string | Rule::string_text => "a text in quotation marks",
        Rule::number
        | Rule::decimal
        | Rule::digits
        | Rule::pin_digits
        | Rule::figure
        | Rule::figures => "a number",
        Rule::unit => "a unit such as `ns` or `V`",
        Rule::quantity => "a number with its unit",
        Rule::name | Rule::names | Rule::path | Rule::path_step | Rule::word | Rule::refs => {
            "a name"
        }
        Rule::index | Rule::index_term | Rule::index_factor | Rule::index_name | Rule::range => {
            "an index"
        }
        Rule::kind => "a part number",
        Rule::value => "a value",
        Rule::edge => "`rise` or `fall`",
        Rule::EOI => "the end of the file",
        _ => {
            return format!(
                "a {}",
                name.trim_start_matches("rest_of_").replace('_', " ")
            );
        }
    };
    word.to_owned()
}
