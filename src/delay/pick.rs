//! Which figure of a row a corner takes.

use super::{Rule, is_limit};
use crate::language::ast::Corner;
use crate::part::ColumnKind;
use crate::part::sheet::Column;
use crate::quantity::{Temperature, Time};
use std::collections::BTreeSet;

/// What the figure is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Need {
    /// How long the part takes.
    Delay,
    /// How long the part needs.
    Requirement,
}

/// The temperatures that a bench design must stand.
fn bench() -> (Temperature, Temperature) {
    (Temperature::from_raw(0), Temperature::from_raw(70_000))
}

fn room() -> Temperature {
    Temperature::from_raw(25_000)
}

/// The figure of a row for a corner, and the rule that was needed, if any.
pub(super) fn pick(
    columns: &[Column],
    figures: &[Option<Time>],
    corner: Corner,
    need: Need,
    rules: &mut BTreeSet<Rule>,
) -> Option<Time> {
    let row = Row { columns, figures };
    if need == Need::Requirement {
        return match corner {
            Corner::Slowest | Corner::Random(_) => {
                row.limit_over_bench(rules).or_else(|| row.typical())
            }
            Corner::Fastest | Corner::Typical => row
                .limit_at_room()
                .or_else(|| row.limit_over_bench(rules))
                .or_else(|| row.typical()),
        };
    }
    let mut by = |rule: Rule, time: Time| {
        rules.insert(rule);
        time
    };
    match corner {
        Corner::Fastest => row.shortest().or_else(|| {
            let half = row.typical().map(|time| Time::from_ps(time.ps() / 2));
            half.map(|time| by(Rule::FastestIsHalfTypical, time))
                .or_else(|| {
                    let quarter = row.limit_at_room().or_else(|| row.any_limit());
                    quarter
                        .map(|time| by(Rule::FastestIsQuarterLimit, Time::from_ps(time.ps() / 4)))
                })
        }),
        Corner::Typical => row.typical().or_else(|| {
            let limit = row.limit_at_room().or_else(|| row.any_limit());
            limit.map(|time| by(Rule::TypicalIsLimit, time))
        }),
        Corner::Slowest | Corner::Random(_) => row.limit_over_bench(rules).or_else(|| {
            let typical = row.typical()?;
            rules.insert(Rule::SlowestIsTwiceTypical);
            Some(Time::from_ps(typical.ps() * 2))
        }),
    }
}

struct Row<'a> {
    columns: &'a [Column],
    figures: &'a [Option<Time>],
}

impl Row<'_> {
    fn given(&self) -> impl Iterator<Item = (&Column, Time)> {
        self.columns
            .iter()
            .zip(self.figures)
            .filter_map(|(column, figure)| Some((column, (*figure)?)))
    }

    fn shortest(&self) -> Option<Time> {
        self.given()
            .filter(|(column, _)| column.kind == ColumnKind::Min)
            .map(|(_, time)| time)
            .min()
    }

    fn typical(&self) -> Option<Time> {
        self.given()
            .find(|(column, _)| column.kind == ColumnKind::Typ)
            .map(|(_, time)| time)
    }

    fn limit_at_room(&self) -> Option<Time> {
        let at_room = |column: &Column| column.coldest == room() && column.hottest == room();
        self.given()
            .find(|(column, _)| is_limit(column.kind) && at_room(column))
            .map(|(_, time)| time)
    }

    fn any_limit(&self) -> Option<Time> {
        self.given()
            .find(|(column, _)| is_limit(column.kind))
            .map(|(_, time)| time)
    }

    /// The limit of the narrowest range that holds 0 to 70 C, else of the widest there is.
    fn limit_over_bench(&self, rules: &mut BTreeSet<Rule>) -> Option<Time> {
        let (cold, hot) = bench();
        let width = |column: &Column| column.hottest.raw() - column.coldest.raw();
        let limits = || self.given().filter(|(column, _)| is_limit(column.kind));
        let covering =
            limits().filter(|(column, _)| column.coldest <= cold && column.hottest >= hot);
        covering
            .min_by_key(|(column, _)| width(column))
            .map(|(_, time)| time)
            .or_else(|| {
                let widest = limits()
                    .max_by_key(|(column, _)| width(column))
                    .map(|(_, time)| time)?;
                rules.insert(Rule::LimitOfOtherTemperature);
                Some(widest)
            })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn column(kind: ColumnKind, coldest: i64, hottest: i64) -> Column {
        let celsius = |degrees: i64| Temperature::from_raw(degrees * 1000);
        Column {
            kind,
            coldest: celsius(coldest),
            hottest: celsius(hottest),
        }
    }

    fn ns(list: &[Option<i64>]) -> Vec<Option<Time>> {
        list.iter()
            .map(|figure| figure.map(Time::from_ns))
            .collect()
    }

    fn taken(
        columns: &[Column],
        figures: &[Option<i64>],
        corner: Corner,
        need: Need,
    ) -> (Option<i64>, Vec<Rule>) {
        let mut rules = BTreeSet::new();
        let time = pick(columns, &ns(figures), corner, need, &mut rules);
        (
            time.map(|time| time.ps() / 1000),
            rules.into_iter().collect(),
        )
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
        assert_eq!(
            taken(&columns, &row, Corner::Typical, Need::Delay),
            (Some(18), vec![])
        );
        assert_eq!(
            taken(&columns, &row, Corner::Slowest, Need::Delay),
            (Some(45), vec![])
        );
        let fastest = taken(&columns, &row, Corner::Fastest, Need::Delay);
        assert_eq!(fastest, (Some(9), vec![Rule::FastestIsHalfTypical]));
        let setup = [None, Some(20), Some(25), Some(30)];
        assert_eq!(
            taken(&columns, &setup, Corner::Typical, Need::Requirement),
            (Some(20), vec![])
        );
        assert_eq!(
            taken(&columns, &setup, Corner::Slowest, Need::Requirement),
            (Some(25), vec![])
        );
    }

    #[test]
    fn gaps_are_filled_by_a_stated_rule() {
        let columns = [
            column(ColumnKind::Typ, 25, 25),
            column(ColumnKind::Limit, 25, 25),
        ];
        let slowest = taken(&columns, &[Some(9), Some(15)], Corner::Slowest, Need::Delay);
        assert_eq!(slowest, (Some(15), vec![Rule::LimitOfOtherTemperature]));
        let slowest = taken(&columns, &[Some(9), None], Corner::Slowest, Need::Delay);
        assert_eq!(slowest, (Some(18), vec![Rule::SlowestIsTwiceTypical]));
        let typical = taken(&columns, &[None, Some(15)], Corner::Typical, Need::Delay);
        assert_eq!(typical, (Some(15), vec![Rule::TypicalIsLimit]));
    }
}
