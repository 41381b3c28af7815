//! A node has its turn: it looks its outputs up, and tells them.

use super::bus::Drive;
use super::glitch::UNTRIED;
use super::machine::Machine;
use super::pieces::{Guard, Plan};
use super::place::Node;
use super::row::{Glance, Outputs, Row, Turn};
use super::settle::At;
use super::signal::{DIRTY, NONE};
use crate::logic::Word;
use crate::part::function::SampledInputs;

/// Something was unknown.
const BLIND: u64 = u64::MAX;

impl Machine<'_> {
    #[inline(always)]
    pub(super) fn evaluate(&mut self, place: usize) {
        let row = &self.rows[place];
        let number = row.number;
        match row.turn {
            Turn::Own | Turn::Shared | Turn::Both => {
                let (turn, own, mask, guarded) = (row.turn, row.own, row.own_mask, row.guarded);
                if row.unknown != 0 {
                    return self.look_blind(place);
                }
                let (table, known) = (row.table, row.known);
                let found = match self.tables.get(table, known) {
                    Some(found) => found,
                    None => self.fill(place),
                };
                let outputs = Outputs::looked_up(found);
                if guarded {
                    self.look_guarded(place);
                }
                if turn != Turn::Shared {
                    self.put_signal(own, Word::known(outputs.value & mask));
                }
                if turn != Turn::Own {
                    self.put_shared(place, outputs);
                }
            }
            Turn::Flat => {
                let outputs = self.flat(place);
                self.put_outputs(place, outputs);
            }
            Turn::Full => {
                let outputs = self.full(number, None);
                self.put_outputs(place, outputs);
            }
            Turn::Bus => self.settle_bus(number),
            Turn::Knot => self.settle_knot(number),
            Turn::Loop => self.settle_loop(number),
            Turn::Nothing => {}
        }
    }

    /// The row of its table for what a node knows.
    #[cold]
    fn fill(&mut self, place: usize) -> u32 {
        let row = &self.rows[place];
        let (number, known) = (row.number, row.known);
        match self.units[number as usize].plan {
            Plan::Table { first, fill, .. } => self.look_up(first, fill, known),
            _ => 0,
        }
    }

    /// With something unknown there is no table.
    #[cold]
    fn look_blind(&mut self, place: usize) {
        let number = self.rows[place].number;
        if self.rows[place].guarded {
            self.glance(place, BLIND);
        }
        let outputs = self.full(number, None);
        self.put_outputs(place, outputs);
    }

    /// Notes what a guarded piece is looked up by, and tells what it was before this wave.
    fn glance(&mut self, place: usize, known: u64) -> u64 {
        let glance = &mut self.glances[place];
        if glance.wave != self.wave {
            (glance.wave, glance.before) = (self.wave, glance.last);
        }
        glance.last = known;
        glance.before
    }

    /// Looks whether a small guarded piece may give a pulse.
    fn look_guarded(&mut self, place: usize) {
        let known = self.rows[place].known;
        let before = self.glance(place, known);
        if self.waking {
            return;
        }
        let sure = before != BLIND && self.glitched != self.wave;
        let moved = before ^ known;
        if sure && moved & moved.wrapping_sub(1) == 0 {
            return;
        }
        let number = self.rows[place].number;
        if let (true, Some((first, width))) = (sure, self.glances[place].pulses) {
            let at = (u64::from(first) + (before << width | known)) as usize;
            if self.pulses[at] == UNTRIED {
                self.pulses[at] = self.pulses_between(number, (before, known));
            }
            if self.pulses[at] == 0 {
                return;
            }
        }
        let outputs = Outputs::looked_up(self.fill(place));
        self.watch_for_glitches(number, outputs);
    }

    fn put_outputs(&mut self, place: usize, outputs: Outputs) {
        let row = &self.rows[place];
        let number = row.number;
        if row.guarded && !self.waking {
            self.watch_for_glitches(number, outputs);
        }
        let unit = &self.units[number as usize];
        let shared = unit.shared;
        if unit.own != NONE {
            let word = Word { value: outputs.value & unit.own_mask, unknown: outputs.blur & unit.own_mask };
            self.put_signal(unit.own, word);
        }
        if shared != NONE {
            self.put_shared(place, outputs);
        }
    }

    /// Drives nets that others may drive.
    #[inline]
    fn put_shared(&mut self, place: usize, outputs: Outputs) {
        let row = &self.rows[place];
        let mask = row.outputs;
        let driven = mask & !outputs.off & !outputs.blur;
        let drive = Drive { one: outputs.value & driven, zero: !outputs.value & driven, blur: outputs.blur & mask };
        let (shared, behind) = (row.shared, row.behind);
        if self.drives[shared as usize] != drive {
            self.rings_moved |= row.ringed;
            self.keep_given(shared);
            self.drives[shared as usize] = drive;
            for &(word, bits) in &self.behind[behind.0 as usize..behind.1 as usize] {
                self.sets[word as usize].0[DIRTY] |= bits;
            }
        }
    }

    /// The outputs by programs on known levels.
    fn flat(&mut self, place: usize) -> Outputs {
        let row = &self.rows[place];
        let number = row.number;
        let unit = &self.units[number as usize];
        let Plan::Flat { off, value, .. } = unit.plan else {
            return self.full(number, None);
        };
        let mut state = self.cells[unit.cell as usize].rest;
        if unit.state != NONE {
            let own = self.signals[unit.state as usize].now;
            state = Word { value: state.value | own.value, unknown: state.unknown | own.unknown & unit.read_states };
        }
        let inputs = row.known;
        let (outputs, cell) = (unit.outputs, unit.cell as usize);
        let mut doubt = row.unknown | state.unknown & unit.read_states;
        let memories = &self.held[cell].memories;
        let mut let_go = 0;
        if doubt == 0 && off != NONE {
            let (found, more) = self.flats[off as usize].run(inputs, state.value, memories);
            let_go = found & outputs;
            doubt |= more;
        }
        if doubt == 0 && let_go == outputs {
            return Outputs { value: 0, off: let_go, blur: 0 };
        }
        if doubt == 0 {
            let (found, more) = self.flats[value as usize].run(inputs, state.value, memories);
            if more == 0 {
                return Outputs { value: found & outputs & !let_go, off: let_go, blur: 0 };
            }
        }
        self.full(number, None)
    }

    /// The outputs by the full function; with some inputs unknown, if any are given.
    pub(super) fn full(&mut self, number: u32, inputs: Option<Word>) -> Outputs {
        let unit = &self.units[number as usize];
        let (cell, outputs) = (unit.cell, unit.outputs);
        let given = inputs.is_some();
        let inputs = inputs.unwrap_or_else(|| self.inputs(cell, At::Now));
        let mut held = std::mem::take(&mut self.held[cell as usize]);
        held.state = self.state_of(cell);
        let function = &self.cells[cell as usize].part.function;
        let nodes = function.nodes(inputs, &held, &mut self.scratch);
        let seen = SampledInputs { inputs, nodes };
        let drive = function.drive(seen, &held, &mut self.scratch);
        let forbids = self.cells[cell as usize].forbids && !given;
        self.held[cell as usize] = held;
        if forbids {
            self.look_for_forbidden(cell, seen);
        }
        let off = drive.off.value & outputs;
        let blur = (drive.off.unknown | drive.value.unknown) & outputs & !off;
        Outputs { value: drive.value.value & outputs & !off & !blur, off, blur }
    }

    // ---- before anything moves ----------------------------------------------------------------------------------

    /// A row for each node; [`Machine::fill_rows`] tells them what they know.
    pub(super) fn lay_out_rows(&mut self) {
        for place in 0..self.nodes.len() {
            let mut row = Row {
                known: 0,
                unknown: 0,
                turn: Turn::Nothing,
                guarded: false,
                ringed: false,
                own_mask: 0,
                outputs: 0,
                table: 0,
                number: 0,
                own: NONE,
                shared: NONE,
                behind: (0, 0),
            };
            match self.nodes[place] {
                Node::Nothing => {}
                Node::Bus(bus) => (row.turn, row.number) = (Turn::Bus, bus),
                Node::Knot(knot) => (row.turn, row.number) = (Turn::Knot, knot),
                Node::Unit(number) => {
                    let unit = &self.units[number as usize];
                    row.number = number;
                    row.guarded = unit.guard != Guard::No;
                    row.ringed = unit.ringed;
                    (row.own, row.shared, row.behind) = (unit.own, unit.shared, unit.behind);
                    row.outputs = unit.outputs;
                    row.own_mask = unit.own_mask;
                    row.turn = match unit.plan {
                        Plan::Table { first, .. } => {
                            row.table = first;
                            match (unit.own, unit.shared) {
                                (NONE, NONE) => Turn::Nothing,
                                (_, NONE) => Turn::Own,
                                (NONE, _) => Turn::Shared,
                                _ => Turn::Both,
                            }
                        }
                        Plan::Flat { .. } => Turn::Flat,
                        Plan::Full => Turn::Full,
                    };
                    if unit.looped != NONE {
                        (row.turn, row.number) = (Turn::Loop, unit.looped);
                    }
                }
            }
            self.rows.push(row);
        }
        self.glances = vec![Glance::default(); self.rows.len()];
        for place in 0..self.rows.len() {
            if !self.rows[place].guarded {
                continue;
            }
            self.glances[place].pulses = self.add_pulses(self.rows[place].number);
        }
    }

    /// Every row knows what its signals are now.
    pub(super) fn fill_rows(&mut self) {
        for place in 0..self.nodes.len() {
            let Node::Unit(number) = self.nodes[place] else {
                continue;
            };
            let (gather, base) = match self.units[number as usize].plan {
                Plan::Table { gather, .. } => (gather, 0),
                Plan::Flat { gather, base, .. } => (gather, base),
                Plan::Full => continue,
            };
            let (known, unknown) = self.gather(gather);
            let row = &mut self.rows[place];
            (row.known, row.unknown) = (known | base, unknown);
            self.glances[place].last = BLIND;
        }
    }
}
