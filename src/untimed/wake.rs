//! Power comes: what storage holds, and the levels that everything has before anything happens.

use super::delays::Delays;
use super::machine::Machine;
use super::pieces::Store;
use super::place::Source;
use super::signal::{ARMED, NONE, TICKED, TOUCHED};
use crate::logic::Word;

/// Rounds in which storage that is set by level comes to rest.
const MOST_ROUNDS: usize = 1_000;

impl Machine<'_> {
    /// The first levels, and when oscillators start.
    pub(super) fn power_up(&mut self, delays: &mut Delays<'_>) {
        for unit in &self.units {
            if unit.own != NONE {
                self.signals[unit.own as usize].now = Word::all_unknown(unit.own_mask);
            }
            if unit.state != NONE {
                let state = self.held[unit.cell as usize].state;
                self.signals[unit.state as usize].now =
                    Word { value: state.value & unit.states, unknown: state.unknown & unit.states };
            }
            if unit.shared != NONE {
                self.drives[unit.shared as usize].blur = unit.outputs;
            }
        }
        for bus in &self.buses {
            self.signals[bus.signal as usize].now = Word::all_unknown(bus.width);
        }
        for knot in &self.knots {
            for net in &knot.nets {
                self.signals[net.signal as usize].now = Word::all_unknown(1);
            }
        }
        let swings = |row: &(i64, Source)| matches!(row.1, Source::Oscillator(..));
        if self.agenda.iter().any(swings) {
            for (due, source) in &mut self.agenda {
                if let Source::Oscillator(unit, _) = source {
                    let cell = self.units[*unit as usize].cell;
                    let chip = self.cells[cell as usize].chip;
                    *due = delays.start_up(chip).ps().max(1);
                }
            }
        }
        self.fill_rows();
        self.mark_all();
    }

    /// Everything comes to rest around the storage as it woke up; no first level is an edge.
    pub(super) fn wake(&mut self) {
        self.awake = true;
        self.waking = true;
        for _ in 0..MOST_ROUNDS {
            self.settle_logic();
            for unit in 0..self.units.len() {
                if self.units[unit].store != Store::Nothing {
                    self.step(unit as u32);
                }
            }
            self.pending.dedup();
            let mut moves = false;
            for (signal, state) in std::mem::take(&mut self.pending) {
                moves |= self.signals[signal as usize].now != state;
                self.put_signal(signal, state);
            }
            if !moves {
                break;
            }
        }
        self.settle_logic();
        self.settle_sleepers();
        for sets in &mut self.sets {
            (sets.0[TICKED], sets.0[TOUCHED]) = (0, 0);
        }
        // Everything may store at its first clock.
        for place in self.unit_places.clone() {
            let place = place as usize;
            self.sets[place / 64].0[ARMED] |= 1 << (place % 64);
        }
        self.waking = false;
        self.hands = false;
        self.rings_moved = true;
        self.begin_spells();
        self.first_notes();
    }
}
