//! Chips cut into pieces whose outputs and storage share no inputs, so that four gates in a package are four gates.

use crate::part::function::Function;

/// What belongs together in a function.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Partition {
    pub(crate) outputs: u64,
    pub(crate) states: u64,
    pub(crate) inputs: u64,
}

impl Partition {
    fn touches(&self, other: &Partition) -> bool {
        self.inputs & other.inputs != 0 || self.states & other.states != 0 || self.outputs & other.outputs != 0
    }

    fn join(&mut self, other: Partition) {
        self.outputs |= other.outputs;
        self.states |= other.states;
        self.inputs |= other.inputs;
    }
}

/// The partitions of a function, by their first outputs. One that stores something or has a memory, a timer or an oscillator
/// is not cut where that would divide what is stored together.
pub(crate) fn partitions(function: &Function) -> Vec<Partition> {
    let mut parts: Vec<Partition> = Vec::new();
    for bit in 0..function.outputs.len() {
        let reads = [function.reads_of_value(bit), function.reads_of_off(bit)];
        let mut partition = Partition { outputs: 1 << bit, ..Partition::default() };
        for reads in reads {
            partition.inputs |= reads.inputs;
            partition.states |= reads.states;
        }
        parts.push(partition);
    }
    for mask in function.stored_together() {
        let (edges, levels) = (function.reads_of_edges(mask), function.reads_of_levels(mask));
        parts.push(Partition {
            outputs: 0,
            states: mask | edges.states | levels.states,
            inputs: edges.inputs | levels.inputs | function.controls_of(mask),
        });
    }
    let whole = !function.memories.is_empty()
        || !function.timers.is_empty()
        || function.oscillator.is_some()
        || function.rc_oscillator.is_some();
    let mut partitions: Vec<Partition> = Vec::new();
    for mut part in parts {
        let mut at = 0;
        while at < partitions.len() {
            if whole || partitions[at].touches(&part) {
                part.join(partitions.remove(at));
            } else {
                at += 1;
            }
        }
        partitions.push(part);
    }
    if whole && let Some(first) = partitions.first_mut() {
        first.states = function.state_mask();
        first.inputs = function.input_mask();
    }
    // What has no output stores for nobody.
    partitions.retain(|it| it.outputs != 0);
    partitions.sort_by_key(|partition| partition.outputs.trailing_zeros());
    partitions
}
