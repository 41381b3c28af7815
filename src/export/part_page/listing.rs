//! The parts of a library, found by words, and what is missing of their sheets.

use super::grid::Grid;
use super::{Estimated, estimated, to_json};
use crate::delay::Rule;
use crate::diagnostic::count;
use crate::language::expand::natural_order;
use crate::part::{Library, Part, Sheet};
use serde::Serialize;
use std::sync::Arc;

/// Which parts are wanted.
#[derive(Clone, Debug, Default)]
pub struct Wanted {
    /// Words that must all stand in number, title, families or pin names, letter case aside.
    pub words: Vec<String>,
    /// The number of pins of the package.
    pub pins: Option<usize>,
    /// A family or grade.
    pub family: Option<String>,
}

/// The parts that are wanted, by number. A part whose text has errors is left out; [`Library::problems`] tells of it.
pub fn find(library: &Library, wanted: &Wanted) -> Vec<Arc<Part>> {
    let mut names: Vec<&str> = library.names().collect();
    names.sort_by(|a, b| natural_order(a, b));
    let parts = names.into_iter().filter_map(|name| library.part(name));
    parts.filter(|part| wanted.holds(part)).collect()
}

impl Wanted {
    fn holds(&self, part: &Part) -> bool {
        let size = self.pins.is_none_or(|count| part.pins.len() == count);
        let family = self.family.as_ref().is_none_or(|family| part.sheet(family).is_some());
        size && family && self.words_hold(part)
    }

    fn words_hold(&self, part: &Part) -> bool {
        let sheets = part.sheets.iter().map(|sheet| match sheet.grade {
            true => format!("{}-{}", part.name, sheet.name),
            false => format!("74{}{}", sheet.name, part.name),
        });
        let mut texts: Vec<String> = sheets.collect();
        texts.extend([part.name.clone(), part.title.clone(), part.package.clone()]);
        texts.extend(part.pins.iter().map(|pin| pin.name.clone()));
        let texts: Vec<String> = texts.iter().map(|text| text.to_lowercase()).collect();
        let found = |word: &String| {
            let word = word.to_lowercase();
            texts.iter().any(|text| text.contains(&word))
        };
        self.words.iter().all(found)
    }
}

fn sheet_names(part: &Part) -> Vec<&str> {
    part.sheets.iter().map(|sheet| sheet.name.as_str()).collect()
}

/// One line a part.
pub fn text(parts: &[Arc<Part>]) -> String {
    let rows = parts
        .iter()
        .map(|part| vec![part.name.clone(), part.package.clone(), sheet_names(part).join(" "), part.title.clone()]);
    // The title comes last: it alone may be long.
    let mut out = Grid { heading: Vec::new(), rows: rows.collect() }.whole();
    out.push_str(&count(parts.len(), "part"));
    out.push('\n');
    out
}

/// The list for a program.
pub fn json(parts: &[Arc<Part>]) -> String {
    #[derive(Serialize)]
    struct Entry<'a> {
        number: &'a str,
        title: &'a str,
        package: &'a str,
        pins: usize,
        sheets: Vec<&'a str>,
    }
    let entries = parts.iter().map(|part| Entry {
        number: &part.name,
        title: &part.title,
        package: &part.package,
        pins: part.pins.len(),
        sheets: sheet_names(part),
    });
    to_json(&entries.collect::<Vec<_>>())
}

/// How well a sheet is founded.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Provenance {
    /// Every figure comes from a named document.
    Published,
    /// Some figures are from memory.
    PartlyFromMemory,
    /// All figures are from memory, but for rows that name a document.
    FromMemory,
    /// No source is named.
    Unsourced,
}

impl Provenance {
    /// How a sheet is founded.
    pub fn of(sheet: &Sheet) -> Provenance {
        let memory = |text: &String| text.to_lowercase().contains("from memory");
        let arcs = sheet.blocks.iter().flat_map(|block| &block.arcs);
        let checks = sheet.blocks.iter().flat_map(|block| &block.checks);
        let own = arcs.filter_map(|arc| arc.source.as_ref()).chain(checks.filter_map(|check| check.source.as_ref()));
        let power = sheet.blocks.iter().flat_map(|block| &block.power);
        let durations = sheet.blocks.iter().flat_map(|block| &block.durations);
        let extra = sheet.blocks.iter().flat_map(|block| &block.extra_currents);
        let mut own = own
            .chain(power.filter_map(|power| power.source.as_ref()))
            .chain(durations.filter_map(|row| row.source.as_ref()))
            .chain(extra.filter_map(|row| row.source.as_ref()))
            .chain(sheet.levels.iter().filter_map(|row| row.source.as_ref()));
        let sources = &sheet.sources;
        if sources.iter().all(|source| source.trim().is_empty()) {
            Provenance::Unsourced
        } else if sources.iter().all(memory) {
            Provenance::FromMemory
        } else if sources.iter().any(memory) || own.any(memory) {
            Provenance::PartlyFromMemory
        } else {
            Provenance::Published
        }
    }

    fn words(self) -> &'static str {
        match self {
            Provenance::Published => "published",
            Provenance::PartlyFromMemory => "partly from memory",
            Provenance::FromMemory => "from memory",
            Provenance::Unsourced => "no source named",
        }
    }
}

/// What is missing of one part.
#[derive(Clone, Debug, Serialize)]
pub struct Gaps {
    pub number: String,
    pub sheets: Vec<SheetGaps>,
    /// Families of the library that it has no sheet of; empty for parts that come in grades.
    pub no_sheet: Vec<String>,
}

/// What is missing of one sheet.
#[derive(Clone, Debug, Serialize)]
pub struct SheetGaps {
    /// The family or grade.
    pub name: String,
    /// Where its figures come from.
    #[serde(rename = "founded")]
    pub provenance: Provenance,
    /// Publisher, document and date.
    pub source: String,
    /// The rules that fill its gaps at 5 V.
    pub estimated: Vec<Estimated>,
}

/// The gaps of some parts, of all families or of one.
pub fn gaps(library: &Library, parts: &[Arc<Part>], family: Option<&str>) -> Vec<Gaps> {
    let wanted = |name: &str| family.is_none_or(|family| family == name);
    let of = |part: &Arc<Part>| {
        let sheets = part.sheets.iter().filter(|sheet| wanted(&sheet.name));
        let grades = part.sheets.iter().any(|sheet| sheet.grade);
        let families = library.family_names().filter(|name| wanted(name));
        Gaps {
            number: part.name.clone(),
            sheets: sheets
                .map(|sheet| SheetGaps {
                    name: sheet.name.clone(),
                    provenance: Provenance::of(sheet),
                    source: sheet.source_line(),
                    estimated: estimated(part, sheet),
                })
                .collect(),
            no_sheet: families.filter(|name| !grades && part.sheet(name).is_none()).map(str::to_owned).collect(),
        }
    };
    parts.iter().map(of).collect()
}

/// The gaps, one line a sheet, with the rules as letters.
pub fn gaps_text(gaps: &[Gaps]) -> String {
    let sheets = || gaps.iter().flat_map(|gaps| &gaps.sheets);
    let mut rules: Vec<Rule> =
        sheets().flat_map(|sheet| &sheet.estimated).flat_map(|estimated| estimated.rules.iter().copied()).collect();
    rules.sort_unstable();
    rules.dedup();
    let letter = |rule: &Rule| {
        let index = rules.iter().position(|other| other == rule).unwrap_or(0);
        char::from(b'A' + index as u8)
    };
    let mut out = String::new();
    if !rules.is_empty() {
        out.push_str("rules that fill gaps at 5 V\n");
        for rule in &rules {
            out.push_str(&format!("  {}  {}\n", letter(rule), rule.sentence()));
        }
        out.push('\n');
    }
    let mut grid = Grid::default();
    grid.heading.push(["part", "sheet", "figures", "fastest", "typical", "slowest"].map(str::to_owned).to_vec());
    for part in gaps {
        for sheet in &part.sheets {
            let rules = sheet.estimated.iter().map(|estimated| {
                let letters: String = estimated.rules.iter().map(letter).collect();
                if letters.is_empty() { "-".to_owned() } else { letters }
            });
            let mut row = vec![part.number.clone(), sheet.name.clone(), sheet.provenance.words().to_owned()];
            row.extend(rules);
            grid.rows.push(row);
        }
        if part.sheets.is_empty() && part.no_sheet.is_empty() {
            grid.rows.push(vec![part.number.clone(), "none".to_owned()]);
        }
    }
    let lacking = gaps.iter().filter(|part| !part.no_sheet.is_empty());
    let lacking = Grid {
        heading: Vec::new(),
        rows: lacking.map(|part| vec![part.number.clone(), part.no_sheet.join(" ")]).collect(),
    };
    out.push_str(&grid.whole());
    if !lacking.rows.is_empty() {
        out.push_str("\nfamilies of the library without a sheet for the part\n");
        out.push_str(&lacking.whole());
    }
    out.push('\n');
    let of = |provenance: Provenance| sheets().filter(|sheet| sheet.provenance == provenance).count();
    let shares = [Provenance::Published, Provenance::PartlyFromMemory, Provenance::FromMemory, Provenance::Unsourced]
        .map(|provenance| format!("{} {}", of(provenance), provenance.words()));
    out.push_str(&format!(
        "{}, {}: {}\n",
        count(gaps.len(), "part"),
        count(sheets().count(), "sheet"),
        shares.join(", ")
    ));
    out
}

/// The gaps for a program.
pub fn gaps_json(gaps: &[Gaps]) -> String {
    to_json(&gaps)
}

#[cfg(test)]
mod tests {
    use super::*;

    const PARTS: &str = r#"
        part 2 "a buffer" {
            package DIP8 { 1 A in  2 Y out  4 GND ground  8 VCC power }
            Y = A
            family HC { source "Maker 1"  columns typ 25 C, limit 0..70 C  at 5 V 50 pF { delay A -> Y 5 9 ns } }
            family LS { source "from memory"  columns typ 25 C  at 5 V 50 pF { delay A -> Y 5 ns } }
        }
        part 10 "an inverter, three-state" {
            package DIP8 { 1 A in  2 /OE in  3 Y three-state  4 GND ground  8 VCC power }
            Y = not A when OE else off
            family HC {
                source "Maker 2"
                columns typ 25 C, limit 0..70 C
                at 5 V 50 pF { delay A -> Y 5 9 ns  enable /OE -> Y 5 9 ns from "from memory" }
            }
        }
        family HC "fast" { source "Maker" supply 2..6 V }
        family LS "older" { source "Maker" supply 4.75..5.25 V }
    "#;

    fn library() -> Library {
        let mut library = Library::default();
        library.add_text("x.part", PARTS);
        library
    }

    fn found(words: &str, family: Option<&str>) -> Vec<String> {
        let wanted = Wanted {
            words: words.split_whitespace().map(str::to_owned).collect(),
            pins: None,
            family: family.map(str::to_owned),
        };
        let parts = find(&library(), &wanted);
        parts.iter().map(|part| part.name.clone()).collect()
    }

    #[test]
    fn all_words_must_stand_somewhere() {
        assert_eq!(found("", None), ["2", "10"], "as a person counts");
        assert_eq!(found("THREE-state /oe", None), ["10"]);
        assert_eq!(found("74ls2", None), ["2"]);
        assert_eq!(found("buffer /OE", None), [""; 0]);
        assert_eq!(found("", Some("LS")), ["2"]);
        let five = Wanted { pins: Some(5), ..Wanted::default() };
        assert_eq!(find(&library(), &five).len(), 1);
    }

    #[test]
    fn gaps_are_told_sheet_by_sheet() {
        let library = library();
        let parts = find(&library, &Wanted::default());
        let text = gaps_text(&gaps(&library, &parts, None));
        let expected = "\
rules that fill gaps at 5 V
  A  no shortest delay published: a quarter of the typical one (J. F. Wakerly, Digital Design: Principles and Practices, on estimating minimum delays; from memory)
  B  no limit published: twice the typical delay (common practice; not guaranteed)

  part  sheet  figures             fastest  typical  slowest
  2     HC     published           A        -        -
  2     LS     from memory         A        -        B
  10    HC     partly from memory  A        -        -

families of the library without a sheet for the part
  10  LS

2 parts, 3 sheets: 1 published, 1 partly from memory, 1 from memory, 0 no source named
";
        assert_eq!(text, expected);
    }
}
