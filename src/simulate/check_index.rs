//! Which data-sheet limits speak of which signals, and what is kept to check them.

use super::driver::LONG_AGO;
use super::number::{self, row as row_number};
use crate::delay::DelayTable;
use crate::logic::Word;
use crate::part::Edge;
use crate::part::function::{Function, SampledInputs};
use crate::part::sheet::{CheckKind, Signal};
use crate::quantity::Time;

/// Which requirements an edge of a signal touches.
#[derive(Clone, Debug, Default)]
pub(super) struct CheckIndex {
    /// By signal, inputs before nodes.
    pub(super) uses: Vec<SignalLimits>,
    pub(super) inputs: usize,
    /// The reference edges of hold times longer than zero: the moment of each must be kept.
    pub(super) references: Vec<(Signal, Edge)>,
    /// The longest hold time.
    pub(super) longest_hold: Time,
}

/// The requirements that a move of one signal touches.
#[derive(Clone, Debug, Default)]
pub(super) struct SignalLimits {
    /// Setup, recovery and selection times that end with its rise, and those that end with its fall.
    pub(super) before: [Vec<StableFor>; 2],
    /// The least widths of a pulse that ends with its rise, and of one that ends with its fall, each with the row of
    /// [`DelayTable::requirements`].
    pub(super) pulses: [Option<(Time, u32)>; 2],
    /// Everything else, with the row of [`DelayTable::requirements`].
    pub(super) other: Vec<(Role, u32)>,
}

/// A time that a signal must have been still for.
#[derive(Clone, Copy, Debug)]
pub(super) struct StableFor {
    pub(super) least: Time,
    /// The row of the signal's stamp.
    pub(super) row: u32,
    pub(super) requirement: u32,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Role {
    /// The reference edge of a setup, recovery or selection time.
    Setup,
    /// The data of a hold time.
    Hold,
    /// The end of a pulse that has a least width.
    Width,
    /// A clock with a highest rate.
    Period,
    /// A signal that must not move while the reference is true.
    Stable,
}

/// The moment of a reference edge.
#[derive(Clone, Copy, Debug)]
pub(super) struct ReferenceEdge {
    pub(super) time: Time,
    pub(super) before: Word,
    pub(super) was: SampledInputs,
    pub(super) now: Word,
}

/// What is known of one requirement of one chip.
#[derive(Clone, Copy, Debug)]
pub(super) struct CheckState {
    /// The last rise, where a highest rate is asked for.
    pub(super) timestamp: Time,
    pub(super) count: u64,
    pub(super) first: Time,
    pub(super) worst: Time,
    pub(super) worst_at: Time,
    /// True when only first stages of synchronisers were lost by it.
    pub(super) excused: bool,
}

impl Default for CheckState {
    fn default() -> Self {
        CheckState {
            timestamp: LONG_AGO,
            count: 0,
            first: Time::ZERO,
            worst: Time::MAX,
            worst_at: Time::ZERO,
            excused: true,
        }
    }
}

impl CheckIndex {
    pub(super) fn new(table: &DelayTable, function: &Function) -> CheckIndex {
        let inputs = function.inputs.len();
        let mut uses = vec![SignalLimits::default(); inputs + function.nodes.len()];
        let mut references = Vec::new();
        let mut longest_hold = Time::ZERO;
        let row = |signal: Signal| match signal {
            Signal::Input(bit) => bit,
            Signal::Node(bit) => inputs + bit,
        };
        for (at, requirement) in table.requirements.iter().enumerate() {
            let at = row_number(at);
            let signal = row(requirement.signal);
            match requirement.kind {
                CheckKind::Setup(reference, edge)
                | CheckKind::Recovery(reference, edge)
                | CheckKind::Select(reference, edge) => {
                    let before = StableFor {
                        // A select is looked at anew however long it was there: it may have ended with the edge.
                        least: match requirement.kind {
                            CheckKind::Select(..) => Time::MAX,
                            _ => requirement.least,
                        },
                        row: row_number(signal),
                        requirement: at,
                    };
                    uses[row(reference)].before[edge as usize].push(before);
                }
                CheckKind::Hold(reference, edge) => {
                    if requirement.least > Time::ZERO {
                        longest_hold = longest_hold.max(requirement.least);
                        if !references.contains(&(reference, edge)) {
                            references.push((reference, edge));
                        }
                        uses[signal].other.push((Role::Hold, at));
                    }
                }
                CheckKind::Width(high) => {
                    let end = if high { Edge::Fall } else { Edge::Rise };
                    uses[signal].pulses[end as usize] = Some((requirement.least, at));
                }
                CheckKind::Period => uses[signal].other.push((Role::Period, at)),
                CheckKind::Stable(_) => uses[signal].other.push((Role::Stable, at)),
            }
        }
        CheckIndex { uses, inputs, references, longest_hold }
    }

    /// Inputs that are checked for hold times at most when they move; and what moves with the edge itself is found by a
    /// setup time there.
    pub(super) fn only_held(&self, table: &DelayTable) -> u64 {
        let stored = |&(role, at): &(Role, u32)| {
            let requirement = &table.requirements[at as usize];
            let CheckKind::Hold(reference, edge) = requirement.kind else {
                return false;
            };
            role == Role::Hold && has_setup(table, requirement.signal, reference, edge)
        };
        let data_only = |uses: &SignalLimits| {
            uses.before.iter().all(Vec::is_empty) && uses.pulses == [None; 2] && uses.other.iter().all(stored)
        };
        let inputs = self.uses[..self.inputs].iter().enumerate();
        inputs.filter(|(_, uses)| data_only(uses)).fold(0, |all, (bit, _)| all | 1 << bit)
    }

    /// How many moments a chip keeps.
    pub(super) fn reference_edges(&self) -> usize {
        self.references.len()
    }

    pub(super) fn row(&self, signal: Signal) -> usize {
        match signal {
            Signal::Input(bit) => bit,
            Signal::Node(bit) => self.inputs + bit,
        }
    }
}

/// True when a signal has a setup time, longer than zero, before an edge.
pub(super) fn has_setup(table: &DelayTable, signal: Signal, reference: Signal, edge: Edge) -> bool {
    table.requirements.iter().any(|requirement| {
        requirement.signal == signal
            && requirement.kind == CheckKind::Setup(reference, edge)
            && requirement.least > Time::ZERO
    })
}

/// The inputs that move a node of which some requirement speaks.
pub(super) fn checked_node_inputs(table: &DelayTable, function: &Function) -> u64 {
    let signals = table.requirements.iter();
    let signals = signals.flat_map(|it| [Some(it.signal), it.kind.reference()]);
    signals.flatten().fold(0, |all, signal| match signal {
        Signal::Node(node) => all | function.node_inputs[node],
        Signal::Input(_) => all,
    })
}

/// An edge between two known levels.
pub(super) fn sharp_edge(was: &SampledInputs, sampled: &SampledInputs, signal: Signal) -> Option<Edge> {
    let (low, high) = (Word::known(0), Word::known(1));
    match (bit_of(was, signal), bit_of(sampled, signal)) {
        (a, b) if a == low && b == high => Some(Edge::Rise),
        (a, b) if a == high && b == low => Some(Edge::Fall),
        _ => None,
    }
}

pub(super) fn bit_of(sampled: &SampledInputs, signal: Signal) -> Word {
    match signal {
        Signal::Input(bit) => sampled.inputs.slice(number::bit(bit), 1),
        Signal::Node(bit) => sampled.nodes.slice(number::bit(bit), 1),
    }
}
