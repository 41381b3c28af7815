//! Resistors, buttons and switches: what passes a level from one net to another.
//!
//! A resistor passes a level on as a weak one; a closed contact passes it as it is. What a link gives to a net is worked
//! out from all *other* drivers of the net behind it, so that it never holds itself up. A pull resistor on a net with a
//! capacitor moves it only after the time that the two need to pass the threshold of the input that listens.

use super::machine::{Machine, NEVER, Owner};
use crate::circuit::{Circuit, DiscreteKey, DiscreteKind, NetKey};
use crate::delay::threshold::{charge_time, switching_share};
use crate::key::{Key, KeyVec};
use crate::language::ast::Corner;
use crate::logic::Level;
use crate::part::Edge;
use crate::quantity::{Capacitance, Resistance, Voltage};
use std::collections::BTreeMap;

/// Capacitors smaller than this do not slow a pull enough to matter here: trace and pin capacitances have no part of
/// their own.
const LEAST_CAPACITOR: Capacitance = Capacitance::from_raw(100_000);

/// One resistor or contact between two nets.
#[derive(Clone, Copy, Debug)]
struct Link {
    ends: [End; 2],
    weak: bool,
    closed: bool,
    lag: Option<Lag>,
}

/// One end of a link.
#[derive(Clone, Copy, Debug)]
struct End {
    net: NetKey,
    /// The level of a rail, which never moves.
    rail: Option<Level>,
    /// What the link drives onto this net; nothing on a rail.
    out: Option<u32>,
}

/// The time that a pull needs against a capacitor, in picoseconds, to either level.
#[derive(Clone, Copy, Debug)]
struct Lag {
    rise: i64,
    fall: i64,
}

/// All links of a circuit.
#[derive(Clone, Debug, Default)]
pub(super) struct Links {
    links: Vec<Link>,
    at_net: KeyVec<NetKey, Vec<u32>>,
    contacts: BTreeMap<DiscreteKey, Vec<(u32, u8)>>,
    first: Vec<(u32, Level, i64)>,
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
        links
    }

    /// True when a link touches a net.
    pub(super) fn touch(&self, net: NetKey) -> bool {
        !self.at_net[net].is_empty()
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
                lag = Some(lag_of(circuit, corner, nets[at], ohms, capacitance));
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

impl Lag {
    fn to(self, level: Level) -> i64 {
        if level.is_high() {
            self.rise
        } else {
            self.fall
        }
    }
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
            if let (Some(lag), Some(own), Some(rail)) = (link.lag, near.out, far.rail) {
                self.follow_capacitor(net, own, passed(rail, link.weak), lag);
                continue;
            }
            if let (Some(own), Some(rail)) = (near.out, far.rail) {
                let level = if link.closed {
                    passed(rail, link.weak)
                } else {
                    Level::Z
                };
                self.schedule(own, level, self.time);
            }
            if let Some(out) = far.out {
                let level = if link.closed {
                    passed(self.level_without(net, near.out), link.weak)
                } else {
                    Level::Z
                };
                self.schedule(out, level, self.time);
            }
        }
    }

    /// A pull against a capacitor: at once what stronger drivers make of it, slowly when they have let go.
    fn follow_capacitor(&mut self, net: NetKey, own: u32, target: Level, lag: Lag) {
        match self.level_without(net, Some(own)) {
            strong @ (Level::Zero | Level::One) => {
                let out = &mut self.outs[own as usize];
                out.now = strong.weak();
                out.due = NEVER;
            }
            Level::Z if self.outs[own as usize].due == NEVER => {
                self.schedule(own, target, self.time + lag.to(target));
            }
            _ => {}
        }
    }

    /// The level that a net has from all its drivers but one.
    fn level_without(&self, net: NetKey, without: Option<u32>) -> Level {
        let state = self.nets[net.index()];
        let rows = state.drivers.0 as usize..(state.drivers.0 + state.drivers.1) as usize;
        self.net_drivers[rows]
            .iter()
            .filter(|&&out| Some(out) != without)
            .fold(Level::Z, |level, &out| {
                level.resolve(self.outs[out as usize].now)
            })
    }
}

fn passed(level: Level, weak: bool) -> Level {
    if weak { level.weak() } else { level }
}

fn rail_level(circuit: &Circuit, net: NetKey) -> Option<Level> {
    let fed = circuit.nets[net].rail?.fed?;
    Some(if fed == Voltage::default() {
        Level::Zero
    } else {
        Level::One
    })
}

/// The capacitance between a net and the rails, and the weak level that it holds the net at when power comes.
fn capacitor_on(circuit: &Circuit, net: NetKey) -> Option<(Capacitance, Level)> {
    let mut total = 0;
    let mut start = Level::L;
    for &(key, pin) in &circuit.nets[net].discrete_pins {
        let discrete = &circuit.discretes[key];
        if let DiscreteKind::Capacitor(value, _) = discrete.kind
            && let Some(&Some(other)) = discrete.nets.get(1 - pin.min(1))
            && let Some(rail) = rail_level(circuit, other)
        {
            total += value.raw();
            start = rail.weak();
        }
    }
    let total = Capacitance::from_raw(total);
    (total >= LEAST_CAPACITOR).then_some((total, start))
}

/// The time of an RC up to the threshold of the inputs that listen; the slowest of them counts.
fn lag_of(
    circuit: &Circuit,
    corner: Corner,
    net: NetKey,
    ohms: Resistance,
    capacitance: Capacitance,
) -> Lag {
    let mut lag = Lag { rise: 0, fall: 0 };
    for &(chip, pin) in &circuit.nets[net].chip_pins {
        let chip = &circuit.chips[chip];
        let sheet = chip.sheet.map(|sheet| &chip.part.sheets[sheet]);
        let Some(input) = chip
            .part
            .function
            .inputs
            .iter()
            .position(|&other| other == pin)
        else {
            continue;
        };
        let share = |edge| switching_share(sheet, input, edge, chip.supply, corner);
        lag.rise = lag
            .rise
            .max(charge_time(ohms, capacitance, share(Edge::Rise)).ps());
        lag.fall = lag
            .fall
            .max(charge_time(ohms, capacitance, 1.0 - share(Edge::Fall)).ps());
    }
    lag
}
