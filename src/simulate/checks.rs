//! The requirements of the sheets, watched while the machine runs.
//!
//! A requirement that is not met is a violation only when it can matter: what the chip stores is computed once more,
//! with the offending input unknown. If nothing differs, the input did not matter then (data on a register whose
//! enable is off), and nothing is said. Otherwise the storage takes the result: unknown exactly where it depends on
//! that input.

use super::check_index::Role;
use super::check_index::bit_of;
use super::check_index::{ReferenceEdge, has_setup, sharp_edge};
use super::driver::LONG_AGO;
use super::instance::Instance;
use super::machine::Machine;
use crate::logic::Word;
use crate::part::Edge;
use crate::part::function::{ChipState, SampledInputs};
use crate::part::sheet::{CheckKind, Signal};
use crate::quantity::Time;
use crate::run::Violation;

impl Machine<'_> {
    /// Checks every edge between two moments of a chip; returns true when storage has become unknown.
    pub(super) fn check(&mut self, index: usize, was: SampledInputs, sampled: SampledInputs, before: Word) -> bool {
        let instance = &self.instances[index];
        let first_timestamp = instance.first_timestamp as usize;
        let inputs = self.models[instance.model as usize].checks.inputs;
        // Every stamp is renewed before any is read: edges of one moment are simultaneous.
        self.changed_timestamps.clear();
        self.violating_inputs = 0;
        let differs = |a: Word, b: Word| (a.value ^ b.value) | (a.unknown ^ b.unknown);
        for (mut mask, base) in [(differs(was.inputs, sampled.inputs), 0), (differs(was.nodes, sampled.nodes), inputs)]
        {
            while mask != 0 {
                let bit = mask.trailing_zeros() as usize;
                mask &= mask - 1;
                let signal = if base == 0 { Signal::Input(bit) } else { Signal::Node(bit) };
                let timestamp = &mut self.timestamps[first_timestamp + base + bit];
                self.changed_timestamps.push((signal, std::mem::replace(timestamp, self.time)));
            }
        }
        let mut became_unknown = false;
        let model = self.instances[index].model as usize;
        for at in 0..self.changed_timestamps.len() {
            let (signal, timestamp) = self.changed_timestamps[at];
            let row = self.models[model].checks.row(signal);
            let edge = sharp_edge(&was, &sampled, signal);
            let here = (was, sampled, before);
            if let Some(edge) = edge {
                let edge = edge as usize;
                for which in 0..self.models[model].checks.uses[row].before[edge].len() {
                    let it = self.models[model].checks.uses[row].before[edge][which];
                    if self.time - self.timestamps[first_timestamp + it.row as usize] < it.least {
                        became_unknown |= self.check_limit(index, Role::Setup, it.requirement, timestamp, here);
                    }
                }
                if let Some((least, requirement)) = self.models[model].checks.uses[row].pulses[edge]
                    && self.time - timestamp < least
                {
                    became_unknown |= self.check_limit(index, Role::Width, requirement, timestamp, here);
                }
            }
            for which in 0..self.models[model].checks.uses[row].other.len() {
                let (role, requirement) = self.models[model].checks.uses[row].other[which];
                if role != Role::Period || edge == Some(Edge::Rise) {
                    became_unknown |= self.check_limit(index, role, requirement, timestamp, here);
                }
            }
        }
        let time = self.time;
        let moment = |_: &Instance| ReferenceEdge { time, before, was, now: sampled.inputs };
        self.keep_reference_edge(index, moment, |(signal, edge)| sharp_edge(&was, &sampled, signal) == Some(edge));
        became_unknown
    }

    /// Keeps the moment of those reference edges of hold times that have come.
    #[inline]
    fn keep_reference_edge(
        &mut self,
        index: usize,
        moment: impl Fn(&Instance) -> ReferenceEdge,
        has_come: impl Fn((Signal, Edge)) -> bool,
    ) {
        let instance = &mut self.instances[index];
        let checks = &self.models[instance.model as usize].checks;
        for (at, &reference) in checks.references.iter().enumerate() {
            if has_come(reference) {
                self.reference_edges[instance.first_reference_edge as usize + at] = Some(moment(instance));
                instance.hold_ends = self.time + checks.longest_hold;
            }
        }
    }

    /// True when an edge of an input, one of those that have moved, meets all that is asked of it.
    #[inline]
    pub(super) fn meets(&self, index: usize, moved: u64, input: usize, edge: Edge) -> bool {
        let instance = &self.instances[index];
        let model = &self.models[instance.model as usize];
        let uses = &model.checks.uses[input];
        let timestamps = &self.timestamps[instance.first_timestamp as usize..];
        let since = |row: usize| self.time - timestamps[row];
        let mut met = uses.pulses[edge as usize].is_none_or(|(least, _)| since(input) >= least);
        for it in &uses.before[edge as usize] {
            let row = it.row as usize;
            met &= since(row) >= it.least && (row >= model.checks.inputs || moved >> row & 1 == 0);
        }
        for &(role, requirement) in &uses.other {
            let row = requirement as usize;
            let last = self.check_states[instance.first_check as usize + row].timestamp;
            let least = model.table.requirements[row].least;
            met &= role == Role::Period && (edge == Edge::Fall || self.time - last >= least);
        }
        met
    }

    /// Notes the moment of such an edge.
    #[inline]
    pub(super) fn note(&mut self, index: usize, input: usize, edge: Edge) {
        let instance = &self.instances[index];
        let checks = &self.models[instance.model as usize].checks;
        self.timestamps[instance.first_timestamp as usize + input] = self.time;
        if edge == Edge::Rise {
            for &(_, requirement) in &checks.uses[input].other {
                let row = instance.first_check as usize + requirement as usize;
                self.check_states[row].timestamp = self.time;
            }
        }
        let time = self.time;
        let moment = |instance: &Instance| ReferenceEdge {
            time,
            before: instance.stored.state,
            was: instance.sampled(),
            now: instance.now,
        };
        self.keep_reference_edge(index, moment, |reference| reference == (Signal::Input(input), edge));
    }

    /// The moment of the last reference edge of a hold time.
    fn kept_reference_edge(&self, index: usize, kind: CheckKind) -> Option<ReferenceEdge> {
        let CheckKind::Hold(reference, edge) = kind else {
            return None;
        };
        let instance = &self.instances[index];
        let references = &self.models[instance.model as usize].checks.references;
        let at = references.iter().position(|&other| other == (reference, edge))?;
        self.reference_edges[instance.first_reference_edge as usize + at]
    }

    fn check_limit(
        &mut self,
        index: usize,
        role: Role,
        requirement: u32,
        timestamp: Time,
        (was, sampled, before): (SampledInputs, SampledInputs, Word),
    ) -> bool {
        let row = requirement as usize;
        let here = ReferenceEdge { time: self.time, before, was, now: sampled.inputs };
        let instance = &self.instances[index];
        let requirement = &self.models[instance.model as usize].table.requirements[row];
        let least = requirement.least;
        let signal = requirement.signal;
        let kind = requirement.kind;
        let state = instance.first_check as usize + row;
        let elapsed;
        // What is lost by it; everything, when it is not known better.
        let mut lost = u64::MAX;
        match role {
            Role::Setup => {
                // A select that makes the edge by its own end counts from its beginning.
                let selects = matches!(kind, CheckKind::Select(..));
                let ended = self.changed_timestamps.iter().find(|(other, _)| *other == signal);
                let moved = match ended {
                    Some(&(_, begun)) if selects => begun,
                    _ => {
                        let row = self.models[instance.model as usize].checks.row(signal);
                        self.timestamps[instance.first_timestamp as usize + row]
                    }
                };
                elapsed = self.time - moved;
                if elapsed >= least || selects && self.is_released(index, signal, &was) {
                    return false;
                }
                // An asynchronous input is recovering only once it has been released.
                if matches!(kind, CheckKind::Recovery(..)) && !self.is_released(index, signal, &sampled) {
                    return false;
                }
                match kind {
                    CheckKind::Select(reference, _) => self.make_stored_unknown(index, reference, was),
                    _ => match self.rerun(index, signal, kind, here, None) {
                        Some(found) => lost = found,
                        None => return false,
                    },
                }
            }
            Role::Hold => {
                let CheckKind::Hold(reference, edge) = kind else {
                    return false;
                };
                let at_once = sharp_edge(&was, &sampled, reference) == Some(edge);
                let (moment, late) =
                    if at_once { (Some(here), None) } else { (self.kept_reference_edge(index, kind), Some(sampled)) };
                let Some(moment) = moment else {
                    return false;
                };
                elapsed = self.time - moment.time;
                // What moves with the edge itself is too late for its setup time, where it has one.
                let table = &self.models[self.instances[index].model as usize].table;
                if elapsed >= least || at_once && has_setup(table, signal, reference, edge) {
                    return false;
                }
                match self.rerun(index, signal, kind, moment, late) {
                    Some(found) => lost = found,
                    None => return false,
                }
            }
            Role::Width => {
                elapsed = self.time - timestamp;
                if timestamp == LONG_AGO || elapsed >= least {
                    return false;
                }
                self.make_stored_unknown(index, signal, was);
            }
            Role::Period => {
                let last = std::mem::replace(&mut self.check_states[state].timestamp, self.time);
                elapsed = self.time - last;
                if last == LONG_AGO || elapsed >= least {
                    return false;
                }
                self.make_stored_unknown(index, signal, was);
            }
            Role::Stable => {
                let CheckKind::Stable(reference) = kind else {
                    return false;
                };
                let active = |sampled: &SampledInputs| bit_of(sampled, reference) == Word::known(1);
                if !(active(&was) && active(&sampled)) {
                    return false;
                }
                elapsed = Time::ZERO;
                self.make_stored_unknown(index, reference, was);
                self.make_stored_unknown(index, reference, sampled);
            }
        }
        self.log_violation(index, state, elapsed, lost);
        true
    }

    /// Counts a violation: how short the time was, and which stored bits are lost by it.
    fn log_violation(&mut self, index: usize, state: usize, elapsed: Time, lost: u64) {
        let instance = &mut self.instances[index];
        let excused = lost & !self.cold_states[index].first_stage == 0;
        if excused {
            instance.metastable |= lost;
        }
        let log = &mut self.check_states[state];
        log.excused &= excused;
        if log.count == 0 {
            log.first = self.time;
        }
        log.count += 1;
        if elapsed < log.worst {
            (log.worst, log.worst_at) = (elapsed, self.time);
        }
    }

    /// Active-low pins are released when high, all others when low.
    fn is_released(&self, index: usize, signal: Signal, sampled: &SampledInputs) -> bool {
        let active_low = self.signal_name(index, signal).starts_with('/');
        bit_of(sampled, signal) == Word::known(u64::from(active_low))
    }

    /// Computes the storage once more with an input unknown around an edge, and makes unknown what is then unknown.
    /// Returns the stored bits that the sharp input defines and that are unknown then, all for a memory; `None` when there
    /// are none.
    fn rerun(
        &mut self,
        index: usize,
        signal: Signal,
        kind: CheckKind,
        edge: ReferenceEdge,
        late: Option<SampledInputs>,
    ) -> Option<u64> {
        let Signal::Input(bit) = signal else {
            self.make_stored_unknown(index, signal, edge.was);
            return Some(u64::MAX);
        };
        let instance = &mut self.instances[index];
        let function = &self.models[instance.model as usize].part.function;
        // Memories are written with what is unknown; a copy would cost more than it tells. So all inputs that are
        // unknown around this edge are so together.
        let has_memory = !instance.stored.memories.is_empty();
        self.violating_inputs |= 1 << bit;
        let mask = if has_memory { self.violating_inputs } else { 1 << bit };
        let with_unknown = |word: Word| Word { value: word.value & !mask, unknown: word.unknown | mask };
        let mut stored = ChipState { state: edge.before, memories: std::mem::take(&mut instance.stored.memories) };
        if has_memory && let Some(reference) = kind.reference() {
            let violating_inputs = with_unknown(edge.was.inputs);
            function.make_missed_unknown(reference, edge.was, violating_inputs, &mut stored, &mut self.scratch);
        }
        // While a latch is still open it follows the unknown input; then the edge closes it.
        let open = function.step(edge.was, with_unknown(edge.was.inputs), &mut stored, &mut self.scratch);
        function.step(open, with_unknown(edge.now), &mut stored, &mut self.scratch);
        let unknown = stored.state.unknown;
        let mut known = u64::MAX;
        if !has_memory {
            stored.state = edge.before;
            function.step(edge.was, edge.now, &mut stored, &mut self.scratch);
            known = !stored.state.unknown;
        }
        let lost = unknown & known;
        stored.state =
            Word { value: instance.stored.state.value & !lost, unknown: instance.stored.state.unknown | lost };
        if let Some(late) = late {
            // What is set by level, such as a clear, holds against it.
            function.step(late, late.inputs, &mut stored, &mut self.scratch);
        }
        instance.stored = stored;
        match has_memory {
            true => Some(u64::MAX),
            false => (lost != 0).then_some(lost),
        }
    }

    /// Makes everything unknown that a signal stores.
    fn make_stored_unknown(&mut self, index: usize, signal: Signal, sampled: SampledInputs) {
        let instance = &mut self.instances[index];
        let function = &self.models[instance.model as usize].part.function;
        function.make_unknown(signal, sampled, &mut instance.stored, &mut self.scratch);
    }

    /// Requirements that were not met, by chip and row of the sheet.
    pub fn violations(&self) -> Vec<Violation> {
        self.unmet(false)
    }

    /// Requirements that were not met by first stages of synchronisers alone, which is what they are there for.
    pub fn metastable(&self) -> Vec<Violation> {
        self.unmet(true)
    }

    fn unmet(&self, excused: bool) -> Vec<Violation> {
        let mut found = Vec::new();
        for (index, instance) in self.instances.iter().enumerate() {
            let requirements = &self.models[instance.model as usize].table.requirements;
            for (row, requirement) in requirements.iter().enumerate() {
                let log = &self.check_states[instance.first_check as usize + row];
                if log.count == 0 || log.excused != excused {
                    continue;
                }
                let reference = requirement.kind.reference();
                found.push(Violation {
                    chip: instance.chip,
                    kind: requirement.kind,
                    signal: self.signal_name(index, requirement.signal),
                    reference: reference.map(|signal| self.signal_name(index, signal)),
                    least: requirement.least,
                    count: log.count,
                    first: log.first,
                    worst: log.worst,
                    worst_at: log.worst_at,
                    span: requirement.span,
                });
            }
        }
        found
    }
}
