//! Loops of gates that drive their nets alone: cross-coupled gates that store by feeding each other, as in a debounced
//! switch.
//!
//! A loop settles by ternary simulation (E. B. Eichelberger, "Hazard detection in combinational and sequential switching
//! circuits", 1965): first every input from outside that moves is unknown, until nothing else becomes unknown; then it has
//! its new level, until nothing else becomes known. What is known then is so whatever the delays of the gates are. What has
//! become unknown is a race: both inputs of a latch released together, or a loop that oscillates.

use super::machine::Machine;
use super::pieces::{Guard, bits};
use super::place::PlaceKind;
use super::ring::{Loop, Member};
use super::settle::At;
use super::signal::NONE;
use crate::circuit::NetKey;
use crate::key::Key;
use crate::logic::Word;

impl Machine<'_> {
    /// Makes a loop of some nets, which these units drive; false when there is more to it than gates that drive a net
    /// each.
    pub(super) fn add_loop(&mut self, nets: &[u32], units: Vec<u32>) -> bool {
        let is_own = |&net: &u32| {
            let net = NetKey::from_index(net as usize);
            self.places[net].kind == PlaceKind::Own
        };
        let is_gate = |&unit: &u32| {
            let unit = &self.units[unit as usize];
            unit.state == NONE && unit.shared == NONE && unit.looped == NONE
        };
        if !nets.iter().all(is_own) || !units.iter().all(is_gate) {
            return false;
        }
        let number = self.loops.len() as u32;
        for &unit in &units {
            self.units[unit as usize].looped = number;
        }
        self.loops.push(Loop {
            members: units.into_iter().map(|unit| Member { unit, inner: 0, seen: Word::default() }).collect(),
        });
        true
    }

    /// Finds which inputs of each gate of a loop its own outputs drive.
    pub(super) fn link_loops(&mut self) {
        for at in 0..self.loops.len() {
            let members = self.loops[at].members.iter();
            let outputs: Vec<u32> = members.map(|member| self.units[member.unit as usize].own).collect();
            for row in 0..outputs.len() {
                let unit = &self.units[self.loops[at].members[row].unit as usize];
                let cell = &self.cells[unit.cell as usize];
                let inner = bits(unit.drive_inputs)
                    .filter(|&input| outputs.contains(&self.line(cell, input).0))
                    .fold(0, |mask, input| mask | 1 << input);
                self.loops[at].members[row].inner = inner;
            }
        }
    }

    /// Lets a loop settle.
    pub(super) fn settle_loop(&mut self, number: u32) {
        let mut members = std::mem::take(&mut self.loops[number as usize].members);
        let start: Vec<Word> = members.iter().map(|member| self.shown(member.unit)).collect();
        let mut levels = start.clone();
        let (mut doubt, mut inputs) = (false, Vec::new());
        for member in &mut members {
            let unit = self.units[member.unit as usize].clone();
            let now = self.inputs(unit.cell, At::Now);
            let outer = unit.drive_inputs & !member.inner;
            let differs = (now.value ^ member.seen.value) | (now.unknown ^ member.seen.unknown);
            let moved = (differs | self.unsure_inputs(&unit)) & outer;
            doubt |= now.unknown & outer != 0;
            member.seen = now;
            inputs.push((now, moved));
        }
        if self.waking {
            for (level, member) in levels.iter_mut().zip(&members) {
                *level = Word::all_unknown(self.units[member.unit as usize].own_mask);
            }
        } else {
            self.spread(&members, &inputs, &mut levels);
        }
        let between = levels.clone();
        self.resolve(&members, &inputs, &mut levels);
        for (row, member) in members.iter().enumerate() {
            let (was, now) = (start[row], levels[row]);
            let lost = now.unknown & !was.unknown;
            if lost != 0 && !doubt && !self.waking {
                self.refuse_loop(member.unit, lost.trailing_zeros());
            }
            let pulses = between[row].unknown & !was.unknown & !now.unknown & !(was.value ^ now.value);
            self.guard_loop(member.unit, pulses);
            let own = self.units[member.unit as usize].own;
            self.put_signal(own, now);
        }
        self.loops[number as usize].members = members;
    }

    /// The present levels of the outputs of a gate.
    fn shown(&self, unit: u32) -> Word {
        self.signals[self.units[unit as usize].own as usize].now
    }

    /// Lets unknown levels spread from the inputs that move.
    fn spread(&mut self, members: &[Member], inputs: &[(Word, u64)], levels: &mut [Word]) {
        let mut moves = true;
        while moves {
            moves = false;
            for row in 0..members.len() {
                let (now, moved) = inputs[row];
                let outer = Word { value: now.value & !moved, unknown: now.unknown | moved };
                let found = self.gate(members, row, outer, levels);
                let level = &mut levels[row];
                let unknown = level.unknown | found.unknown | (level.value ^ found.value);
                moves |= unknown != level.unknown;
                *level = Word { value: level.value & !unknown, unknown };
            }
        }
    }

    /// Lets known levels spread once the inputs have moved.
    fn resolve(&mut self, members: &[Member], inputs: &[(Word, u64)], levels: &mut [Word]) {
        let mut moves = true;
        while moves {
            moves = false;
            for row in 0..members.len() {
                let found = self.gate(members, row, inputs[row].0, levels);
                let level = &mut levels[row];
                let learnt = level.unknown & !found.unknown;
                moves |= learnt != 0;
                level.value |= found.value & learnt;
                level.unknown &= !learnt;
            }
        }
    }

    /// The outputs of a gate for these inputs from outside, and these levels of the loop.
    fn gate(&mut self, members: &[Member], row: usize, outer: Word, levels: &[Word]) -> Word {
        let member = &members[row];
        let unit = &self.units[member.unit as usize];
        let cell = &self.cells[unit.cell as usize];
        let mut inputs = outer;
        for input in bits(member.inner) {
            let (signal, bit) = self.line(cell, input);
            let driver = members.iter().position(|other| self.units[other.unit as usize].own == signal);
            let level = driver.map_or(Word::all_unknown(1), |driver| levels[driver].slice(bit, 1));
            let mask = 1 << input;
            inputs.value = inputs.value & !mask | (level.value & 1) << input;
            inputs.unknown = inputs.unknown & !mask | (level.unknown & 1) << input;
        }
        let mask = unit.own_mask;
        let found = self.full(member.unit, Some(inputs));
        Word { value: found.value & mask, unknown: found.blur & mask }
    }

    /// Outputs of a gate that may have had a pulse, where that matters.
    fn guard_loop(&mut self, number: u32, pulses: u64) {
        let unit = &self.units[number as usize];
        let pulses = pulses & unit.guarded;
        if pulses == 0 || self.waking {
            return;
        }
        let own = unit.own;
        if let Guard::Pins(pins) = unit.guard
            && pulses & pins != 0
        {
            return self.refuse_glitch(number, (pulses & pins).trailing_zeros());
        }
        for output in bits(pulses) {
            self.mark_glitch(own, output);
        }
    }

    fn refuse_loop(&mut self, number: u32, output: u32) {
        let cell = &self.cells[self.units[number as usize].cell as usize];
        let pin = cell.part.function.outputs[output as usize];
        let place = self.circuit.pin_path(cell.chip, pin);
        let span = self.circuit.chips[cell.chip].span;
        let sentence = format!(
            "{place} is in a loop of gates, and what it comes to is decided by their delays: inputs of the loop were released together, or it oscillates"
        );
        self.refuse(place, sentence, span);
    }
}
