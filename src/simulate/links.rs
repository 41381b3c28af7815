//! Resistors, buttons and switches: what passes a level from one net to another.
//!
//! A resistor passes a level on as a weak one; a closed contact passes it as it is. What each link between two nets gives
//! to either is found in a [`Network`], from the drivers that are no such links: no loop of links can hold itself up.
//! When a driver or a contact moves, only the links are scheduled that give another level than before. A pull resistor on
//! a net with a capacitor moves it only after the time that the two need to pass the threshold of the input on it.

use super::driver::Owner;
use super::number::row;
use crate::circuit::{Circuit, DiscreteKey, NetKey};
use crate::delay::rc_delay::{RcDelay, capacitor_on};
use crate::key::KeyVec;
use crate::language::ast::Corner;
use crate::logic::Level;
use crate::logic::network::{End, Network};
use crate::quantity::Time;
use crate::run::{Joint, joints};
use std::collections::BTreeMap;

/// One resistor or contact between two nets.
#[derive(Clone, Copy, Debug)]
pub(super) struct Link {
    pub(super) ends: [LinkEnd; 2],
    pub(super) weak: bool,
    pub(super) closed: bool,
    pub(super) rc_delay: Option<RcDelay>,
    /// Its number in the network, when neither end is a rail.
    pub(super) inner: Option<u32>,
}

/// Where a link is connected to a net.
#[derive(Clone, Copy, Debug)]
pub(super) struct LinkEnd {
    pub(super) net: NetKey,
    /// The level of a rail, which never moves.
    pub(super) rail: Option<Level>,
    /// What the link drives onto this net; nothing on a rail.
    pub(super) driver: Option<u32>,
}

/// All links of a circuit.
#[derive(Clone, Debug, Default)]
pub(super) struct Links {
    pub(super) links: Vec<Link>,
    pub(super) at_net: KeyVec<NetKey, Vec<u32>>,
    /// Those of each net that lead to a rail.
    pub(super) to_rails: KeyVec<NetKey, Vec<u32>>,
    pub(super) contacts: BTreeMap<DiscreteKey, Vec<(u32, u8)>>,
    pub(super) first: Vec<(u32, Level, Time)>,
    /// The links between nets that are no rails.
    pub(super) network: Network,
    /// The node of each net in it; none for nets without such a link.
    pub(super) node_of: KeyVec<NetKey, Option<u32>>,
    pub(super) nets: Vec<NetKey>,
    /// What each link of the network drives onto the nets at its ends.
    pub(super) inner_drivers: Vec<[u32; 2]>,
    /// True for those.
    pub(super) is_inner: Vec<bool>,
    /// True once the network knows what drives its nets.
    pub(super) is_known: bool,
}

/// Makes a driver on a net, with its first level, and returns its number.
type AddDriver<'a> = dyn FnMut(NetKey, Owner, Level) -> u32 + 'a;

impl Links {
    pub(super) fn new(circuit: &Circuit, corner: Corner, add: &mut AddDriver<'_>) -> Links {
        let mut links = Links {
            at_net: KeyVec::filled(circuit.nets.len(), Vec::new()),
            to_rails: KeyVec::filled(circuit.nets.len(), Vec::new()),
            node_of: KeyVec::filled(circuit.nets.len(), None),
            ..Links::default()
        };
        for joint in joints(circuit) {
            links.join(circuit, corner, joint, add);
        }
        links.build_network();
        links
    }

    /// Puts the links between nets that are no rails into the network.
    pub(super) fn build_network(&mut self) {
        for link in self.links.iter().filter(|link| link.is_inner()) {
            for pin in link.ends {
                let nets = &mut self.nets;
                self.node_of[pin.net].get_or_insert_with(|| {
                    nets.push(pin.net);
                    row(nets.len()) - 1
                });
            }
        }
        self.network = Network::new(self.nets.len());
        for link in self.links.iter_mut().filter(|link| link.is_inner()) {
            let nodes = link.ends.map(|pin| self.node_of[pin.net]);
            let drivers = link.ends.map(|pin| pin.driver);
            let ([Some(a), Some(b)], [Some(to_a), Some(to_b)]) = (nodes, drivers) else {
                continue;
            };
            let number = if link.weak {
                self.network.add_resistor([a, b])
            } else {
                let number = self.network.add_contact([a, b]);
                self.network.set_closed(number, link.closed);
                number
            };
            link.inner = Some(number);
            self.inner_drivers.push([to_a, to_b]);
            for driver in [to_a as usize, to_b as usize] {
                self.is_inner.resize(self.is_inner.len().max(driver + 1), false);
                self.is_inner[driver] = true;
            }
        }
    }

    /// True for what a link between nets that are no rails drives.
    pub(super) fn is_inner(&self, driver: u32) -> bool {
        self.is_inner.get(driver as usize).is_some_and(|inner| *inner)
    }

    /// The next driver of a link that is to give another level, and the level.
    pub(super) fn next_change(&mut self) -> Option<(u32, Level)> {
        let (End { link, side }, level) = self.network.next_change()?;
        let drivers = self.inner_drivers[link as usize];
        Some((drivers[usize::from(side)], level))
    }

    /// True when what a link gives hangs on what a net is: a pull to a rail gives the same whatever happens, unless a
    /// capacitor is in its way.
    pub(super) fn follow(&self, net: NetKey) -> bool {
        let links = self.at_net[net].iter();
        let mut links = links.map(|&index| &self.links[index as usize]);
        links.any(|link| link.rc_delay.is_some() || link.is_inner())
    }

    /// What the links on a net give to the nets behind them.
    pub(super) fn drivers_beyond(&self, net: NetKey) -> Vec<u32> {
        let links = self.at_net[net].iter();
        let ends = links.flat_map(|&index| self.links[index as usize].ends);
        ends.filter(|end| end.net != net).filter_map(|end| end.driver).collect()
    }

    /// Pulls that are on their way from the start: against empty capacitors.
    pub(super) fn first_moves(&self) -> Vec<(u32, Level, Time)> {
        self.first.clone()
    }

    pub(super) fn join(
        &mut self,
        circuit: &Circuit,
        corner: Corner,
        Joint { discrete, nets, ohms, position, closed }: Joint,
        add: &mut AddDriver<'_>,
    ) {
        let rails = nets.map(|net| circuit.rail_level(net));
        let weak = ohms.is_some();
        let mut rc_delay = None;
        let mut ends = [0, 1].map(|at| LinkEnd { net: nets[at], rail: rails[at], driver: None });
        for at in [0, 1] {
            let other = rails[1 - at];
            if rails[at].is_some() {
                continue;
            }
            let mut first = match other {
                Some(level) if closed => passed(level, weak),
                _ => Level::Z,
            };
            let target = first;
            if let (Some(ohms), Some(_)) = (ohms, other)
                && let Some((capacitance, start)) = capacitor_on(circuit, nets[at])
            {
                rc_delay = Some(RcDelay::new(circuit, corner, nets[at], ohms, capacitance));
                first = start;
            }
            let driver = add(nets[at], Owner::Link(discrete), first);
            ends[at].driver = Some(driver);
            if let Some(rc_delay) = rc_delay
                && first != target
            {
                self.first.push((driver, target, rc_delay.to(target)));
            }
        }
        let index = row(self.links.len());
        self.links.push(Link { ends, weak, closed, rc_delay, inner: None });
        for at in [0, 1] {
            if rails[at].is_none() {
                self.at_net[nets[at]].push(index);
                if rails[1 - at].is_some() {
                    self.to_rails[nets[at]].push(index);
                }
            }
        }
        if !weak {
            self.contacts.entry(discrete).or_default().push((index, position));
        }
    }

    /// Bytes that they take.
    pub(super) fn memory(&self) -> usize {
        self.links.len() * size_of::<Link>() + self.at_net.len() * size_of::<Vec<u32>>()
    }

    /// Moves a contact; returns the nets that must look at their links again.
    pub(super) fn set_contact(&mut self, discrete: DiscreteKey, position: u8) -> Vec<NetKey> {
        let mut nets = Vec::new();
        for &(index, closed_at) in self.contacts.get(&discrete).into_iter().flatten() {
            let link = &mut self.links[index as usize];
            link.closed = closed_at == position;
            if let Some(number) = link.inner {
                self.network.set_closed(number, link.closed);
            }
            nets.extend(link.ends.iter().filter(|end| end.rail.is_none()).map(|end| end.net));
        }
        nets
    }
}

impl Link {
    /// True when neither end is a rail.
    pub(super) fn is_inner(&self) -> bool {
        self.ends.iter().all(|end| end.rail.is_none())
    }
}

pub(super) fn passed(level: Level, weak: bool) -> Level {
    if weak { level.weak() } else { level }
}
