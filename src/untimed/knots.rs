//! Nets on which a trial, a contact or a resistor to another net has a hand: worked out level by level.

use super::machine::{Drive, Machine, NEVER, PlaceKind, Source};
use crate::circuit::{Circuit, DiscreteKey, DiscreteKind, NetKey};
use crate::delay::lag::{Lag, capacitor_on, rail_level};
use crate::language::ast::Corner;
use crate::logic::network::Network;
use crate::logic::{Level, Word};
use crate::quantity::Resistance;
use crate::run::Driver;
use std::collections::BTreeMap;

/// A resistor or a contact between two nets.
#[derive(Clone, Copy, Debug)]
pub(super) struct Link {
    pub(super) discrete: DiscreteKey,
    pub(super) nets: [NetKey; 2],
    pub(super) ohms: Option<Resistance>,
    /// For a contact, the position that closes it.
    position: u8,
    closed: bool,
}

/// Nets that contacts and resistors join, or one net with a stimulus or a slow pull.
#[derive(Clone, Debug, Default)]
pub(super) struct Knot {
    pub(super) nets: Vec<KnotNet>,
    /// The links between its nets, which are the nodes, by their rows.
    network: Network,
    /// The same without what capacitors hold, if there are any.
    uncharged: Option<Network>,
    contacts: BTreeMap<DiscreteKey, Vec<Contact>>,
    /// The discrete of each link of the network.
    joins: Vec<DiscreteKey>,
}

/// A contact of a knot.
#[derive(Clone, Copy, Debug)]
enum Contact {
    /// Between two nets: its number in the network, and the position that closes it.
    Inner(u32, u8),
    /// To a rail: the row of the net, and which of its pulls.
    Rail(usize, usize),
}

#[derive(Clone, Debug)]
pub(super) struct KnotNet {
    pub(super) net: NetKey,
    pub(super) signal: u32,
    /// Rows of drives with the output bit.
    pub(super) drivers: Vec<(u32, u32)>,
    /// What a trial drives, for nets that it may drive.
    pub(super) stimulus: Option<Level>,
    pub(super) fixed: Option<Level>,
    pulls: Vec<Pull>,
    pub(super) level: Level,
    pub(super) fights: bool,
}

/// A resistor or a contact to a rail.
#[derive(Clone, Debug)]
struct Pull {
    link: Link,
    rail: Level,
    /// Against a capacitor: the times to high and low in picoseconds, the charge, and where it goes next.
    lag: Option<Lag>,
    charge: Level,
    target: Level,
    due: i64,
}

/// All resistors and contacts.
pub(super) fn links(circuit: &Circuit) -> Vec<Link> {
    let mut links = Vec::new();
    for (discrete, row) in circuit.discretes.iter() {
        let pin = |at: usize| row.nets.get(at).copied().flatten();
        let mut join = |a: usize, b: usize, ohms: Option<Resistance>, position, closed| {
            if let (Some(a), Some(b)) = (pin(a), pin(b))
                && a != b
            {
                links.push(Link {
                    discrete,
                    nets: [a, b],
                    ohms,
                    position,
                    closed,
                });
            }
        };
        let count = row.nets.len();
        match row.kind {
            DiscreteKind::Resistor(ohms) => join(0, 1, Some(ohms), 0, true),
            DiscreteKind::Network(ohms, true) => {
                (1..count).for_each(|at| join(0, at, Some(ohms), 0, true));
            }
            DiscreteKind::Network(ohms, false) => {
                (0..count / 2).for_each(|at| join(2 * at, 2 * at + 1, Some(ohms), 0, true));
            }
            DiscreteKind::Button | DiscreteKind::Switch => join(0, 1, None, 1, false),
            DiscreteKind::Changeover => {
                join(0, 1, None, 1, true);
                join(0, 2, None, 2, false);
            }
            DiscreteKind::Capacitor(..) | DiscreteKind::Led(..) | DiscreteKind::TestPoint => {}
        }
    }
    links
}

impl Pull {
    fn new(circuit: &Circuit, corner: Corner, link: Link, net: NetKey, rail: Level) -> Pull {
        let mut pull = Pull {
            link,
            rail,
            lag: None,
            charge: Level::Z,
            target: rail.weak(),
            due: NEVER,
        };
        if let Some(ohms) = link.ohms
            && let Some((capacitance, start)) = capacitor_on(circuit, net)
        {
            let lag = Lag::new(circuit, corner, net, ohms, capacitance);
            pull.lag = Some(lag);
            pull.charge = start;
            if start != pull.target {
                pull.due = pull.time(lag);
            }
        }
        pull
    }

    fn time(&self, lag: Lag) -> i64 {
        lag.to(self.target)
    }

    fn gives(&self) -> Level {
        match (self.lag, self.link.closed, self.link.ohms) {
            (Some(_), ..) => self.charge,
            (None, false, _) => Level::Z,
            (None, true, Some(_)) => self.rail.weak(),
            (None, true, None) => self.rail,
        }
    }
}

impl Knot {
    /// A knot of some nets; `links` are all that touch them.
    pub(super) fn new(circuit: &Circuit, corner: Corner, nets: &[NetKey], links: &[Link]) -> Knot {
        let mut knot = Knot::default();
        for &net in nets {
            knot.nets.push(KnotNet {
                net,
                signal: 0,
                drivers: Vec::new(),
                stimulus: None,
                fixed: rail_level(circuit, net),
                pulls: Vec::new(),
                level: Level::U,
                fights: false,
            });
        }
        let rows: BTreeMap<NetKey, usize> = nets.iter().copied().zip(0..).collect();
        knot.network = Network::new(nets.len());
        for &link in links {
            let ends = link
                .nets
                .map(|net| (rows.get(&net), rail_level(circuit, net)));
            let contact = match ends {
                [(Some(&a), None), (Some(&b), None)] => {
                    let ends = [a as u32, b as u32];
                    knot.joins.push(link.discrete);
                    if link.ohms.is_some() {
                        knot.network.add_resistor(ends);
                        continue;
                    }
                    let number = knot.network.add_contact(ends);
                    knot.network.set_closed(number, link.closed);
                    Contact::Inner(number, link.position)
                }
                [(Some(&a), None), (_, Some(rail))] | [(_, Some(rail)), (Some(&a), None)] => {
                    let pull = Pull::new(circuit, corner, link, nets[a], rail);
                    knot.nets[a].pulls.push(pull);
                    Contact::Rail(a, knot.nets[a].pulls.len() - 1)
                }
                _ => continue,
            };
            if link.ohms.is_none() {
                knot.contacts
                    .entry(link.discrete)
                    .or_default()
                    .push(contact);
            }
        }
        let mut pulls = knot.nets.iter().flat_map(|net| &net.pulls);
        if pulls.any(|pull| pull.lag.is_some()) {
            knot.uncharged = Some(knot.network.clone());
        }
        knot
    }

    /// Moves a contact; true when it is one of its own.
    pub(super) fn set_contact(&mut self, discrete: DiscreteKey, position: u8) -> bool {
        let Some(contacts) = self.contacts.get(&discrete) else {
            return false;
        };
        for &contact in contacts {
            match contact {
                Contact::Inner(number, closed_at) => {
                    for network in self.uncharged.iter_mut().chain([&mut self.network]) {
                        network.set_closed(number, closed_at == position);
                    }
                }
                Contact::Rail(row, at) => {
                    let link = &mut self.nets[row].pulls[at].link;
                    link.closed = link.position == position;
                }
            }
        }
        true
    }
}

impl Drive {
    /// The level of one bit.
    pub(super) fn level(&self, bit: u32) -> Level {
        let has = |mask: u64| mask >> bit & 1 == 1;
        match (has(self.one), has(self.zero), has(self.blur)) {
            (_, _, true) | (true, true, _) => Level::X,
            (true, ..) => Level::One,
            (_, true, _) => Level::Zero,
            _ => Level::Z,
        }
    }
}

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
    fn others<'k>(
        knot: &'k Knot,
        network: &'k Network,
        row: u32,
    ) -> impl Iterator<Item = (Driver, Level)> + 'k {
        let net = &knot.nets[row as usize];
        let stimulus = net.stimulus.map(|level| (Driver::Stimulus(net.net), level));
        let supply = net.fixed.map(|level| (Driver::Supply, level));
        let pulls = net.pulls.iter();
        let pulls = pulls.map(|pull| (Driver::Discrete(pull.link.discrete), pull.gives()));
        let contacts = network.given(row);
        let contacts =
            contacts.map(|(link, level)| (Driver::Discrete(knot.joins[link as usize]), level));
        stimulus
            .into_iter()
            .chain(supply)
            .chain(pulls)
            .chain(contacts)
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
        others
            .find(|other| other.1 == level)
            .map(|(driver, _)| driver)
    }

    /// What drives a net of a knot now, if anything does: the last in order.
    fn any_driver(&self, number: u32, network: &Network, row: u32) -> Option<Driver> {
        let knot = &self.knots[number as usize];
        let mut drivers = knot.nets[row as usize].drivers.iter();
        let output =
            drivers.find(|&&(drive, bit)| self.drives[drive as usize].level(bit) != Level::Z);
        let mut others = Self::others(knot, network, row);
        output
            .and_then(|&(drive, bit)| self.output_of(drive, bit))
            .or_else(|| {
                others
                    .find(|other| other.1 != Level::Z)
                    .map(|(driver, _)| driver)
            })
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
