//! The journal of a sweep: JSON Lines, first the header, then a row a line, in order of the points.
//!
//! It grows while the sweep runs. A journal that was interrupted is good up to its last whole line, and the sweep can
//! continue from there; those of all slices of one sweep make the whole.
//!
//! The last field of each line, `crc`, is the CRC-32 of IEEE 802.3 over the line as it is without that field, so that a line
//! that a disk or an editor has changed is not taken for a result.

use super::result::{AXES, Axis, Header, Row, Slice, Sweep};
use super::{MOST_POINTS, MOST_VALUES};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// A journal that was read.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Journal {
    /// What the rows have in common.
    pub header: Header,
    /// The whole rows.
    pub rows: Vec<Row>,
    /// The numbers of the lines that are damaged, from 1; the points that they were about are not among the rows.
    pub damaged: Vec<usize>,
}

/// A header or a row as a line.
pub fn line<T: Serialize>(item: &T) -> String {
    let mut text = serde_json::to_string(item).expect("texts, numbers and lists have a JSON form");
    let checksum = crc32fast::hash(text.as_bytes());
    text.pop();
    text.push_str(&format!("{FIELD}{checksum:08x}{END}\n"));
    text
}

/// What stands before the figures of a checksum.
const FIELD: &str = ",\"crc\":\"";

/// What stands behind them.
const END: &str = "\"}";

/// A line as it was before its checksum came in, if that fits.
fn checked(line: &[u8]) -> Option<String> {
    let line = std::str::from_utf8(line).ok()?;
    // An editor may have made the ends of lines its own.
    let line = line.strip_suffix('\r').unwrap_or(line);
    let (item, figures) = line.strip_suffix(END)?.rsplit_once(FIELD)?;
    let item = format!("{item}}}");
    let wanted = format!("{:08x}", crc32fast::hash(item.as_bytes()));
    (wanted == figures).then_some(item)
}

/// Rows with what they have in common as a journal.
pub fn whole(header: &Header, rows: &[Row]) -> String {
    let rows = rows.iter().map(line);
    std::iter::once(line(header)).chain(rows).collect()
}

/// Reads a journal. A last line without its end was interrupted, and is left out; lines that are damaged are left out and
/// named.
///
/// # Errors
/// A sentence for a person when it is no journal, or its rows are not of one sweep.
pub fn read(name: &str, bytes: &[u8]) -> Result<Journal, String> {
    let end = bytes.iter().rposition(|&byte| byte == b'\n');
    let mut lines = bytes[..end.unwrap_or(0)].split(|&byte| byte == b'\n');
    let first = lines.next().and_then(checked).unwrap_or_default();
    let header: Header = serde_json::from_str(&first)
        .map_err(|_| format!("{name}:1: this is no header of a sweep's journal, or it is damaged"))?;
    check_header(&header).map_err(|wrong| format!("{name}:1: {wrong}"))?;
    let mut rows = Vec::new();
    let mut damaged = Vec::new();
    let mut seen = BTreeSet::new();
    let slice = header.slice.unwrap_or(Slice { number: 1, of: 1 });
    for (line, number) in lines.zip(2..) {
        let wrong = |what: &str| format!("{name}:{number}: {what}");
        let Some(line) = checked(line) else {
            damaged.push(number);
            continue;
        };
        let row: Row = serde_json::from_str(&line).map_err(|_| wrong("this is no row of a sweep"))?;
        if row.point >= header.points() || row.at != header.at(row.point) {
            return Err(wrong("this row belongs to another grid"));
        }
        if row.point % slice.of != slice.number - 1 {
            return Err(wrong("this row belongs to another slice"));
        }
        if !seen.insert(row.point) {
            return Err(wrong("this point is there twice"));
        }
        rows.push(row);
    }
    rows.sort_by_key(|row: &Row| row.point);
    Ok(Journal { header, rows, damaged })
}

fn check_header(header: &Header) -> Result<(), String> {
    let wanted = &AXES[..AXES.len() - usize::from(header.search.is_some())];
    let named = header.axes.iter().map(|axis| axis.name.as_str()).eq(wanted.iter().copied());
    let sized = |axis: &Axis| (1..=MOST_VALUES).contains(&axis.values.len());
    if !named || !header.axes.iter().all(sized) || header.points() > MOST_POINTS {
        return Err("the axes of this journal are not those of a sweep".to_owned());
    }
    match header.slice {
        Some(slice) if !slice.is_one() => Err(format!("there is no slice {slice}")),
        _ => Ok(()),
    }
}

/// Why the rows of a journal cannot go with a header; `None` when they can.
pub fn unlike(header: &Header, other: &Header) -> Option<String> {
    let shown = |slice: Option<Slice>| slice.map_or("no slice".to_owned(), |slice| format!("slice {slice}"));
    if header.coldboard != other.coldboard {
        let (a, b) = (&header.coldboard, &other.coldboard);
        Some(format!("one was run by coldboard {a}, the other by coldboard {b}"))
    } else if header.design != other.design {
        Some("the design, its images or the library have been changed".to_owned())
    } else if let Some((a, b)) = (header.axes.iter().zip(&other.axes)).find(|(a, b)| a != b) {
        Some(format!("the values of {} differ: {} against {}", a.name, some(&a.values), some(&b.values)))
    } else if header.changed != other.changed {
        Some("they change other clocks or supplies".to_owned())
    } else if header.axes.len() != other.axes.len() || header.search != other.search {
        Some("one looks for the highest rate in another way".to_owned())
    } else if header.slice != other.slice {
        Some(format!("{} against {}", shown(header.slice), shown(other.slice)))
    } else {
        None
    }
}

fn some(values: &[String]) -> String {
    match values {
        [first, .., last] if values.len() > 4 => {
            format!("{first} to {last} ({} values)", values.len())
        }
        _ => values.join(", "),
    }
}

/// Puts the journals of slices together.
///
/// # Errors
/// Sentences for a person: journals that do not belong together, points that are missing or there twice.
pub fn merge(journals: Vec<(String, Journal)>) -> Result<Sweep, Vec<String>> {
    let Some((_, first)) = journals.first() else {
        return Err(vec!["there is no journal to put together".to_owned()]);
    };
    let without_slice = |header: &Header| Header { slice: None, ..header.clone() };
    let header = without_slice(&first.header);
    let first_name = journals[0].0.clone();
    let mut problems = Vec::new();
    let mut rows: BTreeMap<usize, (Row, String)> = BTreeMap::new();
    for (name, journal) in journals {
        if let Some(why) = unlike(&header, &without_slice(&journal.header)) {
            problems.push(format!("{first_name} and {name} are not of one sweep: {why}"));
            continue;
        }
        for row in journal.rows {
            if let Some((_, other)) = rows.get(&row.point) {
                problems.push(format!("the point {} is there twice: in {other} and in {name}", header.words(&row.at)));
            } else {
                rows.insert(row.point, (row, name.clone()));
            }
        }
    }
    let missing: Vec<usize> = (0..header.points()).filter(|point| !rows.contains_key(point)).collect();
    if let (true, Some(&point)) = (problems.is_empty(), missing.first()) {
        problems.push(format!(
            "{} of {} points are missing, the first one is: {}",
            missing.len(),
            header.points(),
            header.words(&header.at(point))
        ));
    }
    const MOST_TOLD: usize = 10;
    if problems.len() > MOST_TOLD {
        let more = problems.len() - MOST_TOLD;
        problems.truncate(MOST_TOLD);
        problems.push(format!("and {more} more"));
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    let rows = rows.into_values().map(|(row, _)| row).collect();
    Ok(Sweep { header, rows })
}
