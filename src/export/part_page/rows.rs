//! The figures of sheets, brought to four: least, typical, limit at 25 C, limit over temperature.
//!
//! A row is told in the words of its author. Of several supply voltages and loads the one nearest to 5 V and 50 pF
//! counts; a row that stands only elsewhere is taken from there, and says so.

use super::{Estimated, SUPPLY, estimated};
use crate::language::ast::{self, AtBlock, PartStatement, SheetRow};
use crate::part::sheet::Column;
use crate::part::{ColumnKind, Part};
use crate::quantity::{Capacitance, Quantity, Temperature, Voltage};
use crate::text::Sources;
use serde::Serialize;

/// The test load of most sheets.
const LOAD: i64 = 50_000;

/// The figures of one family or grade.
#[derive(Clone, Debug, Serialize)]
pub struct SheetPage {
    /// `HC`, or a grade such as `70`.
    pub name: String,
    /// True for a grade.
    pub grade: bool,
    /// Publisher, document and date.
    pub sources: Vec<String>,
    pub notes: Vec<String>,
    /// The supply and load nearest to 5 V and 50 pF; none for a sheet without figures.
    pub at: Option<Conditions>,
    /// The temperatures of the third figure; none when all limits are for 25 C.
    pub over: Option<Range>,
    /// The rows, in order of writing.
    pub rows: Vec<Row>,
    /// What the figures of each row of `blocks` are: `limit -40..85 C`.
    pub columns: Vec<String>,
    /// All of its figures, as published.
    pub blocks: Vec<BlockPage>,
    /// The rules that fill its gaps at 5 V.
    pub estimated: Vec<Estimated>,
}

/// The rows of a sheet at one supply and load.
#[derive(Clone, Debug, Serialize)]
pub struct BlockPage {
    /// Where its figures hold.
    pub at: Conditions,
    /// Its rows: the text up to the figures, and one figure a column.
    pub rows: Vec<(String, Vec<Option<Quantity>>)>,
}

/// Where a figure holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Conditions {
    pub voltage: Voltage,
    /// Load, where the figure depends on it.
    pub load: Option<Capacitance>,
}

/// A range of temperatures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
pub struct Range {
    pub coldest: Temperature,
    pub hottest: Temperature,
}

/// Four figures of a row.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Figures {
    /// Guaranteed least.
    pub least: Option<Quantity>,
    pub typical: Option<Quantity>,
    /// Guaranteed at 25 C.
    pub limit_at_25_c: Option<Quantity>,
    /// Guaranteed over the range of the sheet.
    pub limit_over_temperature: Option<Quantity>,
}

/// One row of a sheet.
#[derive(Clone, Debug, Serialize)]
pub struct Row {
    /// Its text up to the figures.
    pub label: String,
    /// Its figures; none where a row has no figures at all, as `stable`.
    pub figures: Option<Figures>,
    /// Where they hold.
    pub at: Conditions,
    /// A source of its own.
    pub source: Option<String>,
}

/// The sheets of a part, from what its author wrote.
pub(super) fn sheets(sources: &Sources, tree: &ast::Part, part: &Part) -> Vec<SheetPage> {
    let trees = tree.body.iter().filter_map(|statement| match statement {
        PartStatement::Sheet(sheet) => Some(sheet),
        _ => None,
    });
    trees
        .zip(&part.sheets)
        .map(|(tree, sheet)| {
            let over = over(&sheet.columns);
            let mut page = SheetPage {
                name: sheet.name.clone(),
                grade: sheet.grade,
                sources: sheet.sources.clone(),
                notes: sheet.notes.clone(),
                at: None,
                over,
                rows: Vec::new(),
                columns: sheet.columns.iter().map(column_words).collect(),
                blocks: tree.blocks.iter().map(|block| whole(sources, block)).collect(),
                estimated: estimated(part, sheet),
            };
            for block in by_nearness(&sheet.columns, &tree.blocks) {
                let at = Conditions { voltage: block.voltage, load: block.load };
                for row in &block.rows {
                    page.at = page.at.or(Some(at));
                    let label = label(sources, row);
                    let figures = (!row.figures.is_empty()).then(|| figures(&sheet.columns, &row.figures, over));
                    // A typical figure that stands elsewhere only is worth a row of its own.
                    let typical = |figures: Option<Figures>| figures.and_then(|f| f.typical);
                    let mut known = page.rows.iter().filter(|other| other.label == label);
                    let mut adds = known.clone().all(|other| typical(other.figures).is_none());
                    adds &= typical(figures).is_some();
                    if adds || known.next().is_none() {
                        page.rows.push(Row {
                            label,
                            figures,
                            at,
                            source: row.source.as_ref().map(|source| source.node.clone()),
                        });
                    }
                }
            }
            page
        })
        .collect()
}

/// `limit 0..70 C`.
pub(super) fn column_words(column: &Column) -> String {
    let kind = match column.kind {
        ColumnKind::Min => "min",
        ColumnKind::Typ => "typ",
        ColumnKind::Limit => "limit",
    };
    if column.coldest == column.hottest {
        return format!("{kind} {}", column.coldest);
    }
    let range = Range { coldest: column.coldest, hottest: column.hottest };
    format!("{kind} {range}")
}

fn whole(sources: &Sources, block: &AtBlock) -> BlockPage {
    let rows = block.rows.iter();
    BlockPage {
        at: Conditions { voltage: block.voltage, load: block.load },
        rows: rows.map(|row| (label(sources, row), row.figures.clone())).collect(),
    }
}

/// The blocks, the nearest to 5 V and 50 pF first; of two voltages as near the lower one, which is the slower. A block
/// without guaranteed delays comes late: disable times stand at loads of their own, typical delays at a light one.
fn by_nearness<'a>(columns: &[Column], blocks: &'a [AtBlock]) -> Vec<&'a AtBlock> {
    let delay = |row: &SheetRow| matches!(row.kind, ast::RowKind::Delay(..));
    let guaranteed = |row: &SheetRow| {
        let mut given = columns.iter().zip(&row.figures);
        let limit = |column: &Column| column.kind == ColumnKind::Limit;
        delay(row) && given.any(|(column, figure)| figure.is_some() && limit(column))
    };
    let mut blocks: Vec<&AtBlock> = blocks.iter().collect();
    blocks.sort_by_key(|block| {
        let load = block.load.map_or(0, |load| (load.raw() - LOAD).abs());
        (
            !block.rows.iter().any(guaranteed),
            !block.rows.iter().any(delay),
            distance(block.voltage),
            block.voltage,
            load,
            block.load,
        )
    });
    blocks
}

pub(super) fn distance(voltage: Voltage) -> i64 {
    voltage.raw().saturating_sub(SUPPLY.raw()).saturating_abs()
}

/// The text of a row up to its figures, with single spaces.
fn label(sources: &Sources, row: &SheetRow) -> String {
    let mut text = sources.slice(row.span);
    if let Some(source) = &row.source {
        let end = source.span.start.saturating_sub(row.span.start) as usize;
        text = text.get(..end).unwrap_or(text).trim_end();
        text = text.strip_suffix("from").unwrap_or(text);
    }
    if !row.figures.is_empty() {
        text = text.trim_end().trim_end_matches(|c: char| c.is_ascii_alphabetic() || c == '%');
    }
    for _ in &row.figures {
        text = text.trim_end();
        let digits = text.trim_end_matches(|c: char| c.is_ascii_digit() || c == '.');
        text = digits.strip_suffix('-').unwrap_or(digits);
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn room() -> Temperature {
    Temperature::from_raw(25_000)
}

/// The range of the third figure: the narrowest of the limits that holds 0 to 70 C, else the widest that is more than
/// 25 C.
pub(super) fn over(columns: &[Column]) -> Option<Range> {
    let (cold, hot) = (Temperature::from_raw(0), Temperature::from_raw(70_000));
    let width = |column: &&Column| column.hottest.raw().saturating_sub(column.coldest.raw());
    let limits = || columns.iter().filter(|column| column.kind == ColumnKind::Limit && column.coldest < column.hottest);
    let bench = limits().filter(|column| column.coldest <= cold && column.hottest >= hot);
    let column = bench.min_by_key(width).or_else(|| limits().max_by_key(width))?;
    Some(Range { coldest: column.coldest, hottest: column.hottest })
}

pub(super) fn figures(columns: &[Column], figures: &[Option<Quantity>], over: Option<Range>) -> Figures {
    let first = |wanted: &dyn Fn(&Column) -> bool| {
        let given = columns.iter().zip(figures);
        let found = given.filter(|(column, figure)| wanted(column) && figure.is_some());
        found.filter_map(|(_, figure)| *figure).next()
    };
    let limit = |column: &Column, coldest: Temperature, hottest: Temperature| {
        column.kind == ColumnKind::Limit && column.coldest == coldest && column.hottest == hottest
    };
    let least = || {
        let given = columns.iter().zip(figures);
        let least = given.filter(|(column, _)| column.kind == ColumnKind::Min);
        least.filter_map(|(_, figure)| *figure).min()
    };
    let of_range = |column: &Column| {
        column.kind == ColumnKind::Min
            && over.is_some_and(|over| column.coldest == over.coldest && column.hottest == over.hottest)
    };
    Figures {
        least: first(&of_range).or_else(least),
        typical: first(&|column| column.kind == ColumnKind::Typ),
        limit_at_25_c: first(&|column| limit(column, room(), room())),
        limit_over_temperature: over.and_then(|range| first(&|column| limit(column, range.coldest, range.hottest))),
    }
}

impl SheetPage {
    /// The rows of a label, the one at the nearest conditions first.
    pub(crate) fn rows_of<'a>(&'a self, label: &'a str) -> impl Iterator<Item = &'a Row> + 'a {
        self.rows.iter().filter(move |row| row.label == label)
    }
}

impl Figures {
    /// `18/36/45 ns`, with a dash for what is not published, and the least figure before them where it is wanted.
    pub fn text(&self, least: bool) -> String {
        let figures = [self.typical, self.limit_at_25_c, self.limit_over_temperature];
        let first = least.then_some(self.least);
        let texts: Vec<String> = first
            .into_iter()
            .chain(figures)
            .map(|figure| figure.map_or_else(|| "-".to_owned(), |f| f.to_string()))
            .collect();
        let split = |text: &'_ String| {
            let (number, unit) = text.split_once(' ').unwrap_or((text, ""));
            (number.to_owned(), unit.to_owned())
        };
        let parts: Vec<(String, String)> = texts.iter().map(split).collect();
        // Nothing is nothing in every unit.
        let measured = |number: &str| number != "-" && number != "0";
        let mut units = parts.iter().filter(|(number, _)| measured(number));
        let first = units.next().map(|(_, unit)| unit);
        let unit = first.or_else(|| parts.iter().map(|(_, unit)| unit).max());
        let Some(unit) = unit.filter(|unit| !unit.is_empty()) else {
            return String::new();
        };
        // 0.1 uA and 100 nA do not share a unit: then each has its own.
        if units.any(|(_, other)| other != unit) {
            return texts.join(" / ");
        }
        let numbers: Vec<&str> = parts.iter().map(|(number, _)| number.as_str()).collect();
        format!("{} {unit}", numbers.join("/"))
    }
}

impl std::fmt::Display for Conditions {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self.load {
            Some(load) => write!(f, "{} {load}", self.voltage),
            None => write!(f, "{}", self.voltage),
        }
    }
}

impl std::fmt::Display for Range {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let coldest = self.coldest.to_string();
        write!(f, "{}..{}", coldest.trim_end_matches(" C"), self.hottest)
    }
}

#[cfg(test)]
mod tests {
    use super::super::Page;
    use super::*;
    use crate::part::Library;

    const PART: &str = r#"part X "a gate" {
        package DIP8 { 1 1A in schmitt  2 Y out  3 S in  4 GND ground  5 C in  8 VCC power }
        state q
        on rise C { q = S }
        Y = 1A and q
        family HC {
            source "test"
            columns typ 25 C, limit 25 C, limit -55..125 C, limit -40..85 C
            at 2 V 50 pF { delay 1A -> Y 90 180 270 225 ns }
            at 4.5 V 150 pF { delay 1A -> Y 36 53 80 66 ns  delay C -> Y 1 2 4 3 ns }
            at 4.5 V 50 pF {
                delay   1A  -> Y   18 36 54 45 ns from "another test"
                setup S before C rise - 5 - - ns
                rate C 40 30.5 - 24 MHz
            }
            at 4.6 V 50 pF { threshold 1A rise 1 2 - - V }
        }
    }"#;

    #[test]
    fn rows_are_told_in_the_words_of_the_author_at_the_nearest_conditions() {
        let mut library = Library::default();
        library.add_text("x.part", PART);
        let part = library.part("X").expect("it loads");
        let page = Page::new(&library, part, None);
        let sheet = &page.sheets[0];
        assert_eq!(sheet.at.map(|at| at.to_string()).as_deref(), Some("4.5 V 50 pF"));
        assert_eq!(sheet.over.map(|over| over.to_string()).as_deref(), Some("-40..85 C"));
        let rows: Vec<String> = sheet
            .rows
            .iter()
            .map(|row| {
                let figures = row.figures.unwrap_or_default().text(false);
                format!("{}: {figures} at {}", row.label, row.at)
            })
            .collect();
        assert_eq!(
            rows,
            [
                "delay 1A -> Y: 18/36/45 ns at 4.5 V 50 pF",
                "setup S before C rise: -/5/- ns at 4.5 V 50 pF",
                "rate C: 40/30.5/24 MHz at 4.5 V 50 pF",
                "delay C -> Y: 1/2/3 ns at 4.5 V 150 pF",
                "threshold 1A rise: 1/2/- V at 4.6 V 50 pF",
            ]
        );
        assert_eq!(sheet.rows[0].source.as_deref(), Some("another test"));
    }

    #[test]
    fn figures_share_their_unit_when_they_can() {
        let figure = |number, unit| Quantity::parse(number, unit).ok();
        let mixed = Figures {
            least: None,
            typical: figure("10", "nA"),
            limit_at_25_c: figure("0.5", "uA"),
            limit_over_temperature: figure("5", "uA"),
        };
        assert_eq!(mixed.text(false), "10 nA / 500 nA / 5 uA");
        let zero = Figures {
            least: figure("0", "V"),
            typical: figure("0", "V"),
            limit_at_25_c: figure("100", "mV"),
            limit_over_temperature: None,
        };
        assert_eq!(zero.text(false), "0/100/- mV");
        assert_eq!(zero.text(true), "0/0/100/- mV");
        let hold = Figures { limit_at_25_c: figure("0", "ns"), ..Figures::default() };
        assert_eq!(hold.text(false), "-/0/- ns");
        assert_eq!(Figures::default().text(false), "");
    }
}
