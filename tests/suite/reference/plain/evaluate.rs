//! One chip at one moment: what it stores, what its outputs are to be, and when they will be.

use super::chip::transition;
use super::engine::Reference;
use super::levels::{Bit, Level};
use super::storage::{Started, differing};
use coldboard::delay::Transition;
use coldboard::part::PinKind;

/// What a chip was, and what has moved it.
struct Move {
    changed: u64,
    lead: u64,
    old: Vec<Bit>,
}

fn bits(mask: u64) -> impl Iterator<Item = usize> {
    (0..64).filter(move |bit| mask >> bit & 1 == 1)
}

impl Reference {
    pub(super) fn evaluate(&mut self, at: usize) {
        let chip = &mut self.chips[at];
        let changed = differing(&chip.seen.inputs, &chip.now);
        let forced = std::mem::take(&mut chip.forced);
        let (stirred, lead) = (std::mem::take(&mut chip.stirred), std::mem::take(&mut chip.lead));
        if changed == 0 && !forced {
            return;
        }
        let does = std::rc::Rc::clone(&chip.does);
        let state = chip.storage.state.clone();
        let was = chip.seen.clone();
        let (seen, started) = does.follow(&mut chip.storage, &was, &chip.now, stirred);
        chip.seen = seen;
        does.forbid(&chip.now, &chip.seen.nodes, &mut chip.storage);
        chip.seen.nodes = does.nodes(&chip.now, &chip.storage);
        self.follow_timers(at, started, &state, changed);
        let chip = &mut self.chips[at];
        let wanted = does.drive(&chip.now, &chip.seen.nodes, &chip.storage);
        let old = std::mem::replace(&mut chip.wanted, wanted);
        // An enable that comes later waits for what is on its way now. What is only kept for an edge is not.
        let stores = !does.states.is_empty() || !does.memories.is_empty();
        let reads = does.direct | chip.figures.unsettled;
        let moves = chip.wanted != old || chip.storage.state != state || changed & reads != 0;
        if moves || !stores {
            bits(changed).for_each(|input| chip.arrivals[input] = self.time);
        }
        let moved = Move { changed, lead, old };
        for bit in 0..does.outputs.len() {
            self.move_output(at, bit, &moved);
        }
    }

    fn move_output(&mut self, at: usize, bit: usize, moved: &Move) {
        let Move { changed, lead, .. } = *moved;
        let chip = &self.chips[at];
        let (figures, output) = (&chip.figures, &chip.does.outputs[bit]);
        let (from, to) = (moved.old[bit].driven(), chip.wanted[bit].driven());
        let driver = chip.first_driver + bit;
        let can_be_off = matches!(output.kind, PinKind::ThreeState | PinKind::InOut);
        let is_off = can_be_off && self.drivers[driver].now == Level::Z;
        let moving = (changed | lead) & output.arcs;
        let mut causes = if moving == 0 { output.arcs } else { moving };
        let path = |input: usize, how: Transition| match how {
            // What is unknown begins with the first edge that could be there.
            Transition::ToUnknown if output.releases >> input & 1 == 0 => {
                let edges = [Transition::Rise, Transition::Fall];
                let [rise, fall] = edges.map(|how| figures.delay(input, bit, how));
                rise.min(fall)
            }
            how => figures.delay(input, bit, how),
        };
        let slowest = |causes: u64, how: Transition| {
            let delays = bits(causes).map(|input| path(input, how));
            let found = if self.longest { delays.max() } else { delays.min() };
            found.unwrap_or(0)
        };
        // The outputs of a memory stay good for a while, are unknown, and then good again.
        let unsettled = causes & changed & figures.unsettled;
        if unsettled != 0 && from != Level::Z && to != Level::Z && !is_off {
            let holds = bits(unsettled).map(|input| figures.output_hold[input][bit]);
            let hold = holds.min().unwrap_or(0);
            let access = slowest(causes, transition(Level::X, to)).max(hold);
            self.disturb(driver, to, self.time + hold, self.time + access);
            return;
        }
        let disturbed = changed & figures.unsettled != 0 && is_off && to != Level::Z;
        if from == to && !disturbed {
            return;
        }
        // Only what can release an output makes it let go or drive again.
        let releasing = causes & output.releases;
        if (from == Level::Z || to == Level::Z) && releasing != 0 {
            causes = releasing;
        }
        let mut how = transition(from, to);
        if changed == 0 && lead != 0 {
            // What ends by itself takes as long to the output as it took to begin.
            how = match how {
                Transition::Rise => Transition::Fall,
                Transition::Fall => Transition::Rise,
                other => other,
            };
        }
        let swings = changed == 0 && chip.does.oscillator.is_some();
        let mut due = self.time + if swings { 0 } else { slowest(causes, how) };
        if is_off && to != Level::Z {
            for input in bits(figures.launches[bit]) {
                due = due.max(chip.arrivals[input] + path(input, transition(Level::X, to)));
            }
        }
        self.schedule(driver, to, due);
    }

    // ---- what ends by itself --------------------------------------------------------------------------------------

    pub(super) fn first_timers(&mut self, at: usize) {
        for timer in 0..self.chips[at].timers.len() {
            let row = &mut self.chips[at].timers[timer];
            row.latest = row.duration.map(|time| self.time + time);
            row.earliest = Some(self.time + row.duration.unwrap_or(0));
            self.wait(at, timer);
        }
    }

    fn follow_timers(&mut self, at: usize, started: Started, before: &[Bit], changed: u64) {
        for timer in 0..self.chips[at].timers.len() {
            let chip = &mut self.chips[at];
            let row = &mut chip.timers[timer];
            let now = chip.storage.state[row.state];
            let end = row.duration.map(|time| self.time + time);
            let was_started = |mask: u64| mask >> row.state & 1 == 1;
            let newly_unknown = now == Bit::Unknown && before[row.state] != Bit::Unknown;
            if now == Bit::Low {
                (row.earliest, row.latest) = (None, None);
            } else if was_started(started.certain) && now == Bit::High {
                (row.earliest, row.latest) = (Some(end.unwrap_or(self.time)), end);
                row.lead = changed;
            } else if was_started(started.certain | started.perhaps) || newly_unknown {
                // It may run until its old end, or from now on.
                row.latest = end;
                row.lead = changed;
            } else {
                continue;
            }
            self.wait(at, timer);
        }
    }

    fn wait(&mut self, at: usize, timer: usize) {
        let chip = &mut self.chips[at];
        let row = &mut chip.timers[timer];
        let unknown = chip.storage.state[row.state] == Bit::Unknown;
        row.due = if unknown { row.latest } else { row.earliest };
        self.wait_for_timer(at, timer);
    }

    /// A timer ends, or may end.
    pub(super) fn expire(&mut self, at: usize, timer: usize) {
        let chip = &mut self.chips[at];
        let row = &mut chip.timers[timer];
        if row.due != Some(self.time) {
            return;
        }
        let over = row.latest.is_some_and(|latest| self.time >= latest);
        row.earliest = None;
        if over {
            row.latest = None;
        }
        chip.storage.state[row.state] = if over { Bit::Low } else { Bit::Unknown };
        chip.stirred |= 1 << row.state;
        chip.lead = row.lead;
        self.wait(at, timer);
        self.force(at);
    }
}
