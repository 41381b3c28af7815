//! Vectors: rows of a file that are driven and compared, and rows that are recorded.

use super::watched::{Awaited, Show};
use super::{Observer, Runner};
use crate::circuit::{NetKey, Signal};
use crate::logic::Level;
use crate::quantity::Time;
use crate::text::Span;
use crate::trial::look::Levels;
use crate::trial::prepare::{Wait, When};
use crate::trial::report::Recorded;
use crate::trial::vectors::{Cell, Vectors};
use std::sync::Arc;

/// Rows that a record keeps.
const MOST_ROWS: usize = 1_000_000;

impl Runner<'_> {
    /// Each row in turn: its stimuli, the time or the clock, and what came of them.
    pub(super) fn vectors(
        &mut self,
        vectors: &Arc<Vectors>,
        every: Option<Time>,
        span: Span,
        observer: &mut dyn Observer,
    ) {
        if every.is_none() {
            vectors.columns.iter().for_each(|column| self.keep(&column.signal));
        }
        for row in 0..vectors.rows() {
            for (column, cell) in vectors.columns.iter().zip(vectors.row(row)).filter(|(column, _)| !column.expected) {
                self.stimulate(&column.signal, *cell);
            }
            match every {
                Some(time) => {
                    self.pass(&Wait::Time(time), span, observer);
                    if !self.ended {
                        self.compare_row(vectors, row, span, false);
                    }
                }
                None => {
                    self.awaited = Some(Awaited { vectors: vectors.clone(), row, span });
                    self.pass(&Wait::Clocks(1), span, observer);
                    self.awaited = None;
                }
            }
            if self.ended {
                return;
            }
        }
    }

    /// A clock has risen: the row that waits for it is compared with what was there right before.
    pub(super) fn compare_awaited(&mut self) {
        if let Some(Awaited { vectors, row, span }) = self.awaited.take() {
            self.compare_row(&vectors, row, span, true);
        }
    }

    fn stimulate(&mut self, signal: &Signal, cell: Cell) {
        for (bit, &net) in signal.nets.iter().rev().enumerate() {
            let has = |plane: u64| plane >> bit & 1 == 1;
            let level = match () {
                () if has(cell.any) => continue,
                () if has(cell.off) => Level::Z,
                () if has(cell.unknown) => Level::X,
                () if has(cell.value) => Level::One,
                () => Level::Zero,
            };
            match level {
                Level::Z => self.release_net(net),
                level => self.set_net(net, level),
            }
        }
    }

    fn compare_row(&mut self, vectors: &Vectors, row: usize, span: Span, before: bool) {
        for (column, wanted) in vectors.columns.iter().zip(vectors.row(row)).filter(|(column, _)| column.expected) {
            let width = column.signal.nets.len() as u32;
            let found = if before {
                cell(&|net| self.machine.level_before(net), &column.signal)
            } else {
                cell(&|net| self.machine.level(net), &column.signal)
            };
            let differs = (found.value ^ wanted.value) | (found.unknown ^ wanted.unknown) | (found.off ^ wanted.off);
            let wrong = differs & !wanted.any;
            if wrong == 0 {
                self.report.expectations_passed += 1;
                continue;
            }
            let bit = wrong.trailing_zeros() as usize;
            let net = column.signal.nets.iter().rev().nth(bit).copied();
            let sentence = format!(
                "{}: {} is {}, expected {}",
                vectors.place(row),
                column.signal.path,
                found.text(width),
                wanted.text(width)
            );
            self.fail(span, sentence, net);
        }
    }

    /// Begins a record.
    pub(super) fn open_record(&mut self, file: &str, when: &When, signals: &[Signal]) {
        let driven = |signal: &Signal| signal.nets.iter().all(|net| self.prepared.stimuli.contains(net));
        let heading = signals.iter().map(|signal| match driven(signal) {
            true => format!("set {}", signal.path),
            false => format!("expect {}", signal.path),
        });
        let heading = heading.collect::<Vec<_>>().join(", ");
        let record = self.report.records.len();
        self.report.records.push(Recorded { file: file.to_owned(), lines: vec![heading], cut: false });
        let (strobe, next) = self.moments(when);
        if next == Time::MAX {
            signals.iter().for_each(|signal| self.keep(signal));
        }
        self.shows.push(Show::record(when.clone(), strobe, next, signals, record));
    }

    /// A row of a record.
    pub(super) fn record(&mut self, at: usize, record: usize) {
        let show = &self.shows[at];
        let levels: &Levels<'_> = match show.when {
            When::Clock | When::On(..) => &|net: NetKey| self.machine.level_before(net),
            When::Every(_) | When::Now => &|net: NetKey| self.machine.level(net),
        };
        let cells = show.fields.iter().map(|(signal, _)| cell(levels, signal).text(signal.nets.len() as u32));
        let line = cells.collect::<Vec<_>>().join(", ");
        let record = &mut self.report.records[record];
        if record.lines.len() > MOST_ROWS {
            record.cut = true;
        } else {
            record.lines.push(line);
        }
    }
}

/// What a signal is, as a cell of vectors says it.
fn cell(levels: &Levels<'_>, signal: &Signal) -> Cell {
    let mut cell = Cell::default();
    for &net in &signal.nets {
        for plane in [&mut cell.value, &mut cell.unknown, &mut cell.off] {
            *plane <<= 1;
        }
        let level = levels(net);
        if level == Level::Z {
            cell.off |= 1;
        } else if !level.is_known() {
            cell.unknown |= 1;
        } else if level.is_high() {
            cell.value |= 1;
        }
    }
    cell
}
