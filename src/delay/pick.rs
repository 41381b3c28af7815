//! Which figure of a row a corner takes, at a temperature.

use super::points::Figure;
use super::{Conditions, is_limit};
use crate::language::ast::Corner;
use crate::part::ColumnKind;
use crate::part::rule::Rule;
use crate::part::sheet::Column;
use crate::quantity::{Temperature, Time};

/// What the figure is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum FigureUse {
    /// How long the part takes.
    Delay,
    /// How long the part needs.
    Requirement,
}

/// The temperatures that a bench design must stand.
const BENCH: (Temperature, Temperature) = (Temperature::from_raw(0), Temperature::from_raw(70_000));

const ROOM: Temperature = Temperature::from_raw(25_000);

/// The figure of a row for a corner, and the rules that it rests on.
pub(super) fn pick(
    columns: &[Column],
    figures: &[Option<Time>],
    conditions: &Conditions<'_>,
    figure_use: FigureUse,
) -> Option<Figure> {
    let row = Row { columns, figures };
    let limit = || row.limit(conditions.temperature);
    let typical = || row.typical().map(Figure::new);
    let slow = matches!(conditions.corner, Corner::Slowest | Corner::Random(_));
    if figure_use == FigureUse::Requirement {
        let at_room = || row.limit_at_room().map(Figure::new);
        let good_enough = !slow && conditions.temperature.is_none();
        return good_enough.then(at_room).flatten().or_else(limit).or_else(typical);
    }
    match conditions.corner {
        Corner::Fastest => row.shortest().map(Figure::new).or_else(|| {
            let share = |time: Time, parts: i64, rule: Rule| Figure::new(Time::from_ps(time.ps() / parts)).by(rule);
            let quarter = row.typical();
            let eighth = || row.limit_at_room().or_else(|| row.any_limit());
            quarter
                .map(|time| share(time, 4, Rule::FastestIsQuarterTypical))
                .or_else(|| Some(share(eighth()?, 8, Rule::FastestIsEighthLimit)))
        }),
        Corner::Typical => row.typical_at(conditions.temperature).or_else(|| {
            let at_room = || row.limit_at_room().or_else(|| row.any_limit());
            let taken = match conditions.temperature {
                None => at_room().map(Figure::new),
                Some(_) => limit(),
            };
            Some(taken?.by(Rule::TypicalIsLimit))
        }),
        Corner::Slowest | Corner::Random(_) => limit().or_else(|| {
            let typical = row.typical()?;
            Some(Figure::new(typical * 2).by(Rule::SlowestIsTwiceTypical))
        }),
    }
}

struct Row<'a> {
    columns: &'a [Column],
    figures: &'a [Option<Time>],
}

impl Row<'_> {
    fn given(&self) -> impl Iterator<Item = (&Column, Time)> {
        self.columns.iter().zip(self.figures).filter_map(|(column, figure)| Some((column, (*figure)?)))
    }

    fn limits(&self) -> impl Iterator<Item = (&Column, Time)> {
        self.given().filter(|(column, _)| is_limit(column.kind))
    }

    fn shortest(&self) -> Option<Time> {
        self.given().filter(|(column, _)| column.kind == ColumnKind::Min).map(|(_, time)| time).min()
    }

    fn typical(&self) -> Option<Time> {
        self.given().find(|(column, _)| column.kind == ColumnKind::Typ).map(|(_, time)| time)
    }

    /// The typical figure, as much longer or shorter than at 25 C as the limits are.
    fn typical_at(&self, temperature: Option<Temperature>) -> Option<Figure> {
        let typical = self.typical()?;
        let Some(temperature) = temperature.filter(|&asked| asked != ROOM) else {
            return Some(Figure::new(typical));
        };
        let (Some(room), Some(there)) = (self.limit_at_room(), self.limit(Some(temperature))) else {
            return Some(Figure::new(typical).by(Rule::TypicalAtRoom));
        };
        let scaled = i128::from(typical.ps()) * i128::from(there.time.ps());
        let time = Time::from_ps((scaled / i128::from(room.ps().max(1))) as i64);
        Some(Figure::new(time).by(Rule::TypicalWithTemperature))
    }

    fn limit_at_room(&self) -> Option<Time> {
        let at_room = |column: &Column| column.coldest == ROOM && column.hottest == ROOM;
        self.limits().find(|(column, _)| at_room(column)).map(|(_, time)| time)
    }

    fn any_limit(&self) -> Option<Time> {
        self.limits().map(|(_, time)| time).next()
    }

    /// The limit at a temperature, or over a bench's when none is asked for.
    fn limit(&self, temperature: Option<Temperature>) -> Option<Figure> {
        let (cold, hot) = temperature.map_or(BENCH, |asked| (asked, asked));
        let width = |column: &Column| column.hottest.raw() - column.coldest.raw();
        let covering = self
            .limits()
            .filter(|(column, _)| column.coldest <= cold && column.hottest >= hot)
            .min_by_key(|(column, _)| width(column));
        let Some((column, time)) = covering else {
            let (_, widest) = self.limits().max_by_key(|(column, _)| width(column))?;
            return Some(Figure::new(widest).by(Rule::LimitOfOtherTemperature));
        };
        // Between 25 C and the ends of a range, where its limit is reached.
        if let (Some(asked), Some(room)) = (temperature, self.limit_at_room()) {
            let end = if asked > ROOM { column.hottest } else { column.coldest };
            if asked != ROOM && asked != end && end != ROOM {
                let share = i128::from(asked.raw() - ROOM.raw());
                let whole = i128::from(end.raw() - ROOM.raw());
                let change = i128::from(time.ps() - room.ps()) * share / whole;
                let figure = Figure::new(Time::from_ps(room.ps() + change as i64));
                return Some(figure.by(Rule::BetweenTemperatures));
            }
        }
        Some(Figure::new(time))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(kind: ColumnKind, coldest: i64, hottest: i64) -> Column {
        let celsius = |degrees: i64| Temperature::from_raw(degrees * 1000);
        Column { kind, coldest: celsius(coldest), hottest: celsius(hottest) }
    }

    fn ns(list: &[Option<i64>]) -> Vec<Option<Time>> {
        list.iter().map(|figure| figure.map(Time::from_ns)).collect()
    }

    fn taken(
        columns: &[Column],
        figures: &[Option<i64>],
        corner: Corner,
        figure_use: FigureUse,
    ) -> (Option<i64>, Vec<Rule>) {
        let conditions = Conditions::at(crate::quantity::Voltage::ZERO, corner);
        let figure = pick(columns, &ns(figures), &conditions, figure_use);
        (
            figure.map(|figure| figure.time.ps() / 1000),
            figure.into_iter().flat_map(|figure| figure.rules.iter()).collect(),
        )
    }

    /// The same row at a temperature, in picoseconds.
    fn at(figures: &[Option<i64>], corner: Corner, celsius: i64) -> (i64, Vec<Rule>) {
        let columns = [
            column(ColumnKind::Typ, 25, 25),
            column(ColumnKind::Limit, 25, 25),
            column(ColumnKind::Limit, -40, 85),
            column(ColumnKind::Limit, -55, 125),
        ];
        let conditions = Conditions {
            temperature: Some(Temperature::from_raw(celsius * 1000)),
            ..Conditions::at(crate::quantity::Voltage::ZERO, corner)
        };
        let figure = pick(&columns, &ns(figures), &conditions, FigureUse::Delay).expect("a figure");
        (figure.time.ps(), figure.rules.iter().collect())
    }

    /// The same row: the limits of the sheet at its temperatures, and lines between them.
    #[test]
    fn a_temperature_takes_its_column_or_the_line_between_two() {
        let row = [Some(18), Some(36), Some(45), Some(54)];
        assert_eq!(at(&row, Corner::Slowest, 25), (36_000, vec![]));
        assert_eq!(at(&row, Corner::Slowest, 85), (45_000, vec![]));
        assert_eq!(at(&row, Corner::Slowest, -40), (45_000, vec![]));
        assert_eq!(at(&row, Corner::Slowest, 125), (54_000, vec![]));
        // Halfway from 25 to 85 C.
        let between = vec![Rule::BetweenTemperatures];
        assert_eq!(at(&row, Corner::Slowest, 55), (40_500, between));
        assert_eq!(at(&row, Corner::Typical, 25), (18_000, vec![]));
        // Typical as much longer as the limit is: 18 * 45 / 36.
        let scaled = vec![Rule::TypicalWithTemperature];
        assert_eq!(at(&row, Corner::Typical, 85), (22_500, scaled));
        let none = [Some(18), None, None, None];
        assert_eq!(at(&none, Corner::Typical, 85), (18_000, vec![Rule::TypicalAtRoom]));
    }

    /// The row CLK to Q of TI SCLS148F at 4.5 V: typ 18, limits 36 (25 C), 45 (-40..85), 54 (-55..125).
    #[test]
    fn each_corner_takes_its_column() {
        let columns = [
            column(ColumnKind::Typ, 25, 25),
            column(ColumnKind::Limit, 25, 25),
            column(ColumnKind::Limit, -40, 85),
            column(ColumnKind::Limit, -55, 125),
        ];
        let row = [Some(18), Some(36), Some(45), Some(54)];
        assert_eq!(taken(&columns, &row, Corner::Typical, FigureUse::Delay), (Some(18), vec![]));
        assert_eq!(taken(&columns, &row, Corner::Slowest, FigureUse::Delay), (Some(45), vec![]));
        let fastest = taken(&columns, &row, Corner::Fastest, FigureUse::Delay);
        assert_eq!(fastest, (Some(4), vec![Rule::FastestIsQuarterTypical]));
        let setup = [None, Some(20), Some(25), Some(30)];
        assert_eq!(taken(&columns, &setup, Corner::Typical, FigureUse::Requirement), (Some(20), vec![]));
        assert_eq!(taken(&columns, &setup, Corner::Slowest, FigureUse::Requirement), (Some(25), vec![]));
    }

    #[test]
    fn gaps_are_filled_by_a_stated_rule() {
        let columns = [column(ColumnKind::Typ, 25, 25), column(ColumnKind::Limit, 25, 25)];
        let slowest = taken(&columns, &[Some(9), Some(15)], Corner::Slowest, FigureUse::Delay);
        assert_eq!(slowest, (Some(15), vec![Rule::LimitOfOtherTemperature]));
        let slowest = taken(&columns, &[Some(9), None], Corner::Slowest, FigureUse::Delay);
        assert_eq!(slowest, (Some(18), vec![Rule::SlowestIsTwiceTypical]));
        let typical = taken(&columns, &[None, Some(15)], Corner::Typical, FigureUse::Delay);
        assert_eq!(typical, (Some(15), vec![Rule::TypicalIsLimit]));
    }
}
