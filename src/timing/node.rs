//! What a timing graph is made of: nodes, which are moves of nets, and arcs from one to the other.

use crate::circuit::{ChipKey, NetKey};
use crate::delay::Transition as OutputTransition;
use crate::key::Key;

crate::key_type!(
    /// Nets that have one level.
    TimingNet, "timing net"
);
crate::key_type!(
    /// A move of a net.
    Node, "timing node"
);
crate::key_type!(
    /// An arc.
    ArcKey, "arc"
);

/// What a net does.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(usize)]
pub enum Transition {
    /// Goes high.
    Rise = 0,
    /// Goes low.
    Fall = 1,
    /// Becomes unknown, or is let go.
    ToUnknown = 2,
}

/// All moves.
pub const TRANSITIONS: [Transition; 3] = [Transition::Rise, Transition::Fall, Transition::ToUnknown];

impl Node {
    /// The point of a net.
    pub fn of(timing_net: TimingNet, what: Transition) -> Node {
        Node::from_index(timing_net.index() * 3 + what as usize)
    }

    pub fn timing_net(self) -> TimingNet {
        TimingNet::from_index(self.index() / 3)
    }

    /// Its move.
    pub fn what(self) -> Transition {
        TRANSITIONS[self.index() % 3]
    }
}

/// What an arc goes through.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum ArcKind {
    /// Logic without storage, an enable, an asynchronous set or clear.
    Logic,
    /// Storage that this edge clocks.
    Clock,
    /// A latch or memory that this edge opens; the number of its rule in the part.
    Open(u8),
    /// A latch or memory that is open; the number of its rule in the part.
    Latch(u8),
}

#[derive(Clone, Copy, Debug)]
pub struct Arc {
    /// The move that causes.
    pub from: Node,
    /// The move that is caused.
    pub to: Node,
    pub chip: ChipKey,
    /// Bit of the chip's input word.
    pub input: u8,
    /// Bit of the chip's output word.
    pub output: u8,
    /// What it goes through.
    pub kind: ArcKind,
    /// The shortest delay in picoseconds, cables included.
    pub early: u32,
    /// The longest delay in picoseconds, cables included; nothing for a blur, which never comes last.
    pub late: Option<u32>,
    /// What the output does.
    pub how: OutputTransition,
    /// What must be so elsewhere for this arc to count.
    pub sensitisation: Sensitisation,
}

#[derive(Clone, Debug, Default)]
pub struct NetProperties {
    /// Its nets, in order.
    pub nets: Vec<NetKey>,
    /// Outputs that drive it: chip, bit of its output word, and the net that the output is on.
    pub drivers: Vec<(ChipKey, u8, NetKey)>,
    /// True when a button, a switch or a capacitor is on it: hands and slow edges are not timed.
    pub by_hand: bool,
    /// True when a connector pin on it leads out of the circuit.
    pub is_port: bool,
}

/// A row of needs; row 0 is none.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Default)]
pub struct Sensitisation(pub(super) u32);

impl Sensitisation {
    /// True when nothing is needed.
    pub fn is_none(self) -> bool {
        self.0 == 0
    }
}
