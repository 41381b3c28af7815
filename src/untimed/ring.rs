//! Nets that feed each other in a ring, and loops of gates.

use super::graph::rings;
use crate::logic::Word;
use std::collections::BTreeMap;

/// Outputs of a unit that can open a ring: buffers that go high-impedance together, or a latch that closes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Breaker {
    pub(super) unit: u32,
    /// All outputs that go high-impedance under the same condition.
    pub(super) class: u64,
    /// Those of them that are in the ring.
    pub(super) outputs: u64,
    pub(super) latch: bool,
}

/// Nets that feed each other in a ring, which some outputs break by going high-impedance.
#[derive(Clone, Debug, Default)]
pub(super) struct Ring {
    pub(super) breakers: Vec<Breaker>,
    /// From net to net (numbers within the ring), through a breaker or, with none, always.
    pub(super) edges: Vec<(u32, u32, Option<u32>)>,
    pub(super) size: usize,
    /// Whether it was found to be broken, by the breakers that drive.
    pub(super) known: BTreeMap<u64, bool>,
}

impl Ring {
    /// True when the same outputs close it in the same way.
    pub(super) fn is_like(&self, other: &Ring) -> bool {
        let of = |ring: &Ring| {
            let breakers = ring.breakers.iter();
            breakers.map(|it| (it.unit, it.class, it.latch)).collect::<Vec<_>>()
        };
        self.size == other.size && self.edges == other.edges && of(self) == of(other)
    }

    pub(super) fn join(&mut self, other: &Ring) {
        for (breaker, more) in self.breakers.iter_mut().zip(&other.breakers) {
            breaker.outputs |= more.outputs;
        }
    }

    /// The number of the breaker that an edge goes through.
    pub(super) fn breaker(&mut self, edge: &Edge, class: u64) -> u32 {
        let same = |it: &Breaker| (it.unit, it.class, it.latch) == (edge.unit, class, edge.latch);
        let at = self.breakers.iter().position(same).unwrap_or_else(|| {
            self.breakers.push(Breaker { unit: edge.unit, class, outputs: 0, latch: edge.latch });
            self.breakers.len() - 1
        });
        self.breakers[at].outputs |= 1 << edge.output;
        at as u32
    }

    /// True when no way round is open while these breakers drive.
    pub(super) fn is_broken(&mut self, driving: u64) -> bool {
        if let Some(&broken) = self.known.get(&driving) {
            return broken;
        }
        let open = |breaker: Option<u32>| breaker.is_none_or(|it| driving >> it & 1 == 1);
        let open = self.edges.iter().filter(|edge| open(edge.2));
        let broken = rings(self.size, open.map(|edge| (edge.0, edge.1))).is_empty();
        self.known.insert(driving, broken);
        broken
    }
}

/// One way from a net to a net.
pub(super) struct Edge {
    pub(super) from: u32,
    pub(super) to: u32,
    pub(super) unit: u32,
    pub(super) output: u32,
    /// True when the output can let go, or the latch close, without a look at the ring to know when.
    pub(super) gate: bool,
    /// Through a latch, while it is open.
    pub(super) latch: bool,
}

/// A loop of gates.
#[derive(Clone, Debug)]
pub(super) struct Loop {
    pub(super) members: Vec<Member>,
}

/// A gate of a loop.
#[derive(Clone, Debug)]
pub(super) struct Member {
    pub(super) unit: u32,
    /// Inputs that outputs of the loop drive.
    pub(super) inner: u64,
    /// Its inputs when the loop settled last.
    pub(super) seen: Word,
}
