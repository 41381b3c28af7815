//! Edges of a net that rows of tables and lists of values wait for.

use super::Runner;
use crate::circuit::{NetKey, Signal};
use crate::language::ast::Edge;
use crate::logic::Level;
use crate::run::Engine;

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

impl Runner<'_> {
    /// Begins to listen to the first net of a signal.
    pub(super) fn strobe(&mut self, signal: &Signal) -> Strobe {
        let net = signal.nets.first().copied();
        net.into_iter().for_each(|net| self.machine.stop_at(net, true));
        Strobe { net, level: net.map_or(Level::U, |net| self.machine.level(net)) }
    }

    /// What a strobe finds on a signal is what is there just before its edge takes effect.
    pub(super) fn keep(&mut self, signal: &Signal) {
        for &net in &signal.nets {
            self.machine.keep_before(net);
        }
    }
}
