//! What a run waits for: clocks, edges, conditions, lists of values, rows of tables.

use crate::circuit::{NetKey, Signal};
use crate::language::ast::{Edge, Radix};
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::Engine;
use crate::text::Span;
use crate::trial::condition::Ready;
use crate::trial::look::{Look, Wanted};
use crate::trial::prepare::When;
use crate::trial::vectors::Vectors;
use std::sync::Arc;

/// A net, and the level that it was last seen with.
pub(super) struct Strobe {
    pub(super) net: Option<NetKey>,
    pub(super) level: Level,
}

impl Strobe {
    /// One that never comes.
    pub(super) const NONE: Strobe = Strobe { net: None, level: Level::U };

    /// The edge since the net was last looked at.
    pub(super) fn edge(&mut self, machine: &dyn Engine) -> Option<Edge> {
        let level = machine.level(self.net?);
        let was = std::mem::replace(&mut self.level, level);
        match (was, level) {
            (was, now) if was.is_low() && now.is_high() => Some(Edge::Rise),
            (was, now) if was.is_high() && now.is_low() => Some(Edge::Fall),
            _ => None,
        }
    }
}

/// The net whose rising edges are clocks.
pub(super) struct ClockCounter {
    pub(super) net: NetKey,
    pub(super) level: Level,
    pub(super) rises: u64,
    pub(super) moved: Time,
}

/// A list of values that must come, one at each edge.
pub(super) struct Sequence {
    pub(super) edge: Edge,
    pub(super) strobe: Strobe,
    pub(super) signal: Signal,
    pub(super) values: Vec<Wanted>,
    pub(super) more: bool,
    pub(super) next: usize,
    pub(super) failed: bool,
    pub(super) span: Span,
}

/// What must at no moment be true.
pub(super) struct Never {
    pub(super) ready: Ready,
    pub(super) tripped: bool,
    pub(super) span: Span,
}

/// A table that is being written.
pub(super) struct Show {
    pub(super) when: When,
    pub(super) strobe: Strobe,
    pub(super) next: Time,
    pub(super) fields: Vec<(Signal, Look)>,
    pub(super) table: Rows,
}

/// Where rows go.
#[derive(Clone, Copy)]
pub(super) enum Rows {
    /// To a table.
    Table(usize),
    /// To a record.
    Record(usize),
}

impl Show {
    /// Rows of a record, as numbers.
    pub(super) fn record(when: When, strobe: Strobe, next: Time, signals: &[Signal], record: usize) -> Show {
        let fields = signals.iter().map(|signal| (signal.clone(), Look::Radix(Radix::Hex)));
        Show { when, strobe, next, fields: fields.collect(), table: Rows::Record(record) }
    }
}

/// A row of vectors that is compared at the next clock.
pub(super) struct Awaited {
    pub(super) vectors: Arc<Vectors>,
    pub(super) row: usize,
    pub(super) span: Span,
}
