//! What a run notes on its way: contention, floating nets, forbidden uses; and who they are about.

use super::machine::Machine;
use super::pieces::bits;
use super::place::PlaceKind;
use super::signal::NONE;
use crate::circuit::NetKey;
use crate::key::Key;
use crate::logic::Level;
use crate::part::function::SampledInputs;
use crate::quantity::Time;
use crate::run::{Contention, Driver, Floating, Forbidden};

impl Machine<'_> {
    /// Contention on a net, and that nothing drives it while an input is on it.
    fn contends_and_floats(&self, net: NetKey) -> (bool, bool) {
        let place = self.places[net];
        match place.kind {
            PlaceKind::Bus(bus) => {
                let bus = &self.buses[bus as usize];
                let has = |mask: u64| mask >> place.bit & 1 == 1;
                (has(bus.fight), has(bus.floats))
            }
            PlaceKind::Knot(knot, row) => {
                let row = &self.knots[knot as usize].nets[row as usize];
                (row.fights, row.level == Level::Z && self.is_heard(net))
            }
            PlaceKind::Fixed(_) => {
                let rows = self.knots.iter().flat_map(|knot| &knot.nets);
                let contends = rows.filter(|row| row.net == net).any(|row| row.fights);
                (contends, false)
            }
            PlaceKind::Own => (false, false),
        }
    }

    /// Everything that contends or floats once power has come.
    pub(super) fn begin_spells(&mut self) {
        self.last_drivers.values_mut().for_each(|last| *last = None);
        for net in self.circuit.nets.keys() {
            self.follow_spell(net);
        }
        self.spells_moved.clear();
        self.buses_moved.clear();
        for bus in &mut self.buses {
            bus.told = (bus.fight, bus.floats);
            bus.unsettled = false;
        }
    }

    pub(super) fn follow_spells(&mut self) {
        while let Some(number) = self.buses_moved.pop() {
            let bus = &mut self.buses[number as usize];
            bus.unsettled = false;
            let now = (bus.fight, bus.floats);
            let was = std::mem::replace(&mut bus.told, now);
            for bit in bits((was.0 ^ now.0) | (was.1 ^ now.1)) {
                let net = self.buses[number as usize].nets[bit as usize];
                self.follow_spell(net);
            }
        }
        for at in 0..self.spells_moved.len() {
            let net = NetKey::from_index(self.spells_moved[at] as usize);
            self.follow_spell(net);
        }
        self.spells_moved.clear();
    }

    fn follow_spell(&mut self, net: NetKey) {
        let (contends, floats) = self.contends_and_floats(net);
        let (row, now) = (net.index(), Time::from_ps(self.time));
        if !contends {
            self.contentions[row].end(now);
        } else if self.contentions[row].begin(now) {
            let [low, high] = [Level::Zero, Level::One].map(|level| self.driver(net, level));
            self.contentions[row].name(low, high);
        }
        if floats {
            self.floats[row].begin(now, self.last_drivers[net]);
        } else {
            self.floats[row].end(now);
        }
    }

    /// Lines of a bus begin to float in this wave: remembers which of the outputs there drove them last.
    #[cold]
    pub(super) fn note_released(&mut self, number: u32, lines: u64) {
        let bus = &self.buses[number as usize];
        for driver in &self.bus_drivers[bus.drivers.0 as usize..bus.drivers.1 as usize] {
            let now = self.drives[driver.drive as usize];
            let before = self.given_before(driver.drive).unwrap_or(now);
            let released = before.driven() & !now.driven();
            for line in bits(released.rotate_left(driver.turn) & driver.mask & lines) {
                let output = (line + 64 - driver.turn) % 64;
                let net = bus.nets[line as usize];
                self.last_drivers[net] = self.output_of(driver.drive, output);
            }
        }
    }

    /// The pin of an output bit of the unit that a row of drives belongs to.
    pub(super) fn output_of(&self, drive: u32, output: u32) -> Option<Driver> {
        let unit = self.units.iter().find(|unit| unit.shared == drive)?;
        let cell = &self.cells[unit.cell as usize];
        let pin = cell.part.function.outputs[output as usize];
        Some(Driver::Output(cell.chip, pin))
    }

    /// One of the drivers that give a net a strong level.
    fn driver(&self, net: NetKey, level: Level) -> Driver {
        let outputs = self.units.iter().filter(|unit| unit.shared != NONE);
        for unit in outputs {
            let cell = &self.cells[unit.cell as usize];
            let nets = &self.circuit.chips[cell.chip].nets;
            let drive = &self.drives[unit.shared as usize];
            let mut pins = bits(unit.outputs)
                .filter(|&output| drive.level(output) == level)
                .map(|output| cell.part.function.outputs[output as usize]);
            if let Some(pin) = pins.find(|&pin| nets[pin] == Some(net)) {
                return Driver::Output(cell.chip, pin);
            }
        }
        let rows = self.knots.iter().zip(0..).flat_map(|(knot, number)| {
            let nets = knot.nets.iter().zip(0u32..);
            nets.map(move |(row, at)| (row.net, number, at))
        });
        let of_knot = rows.filter(|row| row.0 == net).find_map(|(_, knot, row)| self.other_driver(knot, row, level));
        of_knot.unwrap_or(Driver::Supply)
    }

    /// Nets on which outputs drove against each other, by net.
    pub fn contentions(&self) -> Vec<Contention> {
        let rows = self.contentions.iter().enumerate();
        rows.filter_map(|(net, log)| {
            let net = NetKey::from_index(net);
            log.finding(net, Time::from_ps(self.time), |driver| driver.path(self.circuit))
        })
        .collect()
    }

    /// Nets that floated while inputs were on them, by net.
    pub fn floating(&self) -> Vec<Floating> {
        let rows = self.floats.iter().enumerate();
        rows.filter_map(|(net, log)| {
            let net = NetKey::from_index(net);
            let input = || {
                let (chip, pin) = self.listener(net)?;
                Some(self.circuit.pin_path(chip, pin))
            };
            log.finding(net, Time::from_ps(self.time), input, |driver| driver.path(self.circuit))
        })
        .collect()
    }

    // ---- forbidden uses -----------------------------------------------------------------------------------------

    pub(super) fn look_for_forbidden(&mut self, cell: u32, seen: SampledInputs) {
        let part = std::sync::Arc::clone(&self.cells[cell as usize].part);
        let held = &self.held[cell as usize];
        let found = part.function.forbidden(seen, held, &mut self.scratch);
        self.log_forbidden(cell, &found);
    }

    pub(super) fn log_forbidden(&mut self, cell: u32, found: &[usize]) {
        for (at, log) in self.forbids[cell as usize].iter_mut().enumerate() {
            log.follow(Time::from_ps(self.time), found.contains(&at));
        }
    }

    /// Forbidden uses, by chip.
    pub fn forbidden(&self) -> Vec<Forbidden> {
        let mut found = Vec::new();
        for (cell, rows) in self.cells.iter().zip(&self.forbids) {
            for (at, log) in rows.iter().enumerate().filter(|row| row.1.count > 0) {
                found.push(Forbidden {
                    chip: cell.chip,
                    text: cell.part.function.forbid_text(at).to_owned(),
                    count: log.count,
                    first: log.first(),
                });
            }
        }
        found
    }
}
