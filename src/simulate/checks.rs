//! The requirements of the sheets, watched while the machine runs.
//!
//! A requirement that is not met is a violation only when it can matter: what the chip stores is computed once more,
//! with the offending input unknown. If nothing differs, the input did not matter then (data on a register whose
//! enable is off), and nothing is said. Otherwise the storage takes the result: unknown exactly where it depends on
//! that input.

use super::cell::Cell;
use super::check_index::Role;
use super::check_index::bit_of;
use super::check_index::{Snapshot, has_setup, sharp_edge};
use super::machine::Machine;
use super::out::LONG_AGO;
use crate::logic::Word;
use crate::part::Edge;
use crate::part::function::{Held, Seen};
use crate::part::sheet::{CheckKind, Signal};
use crate::quantity::Time;
use crate::run::Violation;

impl Machine<'_> {
    /// Checks every edge between two moments of a chip; returns true when storage has become unknown.
    pub(super) fn check(&mut self, index: usize, was: Seen, seen: Seen, before: Word) -> bool {
        let cell = &self.cells[index];
        let first_stamp = cell.first_stamp as usize;
        let inputs = self.models[cell.model as usize].checks.inputs;
        // Every stamp is renewed before any is read: edges of one moment are simultaneous.
        self.changed_stamps.clear();
        self.blinded = 0;
        let differs = |a: Word, b: Word| (a.value ^ b.value) | (a.unknown ^ b.unknown);
        for (mut mask, base) in [(differs(was.inputs, seen.inputs), 0), (differs(was.nodes, seen.nodes), inputs)] {
            while mask != 0 {
                let bit = mask.trailing_zeros() as usize;
                mask &= mask - 1;
                let signal = if base == 0 { Signal::Input(bit) } else { Signal::Node(bit) };
                let stamp = &mut self.stamps[first_stamp + base + bit];
                self.changed_stamps.push((signal, std::mem::replace(stamp, self.time)));
            }
        }
        let mut blurred = false;
        let model = self.cells[index].model as usize;
        for at in 0..self.changed_stamps.len() {
            let (signal, stamp) = self.changed_stamps[at];
            let row = self.models[model].checks.row(signal);
            let edge = sharp_edge(&was, &seen, signal);
            let here = (was, seen, before);
            if let Some(edge) = edge {
                let edge = edge as usize;
                for which in 0..self.models[model].checks.uses[row].before[edge].len() {
                    let it = self.models[model].checks.uses[row].before[edge][which];
                    if self.time - self.stamps[first_stamp + usize::from(it.row)] < it.least {
                        blurred |= self.check_use(index, Role::Before, it.requirement, stamp, here);
                    }
                }
                if let Some((least, requirement)) = self.models[model].checks.uses[row].pulses[edge]
                    && self.time - stamp < least
                {
                    blurred |= self.check_use(index, Role::Pulse, requirement, stamp, here);
                }
            }
            for which in 0..self.models[model].checks.uses[row].other.len() {
                let (role, requirement) = self.models[model].checks.uses[row].other[which];
                if role != Role::Rate || edge == Some(Edge::Rise) {
                    blurred |= self.check_use(index, role, requirement, stamp, here);
                }
            }
        }
        let time = self.time;
        let moment = |_: &Cell| Snapshot { time, before, was, now: seen.inputs };
        self.keep_moment(index, moment, |(signal, edge)| sharp_edge(&was, &seen, signal) == Some(edge));
        blurred
    }

    /// Keeps the moment of those reference edges of hold times that have come.
    #[inline]
    fn keep_moment(
        &mut self,
        index: usize,
        moment: impl Fn(&Cell) -> Snapshot,
        has_come: impl Fn((Signal, Edge)) -> bool,
    ) {
        let cell = &mut self.cells[index];
        let checks = &self.models[cell.model as usize].checks;
        for (at, &reference) in checks.references.iter().enumerate() {
            if has_come(reference) {
                self.snapshots[cell.first_snapshot as usize + at] = Some(moment(cell));
                cell.holds_until = self.time + checks.longest_hold;
            }
        }
    }

    /// True when an edge of an input, one of those that have moved, meets all that is asked of it.
    #[inline]
    pub(super) fn meets(&self, index: usize, moved: u64, input: usize, edge: Edge) -> bool {
        let cell = &self.cells[index];
        let model = &self.models[cell.model as usize];
        let uses = &model.checks.uses[input];
        let stamps = &self.stamps[cell.first_stamp as usize..];
        let since = |row: usize| self.time - stamps[row];
        let mut met = uses.pulses[edge as usize].is_none_or(|(least, _)| since(input) >= least);
        for it in &uses.before[edge as usize] {
            let row = usize::from(it.row);
            met &= since(row) >= it.least && (row >= model.checks.inputs || moved >> row & 1 == 0);
        }
        for &(role, requirement) in &uses.other {
            let row = usize::from(requirement);
            let last = self.check_states[cell.first_check as usize + row].stamp;
            let least = model.table.requirements[row].least.ps();
            met &= role == Role::Rate && (edge == Edge::Fall || self.time - last >= least);
        }
        met
    }

    /// Notes the moment of such an edge.
    #[inline]
    pub(super) fn note(&mut self, index: usize, input: usize, edge: Edge) {
        let cell = &self.cells[index];
        let checks = &self.models[cell.model as usize].checks;
        self.stamps[cell.first_stamp as usize + input] = self.time;
        if edge == Edge::Rise {
            for &(_, requirement) in &checks.uses[input].other {
                let row = cell.first_check as usize + usize::from(requirement);
                self.check_states[row].stamp = self.time;
            }
        }
        let time = self.time;
        let moment = |cell: &Cell| Snapshot { time, before: cell.held.state, was: cell.seen(), now: cell.now };
        self.keep_moment(index, moment, |reference| reference == (Signal::Input(input), edge));
    }

    /// The moment of the last reference edge of a hold time.
    fn keep_snapshot(&self, index: usize, kind: CheckKind) -> Option<Snapshot> {
        let CheckKind::Hold(reference, edge) = kind else {
            return None;
        };
        let cell = &self.cells[index];
        let references = &self.models[cell.model as usize].checks.references;
        let at = references.iter().position(|&other| other == (reference, edge))?;
        self.snapshots[cell.first_snapshot as usize + at]
    }

    fn check_use(
        &mut self,
        index: usize,
        role: Role,
        requirement: u16,
        stamp: i64,
        (was, seen, before): (Seen, Seen, Word),
    ) -> bool {
        let row = usize::from(requirement);
        let here = Snapshot { time: self.time, before, was, now: seen.inputs };
        let cell = &self.cells[index];
        let requirement = &self.models[cell.model as usize].table.requirements[row];
        let least = requirement.least.ps();
        let signal = requirement.signal;
        let kind = requirement.kind;
        let state = cell.first_check as usize + row;
        let elapsed;
        // What is lost by it; everything, when it is not known better.
        let mut lost = u64::MAX;
        match role {
            Role::Before => {
                // A select that makes the edge by its own end counts from its beginning.
                let selects = matches!(kind, CheckKind::Select(..));
                let ended = self.changed_stamps.iter().find(|(other, _)| *other == signal);
                let moved = match ended {
                    Some(&(_, begun)) if selects => begun,
                    _ => {
                        let row = self.models[cell.model as usize].checks.row(signal);
                        self.stamps[cell.first_stamp as usize + row]
                    }
                };
                elapsed = self.time - moved;
                if elapsed >= least || selects && self.is_released(index, signal, &was) {
                    return false;
                }
                // An asynchronous input is recovering only once it has been released.
                if matches!(kind, CheckKind::Recovery(..)) && !self.is_released(index, signal, &seen) {
                    return false;
                }
                match kind {
                    CheckKind::Select(reference, _) => self.blur(index, reference, was),
                    _ => match self.rerun(index, signal, kind, here, None) {
                        Some(found) => lost = found,
                        None => return false,
                    },
                }
            }
            Role::HoldData => {
                let CheckKind::Hold(reference, edge) = kind else {
                    return false;
                };
                let at_once = sharp_edge(&was, &seen, reference) == Some(edge);
                let (moment, late) =
                    if at_once { (Some(here), None) } else { (self.keep_snapshot(index, kind), Some(seen)) };
                let Some(moment) = moment else {
                    return false;
                };
                elapsed = self.time - moment.time;
                // What moves with the edge itself is too late for its setup time, where it has one.
                let table = &self.models[self.cells[index].model as usize].table;
                if elapsed >= least || at_once && has_setup(table, signal, reference, edge) {
                    return false;
                }
                match self.rerun(index, signal, kind, moment, late) {
                    Some(found) => lost = found,
                    None => return false,
                }
            }
            Role::Pulse => {
                elapsed = self.time - stamp;
                if stamp == LONG_AGO || elapsed >= least {
                    return false;
                }
                self.blur(index, signal, was);
            }
            Role::Rate => {
                let last = std::mem::replace(&mut self.check_states[state].stamp, self.time);
                elapsed = self.time - last;
                if last == LONG_AGO || elapsed >= least {
                    return false;
                }
                self.blur(index, signal, was);
            }
            Role::Steady => {
                let CheckKind::Stable(reference) = kind else {
                    return false;
                };
                let active = |seen: &Seen| bit_of(seen, reference) == Word::known(1);
                if !(active(&was) && active(&seen)) {
                    return false;
                }
                elapsed = 0;
                self.blur(index, reference, was);
                self.blur(index, reference, seen);
            }
        }
        self.log_violation(index, state, elapsed, lost);
        true
    }

    /// Counts a violation: how short the time was, in picoseconds, and which stored bits are lost by it.
    fn log_violation(&mut self, index: usize, state: usize, elapsed: i64, lost: u64) {
        let cell = &mut self.cells[index];
        let excused = lost & !self.asides[index].first_stage == 0;
        if excused {
            cell.undecided |= lost;
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
    fn is_released(&self, index: usize, signal: Signal, seen: &Seen) -> bool {
        let active_low = self.signal_name(index, signal).starts_with('/');
        bit_of(seen, signal) == Word::known(u64::from(active_low))
    }

    /// Computes the storage once more with an input unknown around an edge, and makes unknown what is then unknown.
    /// Returns the stored bits that the sharp input defines and that are unknown then, all for a memory; `None` when there
    /// are none.
    fn rerun(
        &mut self,
        index: usize,
        signal: Signal,
        kind: CheckKind,
        edge: Snapshot,
        late: Option<Seen>,
    ) -> Option<u64> {
        let Signal::Input(bit) = signal else {
            self.blur(index, signal, edge.was);
            return Some(u64::MAX);
        };
        let cell = &mut self.cells[index];
        let function = &self.models[cell.model as usize].part.function;
        // Memories are written with what is unknown; a copy would cost more than it tells. So all inputs that are
        // unknown around this edge are so together.
        let has_memory = !cell.held.memories.is_empty();
        self.blinded |= 1 << bit;
        let mask = if has_memory { self.blinded } else { 1 << bit };
        let blind = |word: Word| Word { value: word.value & !mask, unknown: word.unknown | mask };
        let mut held = Held { state: edge.before, memories: std::mem::take(&mut cell.held.memories) };
        if has_memory && let Some(reference) = kind.reference() {
            let blinded = blind(edge.was.inputs);
            function.blur_missed(reference, edge.was, blinded, &mut held, &mut self.scratch);
        }
        // While a latch is still open it follows the unknown input; then the edge closes it.
        let open = function.step(edge.was, blind(edge.was.inputs), &mut held, &mut self.scratch);
        function.step(open, blind(edge.now), &mut held, &mut self.scratch);
        let unknown = held.state.unknown;
        let mut known = u64::MAX;
        if !has_memory {
            held.state = edge.before;
            function.step(edge.was, edge.now, &mut held, &mut self.scratch);
            known = !held.state.unknown;
        }
        let lost = unknown & known;
        held.state = Word { value: cell.held.state.value & !lost, unknown: cell.held.state.unknown | lost };
        if let Some(late) = late {
            // What is set by level, such as a clear, holds against it.
            function.step(late, late.inputs, &mut held, &mut self.scratch);
        }
        cell.held = held;
        match has_memory {
            true => Some(u64::MAX),
            false => (lost != 0).then_some(lost),
        }
    }

    /// Makes everything unknown that a signal stores.
    fn blur(&mut self, index: usize, signal: Signal, seen: Seen) {
        let cell = &mut self.cells[index];
        let function = &self.models[cell.model as usize].part.function;
        function.blur(signal, seen, &mut cell.held, &mut self.scratch);
    }

    /// Requirements that were not met, by chip and row of the sheet.
    pub fn violations(&self) -> Vec<Violation> {
        self.unmet(false)
    }

    /// Requirements that were not met by first stages of synchronisers alone, which is what they are there for.
    pub fn undecided(&self) -> Vec<Violation> {
        self.unmet(true)
    }

    fn unmet(&self, excused: bool) -> Vec<Violation> {
        let mut found = Vec::new();
        for (index, cell) in self.cells.iter().enumerate() {
            let requirements = &self.models[cell.model as usize].table.requirements;
            for (row, requirement) in requirements.iter().enumerate() {
                let log = &self.check_states[cell.first_check as usize + row];
                if log.count == 0 || log.excused != excused {
                    continue;
                }
                let reference = requirement.kind.reference();
                found.push(Violation {
                    chip: cell.chip,
                    kind: requirement.kind,
                    signal: self.signal_name(index, requirement.signal),
                    reference: reference.map(|signal| self.signal_name(index, signal)),
                    least: requirement.least,
                    count: log.count,
                    first: Time::from_ps(log.first),
                    worst: Time::from_ps(log.worst),
                    worst_at: Time::from_ps(log.worst_at),
                    span: requirement.span,
                });
            }
        }
        found
    }
}
