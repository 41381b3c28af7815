//! Clocks of plain registers. Nearly every edge of a machine finds everything known and every requirement met, and then
//! there is little to do: on most of them a register stores what it has already, and one edge of each clock stores
//! nothing at all.

use super::chips::for_each_bit;
use super::history::Before;
use super::machine::{Chains, Machine};
use crate::logic::{Level, Word};
use crate::part::Edge;
use crate::part::function::flat::{Fixed, Flat};
use crate::part::function::{Function, Reads, Seen};

/// What the edges of a plain register's clocks do while all that it sees and stores is known.
#[derive(Clone, Debug)]
pub(super) struct Clocked {
    /// The inputs that are clocks.
    clocks: u64,
    /// What each edge of each input stores: of [`Edge`], input by input.
    edges: Vec<[Option<Stored>; 2]>,
}

#[derive(Clone, Debug)]
struct Stored {
    /// The state bits that are set.
    states: u64,
    /// The input and state bits that they are taken from.
    reads: Reads,
    next: Flat,
}

impl Clocked {
    /// `None` for a chip without such clocks.
    pub(super) fn new(function: &Function) -> Option<Clocked> {
        let fixed = Fixed {
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
                    match function.flat_trigger(fixed, input, edge) {
                        Some((0, _)) => {}
                        Some((states, next)) => {
                            let reads = function.reads_of_edges(states);
                            stored[edge as usize] = Some(Stored {
                                states,
                                reads,
                                next,
                            });
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
    fn stored(&self, input: usize, now: Word) -> Option<&Stored> {
        self.edges[input][edge(now, input) as usize].as_ref()
    }
}

/// The edge that an input has had which is known, and has moved.
#[inline]
fn edge(now: Word, input: usize) -> Edge {
    match now.bit(input as u32) {
        Level::One => Edge::Rise,
        _ => Edge::Fall,
    }
}

impl Machine<'_> {
    /// Clocks of a plain register move, and nothing else. Returns false, with nothing done, when there is more to it.
    pub(super) fn strike(&mut self, index: usize, changed: u64, moved_by: Chains) -> bool {
        let cell = &self.cells[index];
        let (now, before) = (cell.now, cell.held.state);
        let model = &self.models[cell.model as usize];
        let Some(clocked) = &model.clocked else {
            return false;
        };
        if changed & !clocked.clocks != 0
            || (now.unknown | cell.inputs.unknown) & changed != 0
            || cell.undecided != 0
            || !self.fast()
            || !model.part.function.is_shut(now)
        {
            return false;
        }
        // Everything is asked before anything is done.
        let (mut all, mut set) = (true, 0);
        for_each_bit(changed, |input| {
            if let Some(it) = clocked.stored(input, now) {
                // Where two clocks set the same, the part tells which of them comes first.
                all &= set & it.states == 0;
                set |= it.states;
                all &= now.unknown & it.reads.inputs | before.unknown & it.reads.states == 0;
            }
            all &= self.meets(index, changed, input, edge(now, input));
        });
        if !all {
            return false;
        }
        for_each_bit(changed, |input| self.note(index, input, edge(now, input)));
        let cell = &mut self.cells[index];
        let model = &self.models[cell.model as usize];
        cell.inputs = now;
        let Some(clocked) = &model.clocked else {
            return true;
        };
        let mut state = before;
        for_each_bit(changed, |input| {
            if let Some(it) = clocked.stored(input, now) {
                let (next, _) = it.next.run(now.value, before.value, &[]);
                state.value = state.value & !it.states | next;
                state.unknown &= !it.states;
            }
        });
        if state == before {
            return true;
        }
        cell.held.state = state;
        let drive = model.drive(cell.seen(), &cell.held, &mut self.scratch);
        let old = std::mem::replace(&mut cell.wanted, drive);
        if cell.lets_go {
            let first = cell.first_stamp as usize;
            for_each_bit(changed, |input| self.arrivals[first + input] = self.time);
        }
        let before = Before {
            was: Seen::default(),
            state: before,
            changed,
            lead: 0,
            at_rest: false,
        };
        self.move_outputs(index, 0, old, moved_by, before);
        true
    }
}
