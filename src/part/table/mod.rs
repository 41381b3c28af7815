//! Published function tables: what their cells say about a part's pins.
//!
//! A table is read once, when its part is loaded. [`verify`] then runs the part's function against every row.

mod verify;

pub use verify::{TableFailure, verify};

use super::{Part, PinIndex};
use crate::diagnostic::{Diagnostic, any_error, count, did_you_mean};
use crate::language::ast::{self, Index, IndexKind, Piece, Range, Template};
use crate::language::expand::Scope;
use crate::text::Span;

/// A published function table.
#[derive(Clone, Debug)]
pub struct FunctionTable {
    /// The columns before the bar.
    pub inputs: Vec<Column>,
    /// The columns behind the bar.
    pub outputs: Vec<Column>,
    /// The rows below the heading.
    pub rows: Vec<Row>,
}

/// The pins that stand under one word of the heading.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Column {
    /// The word.
    pub name: String,
    /// Bits of the input word (before the bar) or of the output word (behind it), the least significant first.
    pub bits: Vec<usize>,
}

/// One line of a table.
#[derive(Clone, Debug)]
pub struct Row {
    /// One cell a column.
    pub inputs: Vec<InputCell>,
    /// One cell a column.
    pub outputs: Vec<OutputCell>,
    /// The whole line.
    pub span: Span,
}

/// What is applied to the inputs of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum InputCell {
    /// `L`: all low.
    Low,
    /// `H`: all high.
    High,
    /// A number, in binary.
    Number(u64),
    /// `rise`.
    Rise,
    /// `fall`.
    Fall,
    /// `pulse`: low, high and low again.
    Pulse,
    /// `*`: it does not matter.
    Any,
}

/// What is published of the outputs of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OutputCell {
    /// `L`: all low.
    Low,
    /// `H`: all high.
    High,
    /// A number, in binary.
    Number(u64),
    /// `off`: let go.
    Off,
    /// `hold`: as before.
    Hold,
    /// `+1`: one more than before.
    Up,
    /// `-1`: one less than before.
    Down,
    /// `toggle`: the opposite of before.
    Toggle,
    /// `=NAME`: what stands under that input column.
    Same(usize),
    /// `not=NAME`: the opposite of it.
    Opposite(usize),
}

impl Column {
    /// How many pins it has.
    pub fn width(&self) -> u32 {
        self.bits.len() as u32
    }
}

type Fallible<T> = Result<T, Diagnostic>;

impl FunctionTable {
    /// Reads a table of a part whose pins and function are known.
    pub(super) fn read(tree: &ast::Table, part: &Part, problems: &mut Vec<Diagnostic>) -> FunctionTable {
        let mut table = FunctionTable { inputs: Vec::new(), outputs: Vec::new(), rows: Vec::new() };
        // A part with errors has words without some of its pins: columns would be reported that are good.
        if any_error(problems) {
            return table;
        }
        let Some((heading, lines)) = tree.lines.split_first() else {
            problems.push(
                problem("this table is empty", tree.span, "")
                    .help("write the names of the pins in its first line, then one line for each row"),
            );
            return table;
        };
        let reader = Reader { part };
        match reader.heading(heading) {
            Ok((inputs, outputs)) => (table.inputs, table.outputs) = (inputs, outputs),
            Err(problem) => {
                problems.push(problem);
                return table;
            }
        }
        if lines.is_empty() {
            problems.push(
                problem("this table has a heading, but no rows", heading.span, "")
                    .help("write each row on a line of its own"),
            );
        }
        for line in lines {
            match table.row(line) {
                Ok(row) => table.rows.push(row),
                Err(problem) => problems.push(problem),
            }
        }
        table
    }

    fn row(&self, line: &ast::TableLine) -> Fallible<Row> {
        for (cells, columns, side) in [(&line.inputs, &self.inputs, "before"), (&line.outputs, &self.outputs, "behind")]
        {
            if cells.len() != columns.len() {
                let (found, wanted) = (count(cells.len(), "cell"), count(columns.len(), "column"));
                let message = format!("{found} {side} the bar, but {wanted}");
                return Err(problem(&message, line.span, "this row").help("write one cell for each column"));
            }
        }
        let inputs = line.inputs.iter().zip(&self.inputs);
        let outputs = line.outputs.iter().zip(&self.outputs);
        Ok(Row {
            inputs: inputs.map(|(cell, column)| input_cell(cell, column)).collect::<Fallible<_>>()?,
            outputs: outputs.map(|(cell, column)| self.output_cell(cell, column)).collect::<Fallible<_>>()?,
            span: line.span,
        })
    }

    fn output_cell(&self, cell: &ast::Word, column: &Column) -> Fallible<OutputCell> {
        let input = |name: &str| self.input_called(name, cell, column);
        Ok(match cell.node.as_str() {
            "L" => OutputCell::Low,
            "H" => OutputCell::High,
            "off" => OutputCell::Off,
            "hold" => OutputCell::Hold,
            "+1" => OutputCell::Up,
            "-1" => OutputCell::Down,
            "toggle" => OutputCell::Toggle,
            text => match (text.strip_prefix("not="), text.strip_prefix('=')) {
                (Some(name), _) => OutputCell::Opposite(input(name)?),
                (None, Some(name)) => OutputCell::Same(input(name)?),
                (None, None) => OutputCell::Number(number(
                    cell,
                    column,
                    "write `L`, `H`, `off`, `hold`, a number, `+1`, `-1`, `toggle`, `=NAME` or `not=NAME`",
                )?),
            },
        })
    }

    /// The input column that an output column is compared with.
    fn input_called(&self, name: &str, cell: &ast::Word, column: &Column) -> Fallible<usize> {
        let Some(at) = self.inputs.iter().position(|input| input.name == name) else {
            let names = self.inputs.iter().map(|input| input.name.as_str());
            let message = format!("there is no input column `{name}`");
            return Err(problem(&message, cell.span, "not in the heading")
                .help(did_you_mean(name, names).unwrap_or_else(|| "name a column before the bar".to_owned())));
        };
        let (width, wanted) = (self.inputs[at].width(), column.width());
        if width != 1 && width != wanted {
            let message = format!("`{name}` is {} wide, but `{}` {wanted}", bits(width), column.name);
            return Err(problem(&message, cell.span, "these cannot be equal")
                .help("name a column of the same width, or of one bit"));
        }
        Ok(at)
    }
}

fn input_cell(cell: &ast::Word, column: &Column) -> Fallible<InputCell> {
    Ok(match cell.node.as_str() {
        "L" => InputCell::Low,
        "H" => InputCell::High,
        "rise" => InputCell::Rise,
        "pulse" => InputCell::Pulse,
        "fall" => InputCell::Fall,
        "*" => InputCell::Any,
        _ => InputCell::Number(number(cell, column, "write `L`, `H`, `rise`, `fall`, `*` or a number")?),
    })
}

fn number(cell: &ast::Word, column: &Column, help: &str) -> Fallible<u64> {
    let text = cell.node.as_str();
    let digits = |prefix: &str, radix| {
        let digits = text.strip_prefix(prefix)?;
        // A sign is no digit, but the standard reading takes it.
        let good = digits.starts_with(|c: char| c.is_ascii_alphanumeric());
        good.then(|| u64::from_str_radix(digits, radix).ok()).flatten()
    };
    let Some(number) = digits("0x", 16).or_else(|| digits("0b", 2)).or_else(|| digits("", 10)) else {
        let message = format!("`{text}` cannot stand under `{}`", column.name);
        return Err(problem(&message, cell.span, "not understood").help(help));
    };
    let width = column.width();
    if number & !crate::logic::Word::mask(width) != 0 {
        let message = format!("{text} does not fit the {} of `{}`", bits(width), column.name);
        return Err(problem(&message, cell.span, "too large").help("write a smaller number"));
    }
    Ok(number)
}

fn problem(message: &str, span: Span, label: &str) -> Diagnostic {
    Diagnostic::error("table", message).at(span, label)
}

fn bits(width: u32) -> String {
    count(width as usize, "bit")
}

struct Reader<'a> {
    part: &'a Part,
}

impl Reader<'_> {
    fn heading(&self, heading: &ast::TableLine) -> Fallible<(Vec<Column>, Vec<Column>)> {
        let function = &self.part.function;
        let mut inputs = Vec::new();
        let mut outputs = Vec::new();
        for word in &heading.inputs {
            inputs.push(self.column(word, &function.inputs, "an input", &inputs)?);
        }
        for word in &heading.outputs {
            outputs.push(self.column(word, &function.outputs, "an output", &outputs)?);
        }
        if outputs.is_empty() {
            return Err(problem("this table tells of no output", heading.span, "its heading")
                .help("write the inputs, a bar `|`, and the outputs"));
        }
        Ok((inputs, outputs))
    }

    fn column(&self, word: &ast::Word, bits: &[PinIndex], wanted: &str, others: &[Column]) -> Fallible<Column> {
        let mut column = Column { name: word.node.clone(), bits: Vec::new() };
        for pin in self.pins(word)? {
            let name = &self.part.pins[pin].name;
            let Some(bit) = bits.iter().position(|&other| other == pin) else {
                let message = format!("`{name}` is not {wanted}");
                return Err(problem(&message, word.span, &format!("{wanted} is wanted here"))
                    .help("inputs stand before the bar `|`, outputs behind it"));
            };
            if others.iter().any(|other| other.bits.contains(&bit)) {
                let message = format!("`{name}` stands in two columns");
                return Err(problem(&message, word.span, "the second one").help("leave one of them out"));
            }
            column.bits.push(bit);
        }
        Ok(column)
    }

    /// The pins under a word of the heading, the least significant first.
    fn pins(&self, word: &ast::Word) -> Fallible<Vec<PinIndex>> {
        let names = Scope::default().vector(&template(word)?)?;
        let called = |name: &String| match names.len() {
            1 => self.part.pins_called(name),
            _ => self.part.pin_named(name).map(|pin| vec![pin]),
        };
        let mut pins = Vec::new();
        for name in &names {
            pins.extend(called(name).ok_or_else(|| self.unknown(name, word))?);
        }
        Ok(pins)
    }

    fn unknown(&self, name: &str, word: &ast::Word) -> Diagnostic {
        let pins = self.part.pins.iter().map(|pin| pin.name.as_str());
        let groups = self.part.groups.iter().map(|(stem, _)| stem.as_str());
        let message = format!("the part {} has no pin `{name}`", self.part.name);
        problem(&message, word.span, "not a pin").help(
            did_you_mean(name, pins.chain(groups))
                .unwrap_or_else(|| "write a pin or a vector of the package".to_owned()),
        )
    }
}

/// The name in a word of the heading.
fn template(word: &ast::Word) -> Fallible<Template> {
    let bad = || {
        problem(&format!("`{}` is not a name", word.node), word.span, "in this heading")
            .help("write a pin such as `CLK`, or several such as `D[1..8]`")
    };
    let mut pieces = Vec::new();
    let mut rest = word.node.as_str();
    while let Some((text, behind)) = rest.split_once('[') {
        let (inside, behind) = behind.split_once(']').ok_or_else(bad)?;
        if !text.is_empty() {
            pieces.push(Piece::Text(text.to_owned()));
        }
        let ranges = inside.split(',').map(|range| {
            let (from, to) = range.split_once("..").map_or((range, None), |(from, to)| (from, Some(to)));
            Some(Range {
                from: index(from, word.span)?,
                to: match to {
                    Some(to) => Some(index(to, word.span)?),
                    None => None,
                },
            })
        });
        pieces.push(Piece::Indices(ranges.collect::<Option<_>>().ok_or_else(bad)?));
        rest = behind;
    }
    if rest.contains(']') || (rest.is_empty() && pieces.is_empty()) {
        return Err(bad());
    }
    if !rest.is_empty() {
        pieces.push(Piece::Text(rest.to_owned()));
    }
    Ok(Template { pieces, span: word.span })
}

fn index(text: &str, span: Span) -> Option<Index> {
    let kind = match text.parse::<u32>() {
        Ok(number) => IndexKind::Number(number.into()),
        Err(_) if text.len() == 1 && text.starts_with(|c: char| c.is_ascii_uppercase()) => {
            IndexKind::Name(text.to_owned())
        }
        Err(_) => return None,
    };
    Some(Index { kind, span })
}

impl std::fmt::Display for InputCell {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            InputCell::Low => f.write_str("L"),
            InputCell::High => f.write_str("H"),
            InputCell::Number(number) => write!(f, "{number}"),
            InputCell::Rise => f.write_str("rise"),
            InputCell::Pulse => f.write_str("pulse"),
            InputCell::Fall => f.write_str("fall"),
            InputCell::Any => f.write_str("*"),
        }
    }
}

impl std::fmt::Display for OutputCell {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            OutputCell::Low => f.write_str("L"),
            OutputCell::High => f.write_str("H"),
            OutputCell::Number(number) => write!(f, "{number}"),
            OutputCell::Off => f.write_str("off"),
            OutputCell::Hold => f.write_str("hold"),
            OutputCell::Up => f.write_str("+1"),
            OutputCell::Down => f.write_str("-1"),
            OutputCell::Toggle => f.write_str("toggle"),
            OutputCell::Same(_) => f.write_str("="),
            OutputCell::Opposite(_) => f.write_str("not="),
        }
    }
}

#[cfg(test)]
mod tests;
