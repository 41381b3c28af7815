//! Nets on which a trial, a contact or a resistor to another net has a hand: worked out level by level.

use super::knot::Knot;
use super::machine::Machine;
use super::place::{PlaceKind, Source};
use super::signal::NEVER;
use crate::circuit::NetKey;
use crate::logic::network::Network;
use crate::logic::{Level, Word};
use crate::run::Driver;

impl Machine<'_> {
    /// Works a knot out.
    pub(super) fn settle_knot(&mut self, number: u32) {
        if let Some(mut network) = self.knots[number as usize].uncharged.take() {
            self.drive_knot(number, &mut network, false);
            for row in 0..self.knots[number as usize].nets.len() {
                self.charge(number, row, network.level(row as u32));
            }
            self.knots[number as usize].uncharged = Some(network);
        }
        let mut network = std::mem::take(&mut self.knots[number as usize].network);
        self.drive_knot(number, &mut network, true);
        for row in 0..self.knots[number as usize].nets.len() {
            let level = network.level(row as u32);
            let net = &mut self.knots[number as usize].nets[row];
            let level = net.fixed.unwrap_or(level);
            let moved = net.level != level;
            net.level = level;
            let (key, signal, fixed) = (net.net, net.signal, net.fixed.is_some());
            let fights = self.contends_on_knot(number, &network, row as u32);
            if level != Level::Z {
                self.last_drivers[key] = self.any_driver(number, &network, row as u32);
            }
            if fights != self.knots[number as usize].nets[row].fights || moved {
                self.knots[number as usize].nets[row].fights = fights;
                self.spells_moved.push(crate::key::Key::index(key) as u32);
            }
            if moved {
                self.note_moved |= self.signals[signal as usize].noted;
            }
            if !fixed {
                self.put_signal(signal, Word::from_level(level));
            }
        }
        self.knots[number as usize].network = network;
    }

    /// Lets a network know what drives the nets of a knot, with what its capacitors hold or without.
    fn drive_knot(&self, number: u32, network: &mut Network, charges: bool) {
        for (row, net) in (0..).zip(&self.knots[number as usize].nets) {
            let mut level = net.fixed.or(net.stimulus).unwrap_or(Level::Z);
            for &(drive, bit) in &net.drivers {
                level = level.resolve(self.drives[drive as usize].level(bit));
            }
            for pull in net.pulls.iter().filter(|it| charges || it.lag.is_none()) {
                level = level.resolve(pull.gives());
            }
            network.set_own(row, level);
        }
    }

    /// What drives a net of a knot beside its outputs: a stimulus, a rail, contacts and pulls to rails, and contacts to
    /// other nets of the knot.
    fn others<'k>(knot: &'k Knot, network: &'k Network, row: u32) -> impl Iterator<Item = (Driver, Level)> + 'k {
        let net = &knot.nets[row as usize];
        let stimulus = net.stimulus.map(|level| (Driver::Stimulus(net.net), level));
        let supply = net.fixed.map(|level| (Driver::Supply, level));
        let pulls = net.pulls.iter();
        let pulls = pulls.map(|pull| (Driver::Discrete(pull.link.discrete), pull.gives()));
        let contacts = network.given(row);
        let contacts = contacts.map(|(link, level)| (Driver::Discrete(knot.joins[link as usize]), level));
        stimulus.into_iter().chain(supply).chain(pulls).chain(contacts)
    }

    /// Strong levels of both kinds on one net.
    fn contends_on_knot(&self, number: u32, network: &Network, row: u32) -> bool {
        let knot = &self.knots[number as usize];
        let drivers = knot.nets[row as usize].drivers.iter();
        let outputs = drivers.map(|&(drive, bit)| self.drives[drive as usize].level(bit));
        let others = Self::others(knot, network, row).map(|(_, level)| level);
        let (mut low, mut high) = (false, false);
        for level in outputs.chain(others) {
            low |= level == Level::Zero;
            high |= level == Level::One;
        }
        low && high
    }

    /// What gives a net of a knot a level, beside outputs.
    pub(super) fn other_driver(&self, number: u32, row: u32, level: Level) -> Option<Driver> {
        let knot = &self.knots[number as usize];
        let mut others = Self::others(knot, &knot.network, row);
        others.find(|other| other.1 == level).map(|(driver, _)| driver)
    }

    /// What drives a net of a knot now, if anything does: the last in order.
    fn any_driver(&self, number: u32, network: &Network, row: u32) -> Option<Driver> {
        let knot = &self.knots[number as usize];
        let mut drivers = knot.nets[row as usize].drivers.iter();
        let output = drivers.find(|&&(drive, bit)| self.drives[drive as usize].level(bit) != Level::Z);
        let mut others = Self::others(knot, network, row);
        output
            .and_then(|&(drive, bit)| self.output_of(drive, bit))
            .or_else(|| others.find(|other| other.1 != Level::Z).map(|(driver, _)| driver))
    }

    /// A pull against a capacitor: at once what stronger drivers make of it, slowly when they have let go.
    fn charge(&mut self, number: u32, row: usize, others: Level) {
        let time = self.time;
        let net = &mut self.knots[number as usize].nets[row];
        for (at, pull) in net.pulls.iter_mut().enumerate() {
            let Some(lag) = pull.lag else { continue };
            match others {
                Level::Z if pull.due == NEVER && pull.charge != pull.target => {
                    pull.due = time.saturating_add(pull.time(lag));
                }
                Level::Zero | Level::One => (pull.charge, pull.due) = (others.weak(), NEVER),
                Level::U | Level::X | Level::Dash => (pull.charge, pull.due) = (Level::W, NEVER),
                _ => {}
            }
            let source = Source::Charge(number, (row << 8 | at) as u32);
            self.agenda.retain(|(_, other)| *other != source);
            if pull.due != NEVER {
                self.agenda.push((pull.due, source));
            }
        }
    }

    /// A capacitor has filled.
    pub(super) fn filled(&mut self, number: u32, row: u32) {
        let net = &mut self.knots[number as usize].nets[(row >> 8) as usize];
        let pull = &mut net.pulls[(row & 255) as usize];
        (pull.charge, pull.due) = (pull.target, NEVER);
        self.touch_knot(number);
    }

    /// The present level of a net.
    pub(super) fn level_now(&self, net: NetKey) -> Level {
        let place = self.places[net];
        let signal = &self.signals[place.signal as usize];
        match place.kind {
            PlaceKind::Fixed(level) => level,
            PlaceKind::Own => signal.now.bit(place.bit),
            PlaceKind::Bus(bus) => {
                let bus = &self.buses[bus as usize];
                match bus.drive.level(place.bit) {
                    Level::Z => bus.weak.level(place.bit).weak(),
                    level => level,
                }
            }
            PlaceKind::Knot(knot, row) => self.knots[knot as usize].nets[row as usize].level,
        }
    }
}
