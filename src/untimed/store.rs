//! Storage at the end of a wave: everything whose clock or enable has moved looks at its inputs at once.

use super::machine::Machine;
use super::pieces::{Plan, Store, Unit, bits};
use super::place::Node;
use super::register::Register;
use super::register::Steady;
use super::settle::At;
use super::signal::{ARMED, NONE, OPEN, PLAIN, TICKED, TOUCHED};
use crate::logic::Word;
use crate::part::Edge;
use crate::part::function::{ChipState, SampledInputs};

impl Machine<'_> {
    /// A row for each place of a node; those of other nodes are never looked at.
    pub(super) fn lay_out_registers(&mut self) {
        let nothing = Register {
            unit: NONE,
            state: NONE,
            clock: (NONE, 0),
            rises: true,
            gate: None,
            shut: false,
            holds: false,
            skewed: false,
            plan: Plan::Full,
        };
        self.registers = vec![nothing; self.nodes.len()];
        for (number, unit) in self.units.iter().enumerate() {
            let Store::Register(edge, plan) = unit.store else {
                continue;
            };
            self.registers[self.unit_places[number] as usize] = Register {
                unit: number as u32,
                state: unit.state,
                clock: unit.clock,
                rises: edge == Edge::Rise,
                gate: unit.gate.map(|_| unit.gate_line),
                shut: unit.gate.is_some_and(|gate| gate.shut),
                holds: unit.gate.is_some_and(|gate| gate.holds),
                skewed: unit.skewed,
                plan,
            };
        }
    }

    /// Lets storage follow; what it then holds is pending.
    pub(super) fn store(&mut self) {
        let fast = self.settings.fast_paths;
        for word in 0..self.lively {
            let sets = &mut self.sets[word].0;
            let follow = sets[ARMED] & sets[OPEN];
            if sets[TICKED] | sets[TOUCHED] | follow == 0 {
                continue;
            }
            let slow = if fast { !sets[PLAIN] } else { u64::MAX };
            let full = sets[TOUCHED] | follow | sets[TICKED] & slow;
            let quick = sets[TICKED] & sets[ARMED] & sets[PLAIN] & !full;
            sets[ARMED] &= !(full | quick);
            (sets[TICKED], sets[TOUCHED]) = (0, 0);
            for bit in bits(quick) {
                self.sample(word * 64 + bit as usize);
            }
            for bit in bits(full) {
                if let Node::Unit(unit) = self.nodes[word * 64 + bit as usize] {
                    self.step(unit);
                }
            }
        }
    }

    /// A register at its clock, with nothing else going on.
    fn sample(&mut self, place: usize) {
        let register = &self.registers[place];
        let (number, held, skewed) = (register.unit, register.state, register.skewed);
        let (signal, bit) = register.clock;
        let clock = &self.signals[signal as usize];
        let rises = clock.now.value & !clock.was.value & !clock.was.unknown;
        let falls = clock.was.value & !clock.now.value & !clock.now.unknown;
        let edges = if register.rises { rises } else { falls };
        if clock.wave != self.wave || edges >> bit & 1 == 0 {
            // It came and went while the logic settled.
            self.arm(place);
            return;
        }
        let mut open = false;
        if let Some((signal, bit)) = register.gate {
            let gate = &self.signals[signal as usize];
            let moved = gate.moment == self.moment && gate.moved >> bit & 1 == 1;
            if moved || gate.now.unknown >> bit & 1 == 1 {
                return self.step(number);
            }
            open = (gate.now.value >> bit & 1 == 1) != register.shut;
            if !open && register.holds && !skewed {
                return;
            }
        }
        let state = self.signals[register.state as usize].now;
        let mut next = state.value;
        if open || !register.holds {
            let (gather, base) = match register.plan {
                Plan::Table { gather, .. } => (gather, 0),
                Plan::Flat { gather, base, .. } => (gather, base),
                Plan::Full => return self.step(number),
            };
            let (mut value, mut doubt) = (base, state.unknown);
            for segment in &self.segments[gather.0 as usize..gather.1 as usize] {
                let signal = &self.signals[segment.signal as usize];
                value |= signal.now.value.rotate_left(segment.turn) & segment.mask;
                let moved = if signal.moment == self.moment { signal.moved } else { 0 };
                doubt |= (signal.now.unknown | moved).rotate_left(segment.turn) & segment.mask;
            }
            if doubt != 0 {
                return self.step(number);
            }
            let plan = register.plan;
            next = match plan {
                Plan::Table { first, fill, .. } => u64::from(self.look_up(first, fill, value)),
                Plan::Flat { value: flat, .. } => {
                    let unit = &self.units[number as usize];
                    let states = state.value | self.cells[unit.cell as usize].rest.value;
                    self.flats[flat as usize].run(value, states, &[]).0 & unit.states
                }
                Plan::Full => next,
            };
        }
        // What is behind a gate does not tell that it moves.
        if open || skewed {
            self.arm(place);
        }
        if skewed {
            let before = self.state_of(self.units[number as usize].cell);
            let next = Word::new(next, state.unknown);
            self.note_skewed(number, before, next);
        }
        if next != state.value {
            self.stored[number as usize] = self.moment;
            self.pending.push((held, Word::known(next)));
        }
    }

    fn arm(&mut self, place: usize) {
        self.sets[place / 64].0[ARMED] |= 1 << (place % 64);
    }

    /// Any storage, by its full function.
    pub(super) fn step(&mut self, number: u32) {
        let unit = &self.units[number as usize];
        if unit.state == NONE {
            return;
        }
        let cell = unit.cell;
        self.stored[number as usize] = self.moment;
        let now = self.inputs(cell, At::Now);
        let was = if self.waking { now } else { self.inputs(cell, At::Before) };
        let simple = self.is_simple_step(number, (was, now));
        if simple && self.stays(number, (was, now)) {
            return;
        }
        let unit = self.units[number as usize].clone();
        let mut held = std::mem::take(&mut self.held[unit.cell as usize]);
        held.state = self.state_of(unit.cell);
        let before = held.state;
        let memory = !held.memories.is_empty();
        let mut ended = false;
        if memory && !self.waking {
            ended = self.watch_writing(number, &unit, was, now, &mut held);
        }
        let seen = self.step_held(&unit, was, now, &mut held);
        let mut state = held.state;
        if !memory && !self.waking {
            state = self.other_orders(number, &unit, before, (was, now), state);
        }
        held.state = state;
        let part = std::sync::Arc::clone(&self.cells[unit.cell as usize].part);
        if self.cells[unit.cell as usize].forbids && !self.waking {
            let found = part.function.forbidden(seen, &held, &mut self.scratch);
            for &at in &found {
                part.function.make_forbidden_unknown(at, &mut held);
            }
            self.log_forbidden(unit.cell, &found);
        }
        let acts = part.function.acts(seen, &held, &mut self.scratch) != Word::known(0);
        self.note_acts(number, acts);
        if simple && held.state == before && self.refusal.is_none() {
            let steady = &mut self.steady[number as usize];
            steady.rotate_right(1);
            steady[0] = Some(Steady { was, now, state: before, acts });
        }
        let state = Word { value: held.state.value & unit.states, unknown: held.state.unknown & unit.states };
        self.held[unit.cell as usize] = held;
        if unit.skewed && !self.waking && (!memory || ended) {
            self.note_skewed(number, before, state);
        }
        if memory {
            self.mark_unit(number);
        }
        if self.signals[unit.state as usize].now != state {
            self.pending.push((unit.state, state));
        }
    }

    /// True when what a unit stores depends on nothing but its inputs before this wave and now, and on what it stores.
    fn is_simple_step(&self, number: u32, (was, now): (Word, Word)) -> bool {
        let unit = &self.units[number as usize];
        let cell = &self.cells[unit.cell as usize];
        let held = &self.held[unit.cell as usize];
        if self.waking || !self.settings.fast_paths || cell.forbids || !held.memories.is_empty() {
            return false;
        }
        let controls = ((was.value ^ now.value) | (was.unknown ^ now.unknown)) & unit.controls;
        self.moved_inputs(unit.cell) & (unit.data | unit.controls) & !controls == 0
    }

    /// True when a unit stored nothing new the last time that it was in the same situation: a clock that comes again and
    /// again while a reset is on, or while all is unknown.
    fn stays(&mut self, number: u32, (was, now): (Word, Word)) -> bool {
        let unit = &self.units[number as usize];
        let (cell, states, skewed) = (unit.cell, unit.states, unit.skewed);
        let state = self.state_of(cell);
        let mut known = self.steady[number as usize].iter().flatten();
        let Some(steady) = known.find(|it| (it.was, it.now, it.state) == (was, now, state)) else {
            return false;
        };
        let acts = steady.acts;
        self.note_acts(number, acts);
        if skewed {
            self.note_skewed(number, state, Word { value: state.value & states, unknown: state.unknown & states });
        }
        true
    }

    /// Notes whether levels act on what a unit stores: a clear, an open latch.
    fn note_acts(&mut self, number: u32, acts: bool) {
        let unit = &self.units[number as usize];
        let place = self.unit_places[number as usize] as usize;
        let bit = 1u64 << (place % 64);
        if let Store::Register(..) = unit.store {
            let rests = !acts && !self.cells[unit.cell as usize].forbids;
            let plain = &mut self.sets[place / 64].0[PLAIN];
            *plain = *plain & !bit | if rests { bit } else { 0 };
            self.arm(place);
        } else {
            let ringed = unit.ringed;
            let open = &mut self.sets[place / 64].0[OPEN];
            *open = *open & !bit | if acts { bit } else { 0 };
            self.rings_moved |= ringed;
        }
    }

    /// One step of the function from the inputs before to those now.
    pub(super) fn step_held(&mut self, unit: &Unit, was: Word, now: Word, held: &mut ChipState) -> SampledInputs {
        let function = &self.cells[unit.cell as usize].part.function;
        let seen = SampledInputs { inputs: was, nodes: function.nodes(was, held, &mut self.scratch) };
        function.step(seen, now, held, &mut self.scratch)
    }

    /// Input bits of a chip that have moved in this moment.
    pub(super) fn moved_inputs(&self, cell: u32) -> u64 {
        let (first, last) = self.cells[cell as usize].gather;
        let segments = &self.segments[first as usize..last as usize];
        segments.iter().fold(0, |moved, segment| {
            let signal = &self.signals[segment.signal as usize];
            if signal.moment == self.moment {
                moved | signal.moved.rotate_left(segment.turn) & segment.mask
            } else {
                moved
            }
        })
    }

    /// What would be stored if what has moved in this moment had come in another order. It is refused to choose between
    /// two known results; where one of them is unknown, so is what is stored.
    fn other_orders(&mut self, number: u32, unit: &Unit, before: Word, (was, now): (Word, Word), state: Word) -> Word {
        let differs = (was.value ^ now.value) | (was.unknown ^ now.unknown);
        let controls = differs & unit.controls;
        if controls == 0 {
            return state;
        }
        let mut result = state;
        let mut early = self.moved_inputs(unit.cell) & (unit.data | unit.controls) & !controls;
        if early & unit.controls != 0 {
            early &= !self.certainly_before(unit, early & unit.controls, controls);
        }
        let mut ways: Vec<(Word, Word, u64)> = Vec::new();
        if early != 0 {
            let origin = self.inputs(unit.cell, At::Origin);
            // The controls first, and what else has moved first: a latch that closes is still open then.
            ways.push((mix(was, origin, early), mix(now, origin, early), early));
            ways.push((was, mix(was, now, early), early));
        }
        let lines = self.lines_of(unit, controls);
        if lines.len() > 1 {
            ways.extend(lines.iter().map(|&line| (was, mix(was, now, line), line)));
        }
        for (start, middle, moved) in ways {
            let mut held = ChipState { state: before, memories: Vec::new() };
            self.step_held(unit, start, middle, &mut held);
            self.step_held(unit, middle, now, &mut held);
            let both = !held.state.unknown & !state.unknown & unit.states;
            if (held.state.value ^ state.value) & both != 0 {
                self.refuse_race(number, controls, moved);
                return state;
            }
            result.unknown |= held.state.unknown & unit.states;
            result.value &= !result.unknown;
        }
        result
    }

    /// Those of some inputs without which none of some others would have moved.
    fn certainly_before(&self, unit: &Unit, early: u64, late: u64) -> u64 {
        let cell = &self.cells[unit.cell as usize];
        let before = bits(early).filter(|&first| {
            let first = self.line(cell, first);
            bits(late).all(|input| self.follows(self.line(cell, input), first))
        });
        before.fold(0, |mask, input| mask | 1 << input)
    }

    /// Bits of a mask of inputs, those on one net together.
    fn lines_of(&self, unit: &Unit, mask: u64) -> Vec<u64> {
        let cell = &self.cells[unit.cell as usize];
        let mut lines: Vec<((u32, u32), u64)> = Vec::new();
        for input in bits(mask) {
            let line = self.line(cell, input);
            match lines.iter_mut().find(|(other, _)| *other == line) {
                Some((_, inputs)) => *inputs |= 1 << input,
                None => lines.push((line, 1 << input)),
            }
        }
        lines.into_iter().map(|(_, inputs)| inputs).collect()
    }

    /// A memory that is written must not have its address moved meanwhile, nor its data just before the end. True when
    /// the writing ends here.
    fn watch_writing(&mut self, number: u32, unit: &Unit, was: Word, now: Word, held: &mut ChipState) -> bool {
        let part = std::sync::Arc::clone(&self.cells[unit.cell as usize].part);
        let address = self.cells[unit.cell as usize].address;
        let acts = |inputs: Word, machine: &mut Self| {
            let nodes = part.function.nodes(inputs, held, &mut machine.scratch);
            let seen = SampledInputs { inputs, nodes };
            part.function.acts(seen, held, &mut machine.scratch)
        };
        let (acted, acting) = (acts(was, self), acts(now, self));
        let moved = self.moved_inputs(unit.cell);
        let differs = (was.value ^ now.value) | (was.unknown ^ now.unknown);
        let controls = differs & unit.controls;
        let none = Word::known(0);
        if acted == none && acting == none {
            // Two controls that move at once may write for a moment in between.
            if self.lines_of(unit, controls).len() > 1 {
                let mut between = now;
                between.unknown |= controls;
                between.value &= !controls;
                if acts(between, self) != none {
                    self.refuse_race(number, controls, controls);
                }
            }
            return false;
        }
        if moved & address != 0 {
            let origin = self.inputs(unit.cell, At::Origin);
            let old = mix(now, origin, address);
            let certain = acted.unknown | acting.unknown == 0 && (old.unknown | now.unknown) & address == 0;
            if certain {
                self.refuse_address(number);
                return false;
            }
            // Whether it is written is unknown, or where: it may be what was there, or not.
            let mut blind = old;
            blind.unknown |= unit.data & !address;
            blind.value &= !(unit.data & !address);
            let (start, end) = (blind, blind);
            self.step_held(unit, start, end, held);
        }
        let data = unit.data & !address;
        if acted == Word::known(1) && acting == none && moved & data != 0 {
            let origin = self.inputs(unit.cell, At::Origin);
            let both = data & !origin.unknown & !now.unknown;
            if (origin.value ^ now.value) & both != 0 {
                self.refuse_race(number, controls, moved & data);
            }
        }
        acted != none && acting == none
    }
}

/// A word with some bits of another one.
pub(super) fn mix(word: Word, other: Word, mask: u64) -> Word {
    Word { value: word.value & !mask | other.value & mask, unknown: word.unknown & !mask | other.unknown & mask }
}
