//! What the edges of plain clocks store, by two-state programs.

use super::number;
use crate::logic::{Level, Word};
use crate::part::Edge;
use crate::part::function::two_state::{TiedInputs, TwoStateProgram};
use crate::part::function::{Function, Reads};

/// What the edges of a plain register's clocks do while all that it sees and stores is known.
#[derive(Clone, Debug)]
pub(super) struct Clocked {
    /// The inputs that are clocks.
    pub(super) clocks: u64,
    /// What each edge of each input stores: of [`Edge`], input by input.
    pub(super) edges: Vec<[Option<Stored>; 2]>,
}

#[derive(Clone, Debug)]
pub(super) struct Stored {
    /// The state bits that are set.
    pub(super) states: u64,
    /// The input and state bits that they are taken from.
    pub(super) reads: Reads,
    pub(super) next: TwoStateProgram,
}

impl Clocked {
    /// `None` for a chip without such clocks.
    pub(super) fn new(function: &Function) -> Option<Clocked> {
        let fixed = TiedInputs {
            inputs: Word::all_unknown(function.input_mask()),
            states: Word::all_unknown(function.state_mask()),
            memories: &[],
        };
        let mut clocks = function.plain_edges();
        let mut edges = Vec::new();
        for input in 0..function.inputs.len() {
            let mut stored = [None, None];
            if clocks >> input & 1 == 1 {
                for edge in [Edge::Rise, Edge::Fall] {
                    match function.two_state_trigger(fixed, input, edge) {
                        Some((0, _)) => {}
                        Some((states, next)) => {
                            let reads = function.reads_of_edges(states);
                            stored[edge as usize] = Some(Stored { states, reads, next });
                        }
                        None => clocks &= !(1 << input),
                    }
                }
            }
            edges.push(stored);
        }
        (clocks != 0).then_some(Clocked { clocks, edges })
    }

    /// What an edge of an input stores.
    #[inline]
    pub(super) fn stored(&self, input: usize, now: Word) -> Option<&Stored> {
        self.edges[input][edge(now, input) as usize].as_ref()
    }
}

/// The edge that an input has had which is known, and has moved.
#[inline]
pub(super) fn edge(now: Word, input: usize) -> Edge {
    match now.bit(number::bit(input)) {
        Level::One => Edge::Rise,
        _ => Edge::Fall,
    }
}
