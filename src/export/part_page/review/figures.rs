//! Figures of one row that cannot all be right: a guaranteed limit at one temperature above the limit for all of them, a
//! typical figure above the limit, a least one above the typical.

use crate::diagnostic::Diagnostic;
use crate::export::part_page::rows::column_words;
use crate::part::ColumnKind;
use crate::part::sheet::{ArcKind, Column, Figures, Sheet};
use crate::quantity::{Temperature, Time};
use crate::text::Span;
use std::collections::BTreeMap;

/// A warning for each row with such figures.
pub(super) fn slips(sheet: &Sheet) -> Vec<Diagnostic> {
    let mut rows: BTreeMap<Span, &Figures<Time>> = BTreeMap::new();
    for block in &sheet.blocks {
        // How long an output stays good is least where it is worst: its figures run the other way.
        let arcs = block.arcs.iter();
        let arcs = arcs.filter(|arc| arc.kind != ArcKind::OutputHold);
        rows.extend(arcs.map(|arc| (arc.span, &arc.figures)));
        rows.extend(block.checks.iter().map(|check| (check.span, &check.figures)));
    }
    let rows = rows.into_iter();
    rows.filter_map(|(span, figures)| slip(span, &sheet.columns, figures)).collect()
}

/// The first two figures of a row that are at odds.
fn slip(span: Span, columns: &[Column], figures: &Figures<Time>) -> Option<Diagnostic> {
    let given = || {
        let given = columns.iter().zip(figures);
        given.filter_map(|(column, figure)| Some((column, (*figure)?)))
    };
    let mut pairs = given().flat_map(|small| given().map(move |great| (small, great)));
    let ((small, least), (great, most)) =
        pairs.find(|((small, least), (great, most))| is_at_most(small, great) && least > most)?;
    // Several rows of a sheet give a rate, which is kept as a period.
    let message = format!("the figure of `{}` cannot be beyond that of `{}`", column_words(small), column_words(great));
    Some(
        Diagnostic::warning("figure-order", message)
            .at(span, "this row")
            .note(format!("as times: {least} and {most}"))
            .help("compare both with the data sheet: one of them is a slip, or its column is"),
    )
}

/// The coldest temperature of the 54 series.
const SERIES_54: Temperature = Temperature::from_raw(-55_000);

/// True when the figure of the first column cannot be greater than that of the second. The 54 series is made and tested
/// apart, and its limits may lie on either side of those of the 74 series (such as TI SCAS521F). Least delays are not
/// compared with each other: makers round them as they like (such as TI SDFS011A).
fn is_at_most(small: &Column, great: &Column) -> bool {
    let inside = |inner: &Column, outer: &Column| outer.coldest <= inner.coldest && inner.hottest <= outer.hottest;
    let narrower = |inner: &Column, outer: &Column| inside(inner, outer) && !inside(outer, inner);
    let meet = small.coldest <= great.hottest && great.coldest <= small.hottest;
    match (small.kind, great.kind) {
        (ColumnKind::Limit, ColumnKind::Limit) => narrower(small, great) && great.coldest > SERIES_54,
        (ColumnKind::Min, ColumnKind::Typ | ColumnKind::Limit) | (ColumnKind::Typ, ColumnKind::Limit) => meet,
        _ => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::part::Library;

    fn told(rows: &str) -> Vec<String> {
        told_of("limit -40..85 C", rows)
    }

    fn told_of(last: &str, rows: &str) -> Vec<String> {
        let mut library = Library::default();
        library.add_text(
            "x.part",
            &format!(
                "part X {{ package DIP5 {{ 1 A in  2 CLK in  3 GND ground  4 Q out  5 VCC power }}
                state q  on rise CLK {{ q = A }}  Q = q
                family HC {{ source \"from memory\"
                columns min 25 C, typ 25 C, limit 25 C, {last}
                at 5 V {{ {rows} }} }} }}"
            ),
        );
        let problems = library.problems();
        let part = library.part("X").unwrap_or_else(|| panic!("{problems:?}"));
        slips(&part.sheets[0]).iter().map(|problem| problem.message.clone()).collect()
    }

    // What a maker guarantees from -40 to 85 C it guarantees at 25 C too (common practice).
    #[test]
    fn what_holds_at_all_temperatures_holds_at_one() {
        assert_eq!(told("delay CLK -> Q 5 10 20 25 ns"), [""; 0]);
        assert_eq!(told("delay CLK -> Q - - 20 20 ns"), [""; 0]);
        assert_eq!(
            told("delay CLK -> Q 5 10 25 20 ns"),
            ["the figure of `limit 25 C` cannot be beyond that of `limit -40..85 C`"]
        );
        assert_eq!(
            told("delay CLK -> Q - 30 20 40 ns"),
            ["the figure of `typ 25 C` cannot be beyond that of `limit 25 C`"]
        );
        assert_eq!(
            told("delay CLK -> Q 11 10 20 40 ns"),
            ["the figure of `min 25 C` cannot be beyond that of `typ 25 C`"]
        );
    }

    // CLK to Q, falling, of the SN54AC74 and SN74AC74 at 3.3 V (TI SCAS521F, October 2003).
    #[test]
    fn the_54_series_is_another_chip() {
        assert_eq!(told_of("limit -55..125 C", "delay CLK -> Q 3.5 8 14 13.5 ns"), [""; 0]);
    }

    #[test]
    fn a_rate_falls_where_times_rise() {
        assert_eq!(told("rate CLK - - 30 24 MHz"), [""; 0]);
        assert_eq!(told("rate CLK - - 24 30 MHz").len(), 1);
        assert_eq!(told("setup A before CLK rise - - 20 16 ns").len(), 1);
    }
}
