//! What a trial shows: tables, and the moments at which their rows are written.

use super::Runner;
use super::watched::{Rows, Show, Strobe};
use crate::circuit::Signal;
use crate::language::ast::Edge;
use crate::quantity::Time;
use crate::text::Span;
use crate::trial::look::{Levels, Look, cell};
use crate::trial::prepare::When;
use crate::trial::report::Table;

/// Rows that a table keeps.
const MOST_ROWS: usize = 100_000;

/// Tables of a trial; in a repetition `show now` may open one in each turn.
const MOST_TABLES: usize = 1000;

impl Runner<'_> {
    pub(super) fn open_table(&mut self, when: &When, fields: &[(Signal, Look)]) {
        let table = self.report.tables.len();
        let title = match when {
            When::Clock => "each clock".to_owned(),
            When::On(Edge::Rise, signal) => format!("rise of {}", signal.path),
            When::On(Edge::Fall, signal) => format!("fall of {}", signal.path),
            When::Every(time) => format!("every {time}"),
            When::Now => "now".to_owned(),
        };
        let columns = fields.iter().map(|(signal, _)| signal.path.clone()).collect();
        self.report.tables.push(Table { when: title, columns, rows: Vec::new(), cut: false });
        if matches!(when, When::Clock | When::On(..)) {
            fields.iter().for_each(|(signal, _)| self.keep(signal));
        }
        let (strobe, next) = self.moments(when);
        self.shows.push(Show { when: when.clone(), strobe, next, fields: fields.to_vec(), table: Rows::Table(table) });
    }

    /// The edge, or the time, that the next row waits for.
    pub(super) fn moments(&mut self, when: &When) -> (Strobe, Time) {
        match when {
            When::On(_, signal) => (self.strobe(signal), Time::MAX),
            When::Every(time) => (Strobe::NONE, self.machine.now() + *time),
            When::Clock | When::Now => (Strobe::NONE, Time::MAX),
        }
    }

    /// A row of the table that stands at a place.
    pub(super) fn show_now(&mut self, fields: &[(Signal, Look)], span: Span) {
        let columns: Vec<String> = fields.iter().map(|(signal, _)| signal.path.clone()).collect();
        let tables = &mut self.report.tables;
        // In a repetition the signals may be others in each turn.
        let known = self.shown.get(&span).copied().filter(|&table| tables[table].columns == columns);
        if known.is_none() && tables.len() >= MOST_TABLES {
            return;
        }
        let table = known.unwrap_or_else(|| {
            tables.push(Table { when: "now".to_owned(), columns, rows: Vec::new(), cut: false });
            tables.len() - 1
        });
        self.shown.insert(span, table);
        let values = fields.iter().map(|(signal, look)| cell(&|net| self.machine.level(net), signal, look)).collect();
        self.add_row(table, values);
    }

    fn add_row(&mut self, table: usize, values: Vec<String>) {
        let table = &mut self.report.tables[table];
        if table.rows.len() >= MOST_ROWS {
            table.cut = true;
        } else {
            table.rows.push((self.machine.now(), values));
        }
    }

    pub(super) fn row(&mut self, at: usize) {
        let show = &self.shows[at];
        let table = match show.table {
            Rows::Record(record) => return self.record(at, record),
            Rows::Table(table) => table,
        };
        let levels: &Levels<'_> = match show.when {
            When::Clock | When::On(..) => &|net| self.machine.level_before(net),
            When::Every(_) | When::Now => &|net| self.machine.level(net),
        };
        let values = show.fields.iter().map(|(signal, look)| cell(levels, signal, look)).collect();
        self.add_row(table, values);
    }

    /// Rows that stand at regular times.
    pub(super) fn timed_rows(&mut self) {
        for at in 0..self.shows.len() {
            if let When::Every(time) = self.shows[at].when
                && self.shows[at].next <= self.machine.now()
            {
                self.row(at);
                self.shows[at].next += time;
            }
        }
    }
}
