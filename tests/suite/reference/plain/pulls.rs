//! What resistors, contacts and capacitors between a circuit's nets are here, and how hands work them.

use super::engine::Reference;
use super::levels::Level;
use super::links::Link;
use coldboard::circuit::{Circuit, DiscreteKey, DiscreteKind, NetKey};
use coldboard::delay::rc_delay::{RcDelay, capacitor_on};
use coldboard::key::Key;
use coldboard::language::ast::Corner;
use coldboard::quantity::Resistance;

/// What a contact does when it closes.
#[derive(Clone, Copy, Debug)]
pub(super) enum Contact {
    /// A link between two nets.
    Between(usize),
    /// A driver that gives a net the level of a rail.
    ToRail(usize, Level),
}

/// A resistor to a rail on a net that has a capacitor.
#[derive(Clone, Debug)]
pub(super) struct Capacitor {
    net: usize,
    driver: usize,
    target: Level,
    /// Picoseconds to high and to low.
    lag: [i64; 2],
}

#[derive(Clone, Copy)]
enum Kind {
    Resistor(Resistance),
    /// The position at which it is closed, and whether a run begins so.
    Contact(u8, bool),
}

impl Reference {
    /// Adds the resistors and contacts of a circuit.
    pub(super) fn join(&mut self, circuit: &Circuit, corner: Corner) {
        for (key, discrete) in circuit.discretes.iter() {
            let net = |at: usize| discrete.nets.get(at).copied().flatten();
            let mut pairs: Vec<(usize, usize, Kind)> = Vec::new();
            let pins = discrete.nets.len();
            match discrete.kind {
                DiscreteKind::Resistor(ohms) => pairs.push((0, 1, Kind::Resistor(ohms))),
                DiscreteKind::Network(ohms, true) => {
                    pairs.extend((1..pins).map(|at| (0, at, Kind::Resistor(ohms))));
                }
                DiscreteKind::Network(ohms, false) => {
                    let each = (0..pins / 2).map(|at| (2 * at, 2 * at + 1, Kind::Resistor(ohms)));
                    pairs.extend(each);
                }
                DiscreteKind::Button | DiscreteKind::Switch => {
                    pairs.push((0, 1, Kind::Contact(1, false)));
                }
                DiscreteKind::Changeover => {
                    pairs.push((0, 1, Kind::Contact(1, true)));
                    pairs.push((0, 2, Kind::Contact(2, false)));
                }
                DiscreteKind::Capacitor(..) | DiscreteKind::Led(..) | DiscreteKind::TestPoint => {}
            }
            for (a, b, kind) in pairs {
                if let (Some(a), Some(b)) = (net(a), net(b))
                    && a != b
                {
                    self.add_link(circuit, corner, key, [a, b], kind);
                }
            }
        }
    }

    fn add_link(&mut self, circuit: &Circuit, corner: Corner, key: DiscreteKey, nets: [NetKey; 2], kind: Kind) {
        let contact = match nets.map(|net| self.nets[net.index()].fixed) {
            [Some(_), Some(_)] => return,
            [None, None] => {
                let rows = nets.map(|net| self.linked_row(net.index()));
                self.links.push(Link {
                    nets: rows,
                    is_resistor: matches!(kind, Kind::Resistor(_)),
                    closed: matches!(kind, Kind::Contact(_, true)),
                });
                Contact::Between(self.links.len() - 1)
            }
            [rail, other] => {
                let net = if rail.is_some() { nets[1] } else { nets[0] };
                let level = rail.or(other).expect("one of them is a rail");
                let (given, now) = match kind {
                    Kind::Resistor(_) => (level.weak(), level.weak()),
                    Kind::Contact(_, true) => (level, level),
                    Kind::Contact(_, false) => (level, Level::Z),
                };
                let driver = self.add_driver(Some(net.index()), now, 0);
                if let Kind::Resistor(ohms) = kind
                    && let Some((farads, start)) = capacitor_on(circuit, net)
                {
                    let lag = RcDelay::new(circuit, corner, net, ohms, farads);
                    let start = Level::from_char(start.to_char());
                    self.drivers[driver].now = start;
                    self.drivers[driver].on_net = start;
                    self.capacitors.push(Capacitor {
                        net: net.index(),
                        driver,
                        target: given,
                        lag: [lag.rise.ps(), lag.fall.ps()],
                    });
                }
                Contact::ToRail(driver, given)
            }
        };
        if let Kind::Contact(position, _) = kind {
            self.contacts.entry(key).or_default().push((position, contact));
        }
    }

    fn linked_row(&mut self, net: usize) -> usize {
        if let Some(row) = self.nets[net].linked {
            return row;
        }
        let row = self.linked_nets.len();
        self.linked_nets.push(net);
        self.nets[net].linked = Some(row);
        row
    }

    /// Works a contact: 0 is open, 1 closed or up, 2 down.
    pub(crate) fn contact(&mut self, discrete: DiscreteKey, position: u8) {
        let contacts = self.contacts.get(&discrete).cloned();
        for (closed_at, contact) in contacts.unwrap_or_default() {
            let closed = closed_at == position;
            match contact {
                Contact::Between(link) => {
                    self.links[link].closed = closed;
                    for row in self.links[link].nets {
                        self.touch(self.linked_nets[row]);
                    }
                }
                Contact::ToRail(driver, level) => {
                    let level = if closed { level } else { Level::Z };
                    self.schedule(driver, level, self.time);
                }
            }
        }
    }

    /// Power comes, with empty capacitors.
    pub(super) fn first_charges(&mut self) {
        for at in 0..self.capacitors.len() {
            let capacitor = self.capacitors[at].clone();
            let now = self.drivers[capacitor.driver].now;
            if now != capacitor.target {
                let due = capacitor.time();
                self.schedule(capacitor.driver, capacitor.target, due);
            }
        }
    }

    /// Pulls against capacitors: what drives the net strongly charges them at once, and when it has let go the pull takes
    /// its time.
    pub(super) fn charge_capacitors(&mut self, net: usize) {
        for at in 0..self.capacitors.len() {
            let capacitor = self.capacitors[at].clone();
            if capacitor.net != net {
                continue;
            }
            let but = Some(capacitor.driver);
            let others = match self.nets[net].linked {
                Some(row) => self.linked_levels(but)[row],
                None => self.own_level(net, but),
            };
            let driver = &mut self.drivers[capacitor.driver];
            match others {
                Level::Z if driver.due.is_none() => {
                    let due = self.time + capacitor.time();
                    self.schedule(capacitor.driver, capacitor.target, due);
                }
                Level::Z | Level::W | Level::L | Level::H => {}
                strong => {
                    driver.now = strong.weak();
                    driver.on_net = driver.now;
                    driver.due = None;
                }
            }
        }
    }
}

impl Capacitor {
    fn time(&self) -> i64 {
        self.lag[usize::from(self.target != Level::H)]
    }
}
