//! Power comes: what everything has before anything moves.

use super::chip::LONG_AGO;
use super::engine::{Reference, What};

impl Reference {
    /// Everything comes to rest around what is stored, without delay and without an edge. In turn all outputs follow, and
    /// then what is set by level.
    pub(super) fn wake(&mut self) {
        for net in 0..self.nets.len() {
            let (level, listeners) = (self.nets[net].level, self.nets[net].listeners.clone());
            for (chip, bit) in listeners {
                self.chips[chip].now[bit] = level.seen();
            }
            self.touched.insert(net);
        }
        self.first_charges();
        self.fire_all();
        // Storage that sets itself back and forth comes to no end.
        self.rests = (0..1_000).any(|_| !(self.rest() || self.settle_storage()));
        self.rests &= !self.writes_at_power_up;
        for chip in 0..self.chips.len() {
            self.chips[chip].arrivals.fill(LONG_AGO);
            let start = self.chips[chip].figures.start_up.max(1);
            if self.chips[chip].swinging.is_some() {
                self.push(start, What::Swing(chip));
            }
            self.first_timers(chip);
            self.force(chip);
        }
    }

    /// Lets all outputs have what they want; true when one has moved.
    fn rest(&mut self) -> bool {
        let mut moved = false;
        for at in 0..self.chips.len() {
            let chip = &mut self.chips[at];
            chip.seen.inputs.clone_from(&chip.now);
            chip.seen.nodes = chip.does.nodes(&chip.now, &chip.storage);
            chip.wanted = chip.does.drive(&chip.now, &chip.seen.nodes, &chip.storage);
            for (bit, wanted) in chip.wanted.clone().into_iter().enumerate() {
                let driver = self.chips[at].first_driver + bit;
                let level = wanted.driven();
                if self.drivers[driver].now != level {
                    self.drivers[driver].now = level;
                    self.arrive(driver, level);
                    moved = true;
                }
            }
        }
        self.fire_all();
        moved
    }

    fn settle_storage(&mut self) -> bool {
        let mut moved = false;
        for chip in &mut self.chips {
            let before = chip.storage.state.clone();
            let memories = chip.does.writes_by_level().then(|| chip.storage.memories.clone());
            let (was, now) = (chip.seen.clone(), chip.now.clone());
            chip.does.follow(&mut chip.storage, &was, &now, 0);
            moved |= chip.storage.state != before;
            self.writes_at_power_up |= memories.is_some_and(|was| was != chip.storage.memories);
        }
        moved
    }
}
