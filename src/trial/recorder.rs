//! A sink that keeps the changes of watched nets.

use crate::circuit::{Circuit, NetKey, Signal};
use crate::key::{Key, KeyVec};
use crate::logic::Level;
use crate::quantity::Time;
use crate::simulate::Sink;
use crate::simulate::wave::{Bit, Wave, Waves};

/// The most changes that one run keeps in memory.
pub const MOST_CHANGES: usize = 50_000_000;

/// Changes of watched nets.
#[derive(Clone, Debug, Default)]
pub struct Recorder {
    changes: KeyVec<NetKey, Vec<(Time, Level)>>,
    count: usize,
}

impl Recorder {
    /// A recorder for a circuit.
    pub fn new(circuit: &Circuit) -> Recorder {
        Recorder {
            changes: KeyVec::filled(circuit.nets.len(), Vec::new()),
            count: 0,
        }
    }

    /// True when something was left out because there was too much of it.
    pub fn is_full(&self) -> bool {
        self.count >= MOST_CHANGES
    }

    /// Keeps the level that a net has when recording begins.
    pub fn begin(&mut self, time: Time, net: NetKey, level: Level) {
        self.changes[net].push((time, level));
    }

    /// The recorded signals.
    pub fn waves(&self, circuit: &Circuit, signals: &[Signal], end: Time) -> Waves {
        let signals = signals
            .iter()
            .map(|signal| Wave {
                name: signal.path.clone(),
                bits: signal
                    .nets
                    .iter()
                    .map(|&net| Bit {
                        name: circuit.nets[net].path.clone(),
                        changes: self.changes[net].clone(),
                    })
                    .collect(),
            })
            .collect();
        Waves {
            start: Time::ZERO,
            end,
            signals,
            marks: Vec::new(),
        }
    }
}

impl Sink for Recorder {
    fn change(&mut self, time: Time, net: NetKey, level: Level) {
        if self.count >= MOST_CHANGES {
            return;
        }
        self.count += 1;
        let changes = &mut self.changes[net];
        match changes.last_mut() {
            // Of several levels in one moment only the last was ever there.
            Some((last, old)) if *last == time => *old = level,
            _ => changes.push((time, level)),
        }
    }
}

/// The nets of several signals, each once.
pub fn nets_of(signals: &[Signal]) -> Vec<NetKey> {
    let mut nets: Vec<NetKey> = signals
        .iter()
        .flat_map(|signal| signal.nets.iter().copied())
        .collect();
    nets.sort_by_key(|net| net.index());
    nets.dedup();
    nets
}
