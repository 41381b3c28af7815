//! Clocks of plain registers. Nearly every edge of a machine finds everything known and every requirement met, and then
//! there is little to do: on most of them a register stores what it has already, and one edge of each clock stores
//! nothing at all.

use super::chips::for_each_bit;
use super::edge_programs::edge;
use super::instance::CausalDepth;
use super::machine::Machine;
use super::records::Evaluation;
use crate::part::function::SampledInputs;

impl Machine<'_> {
    /// Clocks of a plain register move, and nothing else. Returns false, with nothing done, when there is more to it.
    pub(super) fn clock_edge_path(&mut self, index: usize, changed: u64, moved_by: CausalDepth) -> bool {
        let instance = &self.instances[index];
        let (now, before) = (instance.now, instance.stored.state);
        let model = &self.models[instance.model as usize];
        let Some(clocked) = &model.clocked else {
            return false;
        };
        if changed & !clocked.clocks != 0
            || (now.unknown | instance.inputs.unknown) & changed != 0
            || instance.metastable != 0
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
        let instance = &mut self.instances[index];
        let model = &self.models[instance.model as usize];
        instance.inputs = now;
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
        instance.stored.state = state;
        let drive = model.part.function.drive(instance.sampled(), &instance.stored, &mut self.scratch);
        let old = std::mem::replace(&mut instance.wanted, drive);
        if instance.three_state {
            let first = instance.first_timestamp as usize;
            for_each_bit(changed, |input| self.arrivals[first + input] = self.time);
        }
        let before =
            Evaluation { was: SampledInputs::default(), state: before, changed, trigger_inputs: 0, at_rest: false };
        self.move_outputs(index, 0, old, moved_by, before);
        true
    }
}
