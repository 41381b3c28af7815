//! Edges of a net that rows of tables and lists of values wait for.

use super::Runner;
use super::watched::Strobe;
use crate::circuit::Signal;
use crate::logic::Level;

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
