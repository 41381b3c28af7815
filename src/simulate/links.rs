//! Resistors, buttons and switches: what passes a level from one net to another.
//!
//! A resistor passes a level on as a weak one; a closed contact passes it as it is. Nets that links join are a group,
//! and what each link gives is worked out for the whole group at once, from the drivers that are no links: no ring of
//! links can hold itself up. A pull resistor on a net with a capacitor moves it only after the time that the two need
//! to pass the threshold of the input that listens.

use super::machine::{Machine, NEVER, Owner};
use crate::circuit::{Circuit, DiscreteKey, DiscreteKind, NetKey};
use crate::delay::lag::{Lag, capacitor_on, rail_level};
use crate::key::{Key, KeyVec};
use crate::language::ast::Corner;
use crate::logic::Level;
use crate::quantity::Resistance;
use std::collections::BTreeMap;

/// One resistor or contact between two nets.
#[derive(Clone, Copy, Debug)]
struct Link {
    ends: [End; 2],
    weak: bool,
    closed: bool,
    lag: Option<Lag>,
    /// What it gives to either end at the moment, while a group is worked out.
    gives: [Level; 2],
}

/// One end of a link.
#[derive(Clone, Copy, Debug)]
struct End {
    net: NetKey,
    /// The level of a rail, which never moves.
    rail: Option<Level>,
    /// Its place among the nets of the group.
    place: usize,
    /// What the link drives onto this net; nothing on a rail.
    out: Option<u32>,
}

/// All links of a circuit.
#[derive(Clone, Debug, Default)]
pub(super) struct Links {
    links: Vec<Link>,
    at_net: KeyVec<NetKey, Vec<u32>>,
    contacts: BTreeMap<DiscreteKey, Vec<(u32, u8)>>,
    first: Vec<(u32, Level, i64)>,
    /// The group of each net; none for nets without a link to another net.
    group_of: KeyVec<NetKey, Option<u32>>,
    groups: Vec<Group>,
    /// True for outputs of links between two nets that are no rails.
    inner: Vec<bool>,
    scratch: Vec<Place>,
}

/// Nets that links join, and those links.
#[derive(Clone, Debug, Default)]
struct Group {
    nets: Vec<NetKey>,
    links: Vec<u32>,
}

/// One net of a group while it is worked out.
#[derive(Clone, Copy, Debug)]
struct Place {
    /// The net that stands for all that closed contacts join to this one.
    root: usize,
    /// What the drivers of the net make of it that are no links of the group.
    own: Level,
}

/// Makes a driver on a net, with its first level, and returns its number.
type AddDriver<'a> = dyn FnMut(NetKey, Owner, Level) -> u32 + 'a;

impl Links {
    pub(super) fn new(circuit: &Circuit, corner: Corner, add: &mut AddDriver<'_>) -> Links {
        let mut links = Links {
            at_net: KeyVec::filled(circuit.nets.len(), Vec::new()),
            ..Links::default()
        };
        for (key, discrete) in circuit.discretes.iter() {
            let pin = |at: usize| discrete.nets.get(at).copied().flatten();
            let mut join = |a: usize, b: usize, kind: Kind| {
                if let (Some(a), Some(b)) = (pin(a), pin(b)) {
                    links.join(circuit, corner, key, [a, b], kind, add);
                }
            };
            match discrete.kind {
                DiscreteKind::Resistor(ohms) => join(0, 1, Kind::Resistor(ohms)),
                DiscreteKind::Network(ohms, true) => {
                    (1..discrete.nets.len()).for_each(|at| join(0, at, Kind::Resistor(ohms)));
                }
                DiscreteKind::Network(ohms, false) => {
                    (0..discrete.nets.len() / 2)
                        .for_each(|at| join(2 * at, 2 * at + 1, Kind::Resistor(ohms)));
                }
                DiscreteKind::Button | DiscreteKind::Switch => join(0, 1, Kind::Contact(1, false)),
                DiscreteKind::Changeover => {
                    join(0, 1, Kind::Contact(1, true));
                    join(0, 2, Kind::Contact(2, false));
                }
                DiscreteKind::Capacitor(..) | DiscreteKind::Led(..) | DiscreteKind::TestPoint => {}
            }
        }
        links.gather(circuit.nets.len());
        links
    }

    /// Finds the groups.
    fn gather(&mut self, nets: usize) {
        self.group_of = KeyVec::filled(nets, None);
        for start in 0..self.links.len() {
            if !self.links[start].is_inner()
                || self.group_of[self.links[start].ends[0].net].is_some()
            {
                continue;
            }
            let mut group = Group::default();
            let mut open = vec![self.links[start].ends[0].net];
            while let Some(net) = open.pop() {
                if self.group_of[net].is_some() {
                    continue;
                }
                self.group_of[net] = Some(self.groups.len() as u32);
                let place = group.nets.len();
                group.nets.push(net);
                for &index in &self.at_net[net] {
                    let link = &mut self.links[index as usize];
                    if !link.is_inner() {
                        continue;
                    }
                    let near = usize::from(link.ends[0].net != net);
                    link.ends[near].place = place;
                    open.push(link.ends[1 - near].net);
                    if !group.links.contains(&index) {
                        group.links.push(index);
                    }
                }
            }
            self.groups.push(group);
        }
        for link in self.links.iter().filter(|link| link.is_inner()) {
            for out in link.ends.iter().filter_map(|end| end.out) {
                let out = out as usize;
                self.inner.resize(self.inner.len().max(out + 1), false);
                self.inner[out] = true;
            }
        }
    }

    /// True when what a link gives hangs on what a net is: a pull to a rail gives the same whatever happens, unless a
    /// capacitor is in its way.
    pub(super) fn follow(&self, net: NetKey) -> bool {
        let links = self.at_net[net].iter();
        let mut links = links.map(|&index| &self.links[index as usize]);
        links.any(|link| link.lag.is_some() || link.is_inner())
    }

    /// What the links on a net give to the nets behind them.
    pub(super) fn outs_behind(&self, net: NetKey) -> Vec<u32> {
        let links = self.at_net[net].iter();
        let ends = links.flat_map(|&index| self.links[index as usize].ends);
        ends.filter(|end| end.net != net)
            .filter_map(|end| end.out)
            .collect()
    }

    /// Pulls that are on their way from the start: against empty capacitors.
    pub(super) fn first_moves(&self) -> Vec<(u32, Level, i64)> {
        self.first.clone()
    }

    fn join(
        &mut self,
        circuit: &Circuit,
        corner: Corner,
        key: DiscreteKey,
        nets: [NetKey; 2],
        kind: Kind,
        add: &mut AddDriver<'_>,
    ) {
        if nets[0] == nets[1] {
            return;
        }
        let rails = nets.map(|net| rail_level(circuit, net));
        let (weak, closed) = match kind {
            Kind::Resistor(_) => (true, true),
            Kind::Contact(_, closed) => (false, closed),
        };
        let mut lag = None;
        let mut ends = [0, 1].map(|at| End {
            net: nets[at],
            rail: rails[at],
            place: 0,
            out: None,
        });
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
            if let (Kind::Resistor(ohms), Some(_)) = (kind, other)
                && let Some((capacitance, start)) = capacitor_on(circuit, nets[at])
            {
                lag = Some(Lag::new(circuit, corner, nets[at], ohms, capacitance));
                first = start;
            }
            let out = add(nets[at], Owner::Link(key), first);
            ends[at].out = Some(out);
            if let Some(lag) = lag
                && first != target
            {
                self.first.push((out, target, lag.to(target)));
            }
        }
        let index = self.links.len() as u32;
        self.links.push(Link {
            ends,
            weak,
            closed,
            lag,
            gives: [Level::Z; 2],
        });
        for at in [0, 1] {
            if rails[at].is_none() {
                self.at_net[nets[at]].push(index);
            }
        }
        if let Kind::Contact(position, _) = kind {
            self.contacts
                .entry(key)
                .or_default()
                .push((index, position));
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
            nets.extend(
                link.ends
                    .iter()
                    .filter(|end| end.rail.is_none())
                    .map(|end| end.net),
            );
        }
        nets
    }
}

#[derive(Clone, Copy)]
enum Kind {
    Resistor(Resistance),
    /// The position at which it is closed, and whether it is closed at first.
    Contact(u8, bool),
}

impl Machine<'_> {
    /// Lets every link on a net follow its drivers.
    pub(super) fn follow_links(&mut self, net: NetKey) {
        for at in 0..self.links.at_net[net].len() {
            let link = self.links.links[self.links.at_net[net][at] as usize];
            let (near, far) = if link.ends[0].net == net {
                (link.ends[0], link.ends[1])
            } else {
                (link.ends[1], link.ends[0])
            };
            let (Some(own), Some(rail)) = (near.out, far.rail) else {
                continue;
            };
            if let Some(lag) = link.lag {
                self.follow_capacitor(net, own, passed(rail, link.weak), lag);
            } else {
                let level = if link.closed {
                    passed(rail, link.weak)
                } else {
                    Level::Z
                };
                self.schedule(own, level, self.time);
            }
        }
        if let Some(group) = self.links.group_of[net] {
            self.follow_group(group as usize);
        }
    }

    /// Works out what the links of a group give to its nets.
    fn follow_group(&mut self, group: usize) {
        let mut links = std::mem::take(&mut self.links);
        links.scratch.clear();
        for (root, &net) in links.groups[group].nets.iter().enumerate() {
            let state = self.nets[net.index()];
            let rows = state.drivers.0 as usize..(state.drivers.0 + state.drivers.1) as usize;
            let outs = self.net_drivers[rows].iter().map(|&out| out as usize);
            let own = outs
                .filter(|&out| !links.inner.get(out).is_some_and(|inner| *inner))
                .fold(Level::Z, |level, out| level.resolve(self.outs[out].now));
            links.scratch.push(Place { root, own });
        }
        links.work_out(group);
        for at in 0..links.groups[group].links.len() {
            let link = links.links[links.groups[group].links[at] as usize];
            for (end, gives) in link.ends.iter().zip(link.gives) {
                let level = match (link.closed, link.weak) {
                    (false, _) => Level::Z,
                    (true, true) => gives,
                    (true, false) => {
                        let root = links.scratch[end.place].root;
                        links.level_of(group, root, Some(end.place), None)
                    }
                };
                if let Some(out) = end.out {
                    self.schedule(out, level, self.time);
                }
            }
        }
        self.links = links;
    }

    /// A pull against a capacitor: at once what stronger drivers make of it, slowly when they have let go.
    fn follow_capacitor(&mut self, net: NetKey, own: u32, target: Level, lag: Lag) {
        let state = self.nets[net.index()];
        let rows = state.drivers.0 as usize..(state.drivers.0 + state.drivers.1) as usize;
        let others = self.net_drivers[rows].iter().filter(|&&out| out != own);
        let others = others.fold(Level::Z, |level, &out| {
            level.resolve(self.outs[out as usize].now)
        });
        match others {
            Level::Z if self.outs[own as usize].due == NEVER => {
                self.schedule(own, target, self.time + lag.to(target));
            }
            // Its charge is that of the stronger level, which shows once that lets go.
            Level::Zero | Level::One => self.charge(own, others.weak()),
            Level::U | Level::X | Level::Dash => self.charge(own, Level::W),
            _ => {}
        }
    }

    /// Gives a pull the level of its capacitor, which does not show while a stronger driver has the net.
    fn charge(&mut self, own: u32, level: Level) {
        let out = &mut self.outs[own as usize];
        let was = std::mem::replace(&mut out.now, level);
        out.due = NEVER;
        let tally = self.nets[self.places[own as usize].net as usize].tally;
        self.tallies[tally as usize].change(was, level);
    }
}

impl Link {
    /// True when neither end is a rail.
    fn is_inner(&self) -> bool {
        self.ends.iter().all(|end| end.rail.is_none())
    }
}

impl Links {
    /// Joins what closed contacts join, and lets weak levels run through the resistors.
    fn work_out(&mut self, group: usize) {
        for at in 0..self.groups[group].links.len() {
            let link = &mut self.links[self.groups[group].links[at] as usize];
            link.gives = [Level::Z; 2];
            if link.closed && !link.weak {
                let [a, b] = link.ends.map(|end| self.scratch[end.place].root);
                let joined = self.scratch.iter_mut().filter(|place| place.root == b);
                joined.for_each(|place| place.root = a);
            }
        }
        let mut moves = true;
        while std::mem::take(&mut moves) {
            for at in 0..self.groups[group].links.len() {
                let index = self.groups[group].links[at];
                let link = self.links[index as usize];
                let [a, b] = link.ends.map(|end| self.scratch[end.place].root);
                if !link.weak || a == b {
                    continue;
                }
                // To either end what is behind the other, but for what the resistor itself gives there. It is only ever
                // more, so that it comes to an end.
                let behind = |root| self.level_of(group, root, None, Some(index)).weak();
                let gives = [
                    link.gives[0].resolve(behind(b)),
                    link.gives[1].resolve(behind(a)),
                ];
                moves |= gives != link.gives;
                self.links[index as usize].gives = gives;
            }
        }
    }

    /// The level of all nets of a group that contacts join, without what one of them has by its own drivers, or
    /// without what one resistor gives.
    fn level_of(
        &self,
        group: usize,
        root: usize,
        but_net: Option<usize>,
        but_link: Option<u32>,
    ) -> Level {
        let places = self.scratch.iter().enumerate();
        let own = places
            .filter(|(at, place)| place.root == root && Some(*at) != but_net)
            .fold(Level::Z, |level, (_, place)| level.resolve(place.own));
        let links = self.groups[group].links.iter();
        links
            .filter(|&&index| Some(index) != but_link)
            .map(|&index| &self.links[index as usize])
            .filter(|link| link.weak)
            .flat_map(|link| link.ends.iter().zip(link.gives))
            .filter(|(end, _)| self.scratch[end.place].root == root && Some(end.place) != but_net)
            .fold(own, |level, (_, gives)| level.resolve(gives))
    }
}

fn passed(level: Level, weak: bool) -> Level {
    if weak { level.weak() } else { level }
}
