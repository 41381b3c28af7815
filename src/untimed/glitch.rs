//! Gates before clocks, clears and enables that may give a pulse when several of their inputs move at once; and what
//! else comes out by delays alone, put into words.
//!
//! A gate whose inputs move in one wave may see them move in any order. Its output is free of pulses when it goes from
//! its old level to its new one without coming back, whichever order that is (E. B. Eichelberger, "Hazard detection in
//! combinational and sequential switching circuits", 1965).

use super::machine::Machine;
use super::pieces::{Guard, Plan, Unit, bits};
use super::row::Outputs;
use super::settle::At;
use super::signal::{DIRTY, NONE, OPEN};
use crate::circuit::NetKey;
use crate::hazard::orders::pulses_by_orders;
use crate::logic::Word;
use crate::quantity::Time;
use crate::run::Refusal;
use crate::text::Span;

/// Orders of so many inputs are tried; of more, any pulse that an unknown level could give counts.
const MOST_MOVED: u32 = 6;
/// The pulses of pieces with so many inputs are kept.
const MOST_KEPT: u32 = 5;
/// In place of pulses: the orders have not been tried yet.
pub(super) const UNTRIED: u16 = u16::MAX;

impl Machine<'_> {
    /// Looks whether an output may give a pulse in this wave.
    pub(super) fn watch_for_glitches(&mut self, number: u32, outputs: Outputs) {
        let unit = &self.units[number as usize];
        let pulses = match unit.plan {
            Plan::Table { gather, first, fill } if outputs.blur == 0 => {
                let guarded = unit.guarded;
                self.pulses_of_table(gather, (first, fill), guarded)
            }
            _ => None,
        };
        let pulses = match pulses {
            Some(pulses) => pulses,
            None => self.pulses_of_function(number, outputs),
        } & self.units[number as usize].guarded;
        if pulses == 0 {
            return;
        }
        let unit = &self.units[number as usize];
        if let Guard::Pins(pins) = unit.guard
            && pulses & pins != 0
        {
            return self.refuse_glitch(number, (pulses & pins).trailing_zeros());
        }
        let (cell, guard) = (unit.cell as usize, unit.guard);
        if guard == Guard::No {
            return;
        }
        for output in bits(pulses) {
            let pin = self.cells[cell].part.function.outputs[output as usize];
            let Some(net) = self.circuit.chips[self.cells[cell].chip].nets[pin] else {
                continue;
            };
            let place = self.places[net];
            self.mark_glitch(place.signal, place.bit);
        }
    }

    /// A line may have a pulse in this wave: what comes behind has to look at it, although the level is the old one.
    pub(super) fn mark_glitch(&mut self, number: u32, bit: u32) {
        let signal = &mut self.signals[number as usize];
        if signal.glitch_wave != self.wave {
            (signal.glitch_wave, signal.glitches) = (self.wave, 0);
        }
        if signal.glitches >> bit & 1 == 1 {
            return;
        }
        signal.glitches |= 1 << bit;
        self.glitched = self.wave;
        for tap in &self.taps[signal.taps.0 as usize..signal.taps.1 as usize] {
            if tap.mask.rotate_right(tap.turn) >> bit & 1 == 1 {
                self.sets[tap.word as usize].0[DIRTY] |= tap.bit;
            }
        }
        let (first, last) = signal.listeners;
        for listener in &self.listeners[first as usize..last as usize] {
            if usize::from(listener.set) == DIRTY && listener.bits >> bit & 1 == 1 {
                self.sets[listener.word as usize].0[DIRTY] |= listener.mask;
            }
        }
    }

    /// The outputs that may give a pulse, by trying all orders; `None` when there are too many, or unknown levels.
    fn pulses_of_table(&mut self, gather: (u32, u32), (first, fill): (u32, u32), guarded: u64) -> Option<u64> {
        let (mut new, mut old, mut unsure, mut unknown) = (0u64, 0u64, 0u64, 0u64);
        for segment in &self.segments[gather.0 as usize..gather.1 as usize] {
            let signal = &self.signals[segment.signal as usize];
            let was = if signal.wave == self.wave { signal.was } else { signal.now };
            let place = |bits: u64| bits.rotate_left(segment.turn) & segment.mask;
            new |= place(signal.now.value);
            old |= place(was.value);
            unknown |= place(signal.now.unknown | was.unknown);
            if signal.glitch_wave == self.wave {
                unsure |= place(signal.glitches);
            }
        }
        let moved = new ^ old;
        let one_line = moved & moved.wrapping_sub(1) == 0;
        if one_line && unsure == 0 && unknown == 0 {
            return Some(0);
        }
        let free = moved | unsure;
        if unknown != 0 || free.count_ones() > MOST_MOVED {
            return None;
        }
        let row = |index| self.look_up(first, fill, index);
        Some(pulses_by_orders(row, (old, new), unsure, guarded))
    }

    /// Makes room for the pulses of a small guarded piece, for all that it may be looked up by before and after, so that
    /// they need not be tried again; returns the first row and the number of bits.
    pub(super) fn add_pulses(&mut self, number: u32) -> Option<(u32, u32)> {
        let unit = &self.units[number as usize];
        let Plan::Table { gather, .. } = unit.plan else {
            return None;
        };
        let segments = &self.segments[gather.0 as usize..gather.1 as usize];
        let bits = segments.iter().map(|segment| segment.mask.count_ones());
        let width: u32 = bits.sum();
        if width > MOST_KEPT {
            return None;
        }
        let first = self.pulses.len();
        self.pulses.resize(first + (1 << (2 * width)), UNTRIED);
        Some((first as u32, width))
    }

    /// The outputs of a small guarded piece that may give a pulse between two rows of its table.
    #[cold]
    pub(super) fn pulses_between(&mut self, number: u32, rows: (u64, u64)) -> u16 {
        let unit = &self.units[number as usize];
        let (guarded, plan) = (unit.guarded, unit.plan);
        let Plan::Table { first, fill, .. } = plan else {
            return UNTRIED;
        };
        let row = |index| self.look_up(first, fill, index);
        (pulses_by_orders(row, rows, 0, guarded) & guarded) as u16
    }

    /// The same for all at once: what has moved is unknown for a while.
    fn pulses_of_function(&mut self, number: u32, outputs: Outputs) -> u64 {
        let unit = self.units[number as usize].clone();
        let now = self.inputs(unit.cell, At::Now);
        let was = self.inputs(unit.cell, At::Before);
        let moved = ((was.value ^ now.value) | (was.unknown ^ now.unknown)) & unit.drive_inputs;
        let unsure = self.unsure_inputs(&unit) & unit.drive_inputs;
        if unsure == 0 && self.is_one_line(&unit, moved) {
            return 0;
        }
        let free = moved | unsure;
        let between = Word { value: now.value & !free, unknown: now.unknown | free };
        let before = self.full(number, Some(was));
        let between = self.full(number, Some(between));
        // What is unknown before or behind is no level that could be passed on as known.
        between.blur & !before.blur & !outputs.blur
    }

    pub(super) fn unsure_inputs(&self, unit: &Unit) -> u64 {
        let (first, last) = self.cells[unit.cell as usize].gather;
        let segments = &self.segments[first as usize..last as usize];
        segments.iter().fold(0, |unsure, segment| {
            let signal = &self.signals[segment.signal as usize];
            if signal.glitch_wave == self.wave {
                unsure | signal.glitches.rotate_left(segment.turn) & segment.mask
            } else {
                unsure
            }
        })
    }

    fn is_one_line(&self, unit: &Unit, inputs: u64) -> bool {
        let cell = &self.cells[unit.cell as usize];
        let mut lines = bits(inputs).map(|input| self.line(cell, input));
        let first = lines.next();
        lines.all(|line| Some(line) == first)
    }

    // ---- refusals -----------------------------------------------------------------------------------------------

    pub(super) fn refuse(&mut self, place: String, sentence: String, span: Span) {
        if self.refusal.is_none() {
            self.refusal = Some(Refusal { time: Time::from_ps(self.time), place, sentence, span });
        }
    }

    fn net_of(&self, signal: u32, bit: u32) -> Option<NetKey> {
        let mut nets = self.circuit.nets.keys();
        nets.find(|&net| (self.places[net].signal, self.places[net].bit) == (signal, bit))
    }

    pub(super) fn refuse_twice(&mut self, signal: u32, moved: u64) {
        let net = self.net_of(signal, moved.trailing_zeros());
        let Some(net) = net.map(|net| &self.circuit.nets[net]) else {
            return;
        };
        let sentence =
            format!("{} clocks, clears or enables storage with a pulse that is as wide as a delay", net.path);
        let (place, span) = (net.path.clone(), net.span);
        self.refuse(place, sentence, span);
    }

    pub(super) fn refuse_handover(&mut self, signal: u32, line: u32) {
        let net = self.net_of(signal, line);
        let Some(net) = net.map(|net| &self.circuit.nets[net]) else {
            return;
        };
        let sentence = format!(
            "{} clocks, clears or enables storage, and may give a pulse: one driver lets go of it as another takes it",
            net.path
        );
        let (place, span) = (net.path.clone(), net.span);
        self.refuse(place, sentence, span);
    }

    pub(super) fn refuse_glitch(&mut self, number: u32, output: u32) {
        let cell = &self.cells[self.units[number as usize].cell as usize];
        let chip = &self.circuit.chips[cell.chip];
        let path = self.circuit.pin_path(cell.chip, cell.part.function.outputs[output as usize]);
        let sentence = format!(
            "{path} clocks, clears or enables storage, and may give a pulse: several inputs of the gate move at once"
        );
        let span = chip.span;
        self.refuse(path, sentence, span);
    }

    /// The names of some inputs of a unit.
    fn input_names(&self, number: u32, inputs: u64) -> String {
        let cell = &self.cells[self.units[number as usize].cell as usize];
        let function = &cell.part.function;
        let names = bits(inputs).take(4);
        let names: Vec<&str> =
            names.map(|input| cell.part.pins[function.inputs[input as usize]].name.as_str()).collect();
        names.join(", ")
    }

    pub(super) fn refuse_race(&mut self, number: u32, controls: u64, moved: u64) {
        let cell = &self.cells[self.units[number as usize].cell as usize];
        let chip = &self.circuit.chips[cell.chip];
        let (place, span) = (chip.path.clone(), chip.span);
        let sentence = format!(
            "{place} ({}) stores one thing or another by which comes first, {} or {}: both follow from the same edge",
            chip.number,
            self.input_names(number, controls),
            self.input_names(number, if moved == controls { controls } else { moved & !controls }),
        );
        self.refuse(place, sentence, span);
    }

    pub(super) fn refuse_address(&mut self, number: u32) {
        let cell = &self.cells[self.units[number as usize].cell as usize];
        let chip = &self.circuit.chips[cell.chip];
        let (place, span) = (chip.path.clone(), chip.span);
        let sentence = format!("the address of {place} ({}) moves while it is written", chip.number);
        self.refuse(place, sentence, span);
    }

    pub(super) fn refuse_skew(&mut self, number: u32) {
        let cell = &self.cells[self.units[number as usize].cell as usize];
        let chip = &self.circuit.chips[cell.chip];
        let (place, span) = (chip.path.clone(), chip.span);
        let sentence = format!(
            "{place} ({}) has a later clock or enable than the storage before it: by the sheets the new byte may overtake it",
            chip.number
        );
        self.refuse(place, sentence, span);
    }

    pub(super) fn refuse_endless(&mut self) {
        let moving = self.units.iter().find(|unit| {
            let signals = [unit.state, unit.own].into_iter();
            let mut signals = signals.filter(|&signal| signal != NONE);
            signals.any(|signal| self.signals[signal as usize].wave == self.wave)
        });
        let Some(unit) = moving.or(self.units.first()) else {
            return;
        };
        let chip = &self.circuit.chips[self.cells[unit.cell as usize].chip];
        let (place, span) = (chip.path.clone(), chip.span);
        let sentence = format!("nothing comes to rest: {place} moves again and again as fast as its delays");
        self.refuse(place, sentence, span);
    }

    /// Looks whether every ring is broken somewhere.
    pub(super) fn look_at_rings(&mut self) {
        for at in 0..self.rings.len() {
            let mut driving = 0u64;
            for (gate, breaker) in self.rings[at].breakers.iter().enumerate() {
                let drives = if breaker.latch {
                    let place = self.unit_places[breaker.unit as usize] as usize;
                    self.sets[place / 64].0[OPEN] >> (place % 64) & 1 == 1
                } else {
                    let shared = self.units[breaker.unit as usize].shared;
                    // What drives no shared net never goes high-impedance.
                    self.drives.get(shared as usize).is_none_or(|drive| (drive.one | drive.zero) & breaker.outputs != 0)
                };
                driving |= u64::from(drives) << gate;
            }
            if self.rings[at].is_broken(driving) {
                continue;
            }
            let breaker = &self.rings[at].breakers[driving.trailing_zeros() as usize];
            let (unit, outputs) = (breaker.unit, breaker.outputs);
            let cell = &self.cells[self.units[unit as usize].cell as usize];
            let span = self.circuit.chips[cell.chip].span;
            let pin = cell.part.function.outputs[outputs.trailing_zeros() as usize];
            let place = self.circuit.pin_path(cell.chip, pin);
            let sentence = format!("{place} drives itself in a ring of buffers that are on and latches that are open");
            self.refuse(place, sentence, span);
        }
    }
}
