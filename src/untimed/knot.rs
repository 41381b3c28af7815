//! Nets that contacts and resistors join, or one net with a stimulus or a slow pull.

use super::signal::NEVER;
use crate::circuit::{Circuit, DiscreteKey, NetKey};
use crate::delay::rc_delay::{RcDelay, capacitor_on};
use crate::language::ast::Corner;
use crate::logic::Level;
use crate::logic::network::Network;
use crate::run::Joint;
use std::collections::BTreeMap;

/// Nets that contacts and resistors join, or one net with a stimulus or a slow pull.
#[derive(Clone, Debug, Default)]
pub(super) struct Knot {
    pub(super) nets: Vec<KnotNet>,
    /// The links between its nets, which are the nodes, by their rows.
    pub(super) network: Network,
    /// The same without what capacitors hold, if there are any.
    pub(super) uncharged: Option<Network>,
    pub(super) contacts: BTreeMap<DiscreteKey, Vec<Contact>>,
    /// The discrete of each link of the network.
    pub(super) joins: Vec<DiscreteKey>,
}

/// A contact of a knot.
#[derive(Clone, Copy, Debug)]
pub(super) enum Contact {
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
    pub(super) pulls: Vec<Pull>,
    pub(super) level: Level,
    pub(super) fights: bool,
}

/// A resistor or a contact to a rail.
#[derive(Clone, Debug)]
pub(super) struct Pull {
    pub(super) link: Joint,
    pub(super) rail: Level,
    /// Against a capacitor: the times to high and low in picoseconds, the charge, and where it goes next.
    pub(super) lag: Option<RcDelay>,
    pub(super) charge: Level,
    pub(super) target: Level,
    pub(super) due: i64,
}

impl Pull {
    pub(super) fn new(circuit: &Circuit, corner: Corner, link: Joint, net: NetKey, rail: Level) -> Pull {
        let mut pull = Pull { link, rail, lag: None, charge: Level::Z, target: rail.weak(), due: NEVER };
        if let Some(ohms) = link.ohms
            && let Some((capacitance, start)) = capacitor_on(circuit, net)
        {
            let lag = RcDelay::new(circuit, corner, net, ohms, capacitance);
            pull.lag = Some(lag);
            pull.charge = start;
            if start != pull.target {
                pull.due = pull.time(lag);
            }
        }
        pull
    }

    pub(super) fn time(&self, lag: RcDelay) -> i64 {
        lag.to(self.target).ps()
    }

    pub(super) fn gives(&self) -> Level {
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
    pub(super) fn new(circuit: &Circuit, corner: Corner, nets: &[NetKey], links: &[Joint]) -> Knot {
        let mut knot = Knot::default();
        for &net in nets {
            knot.nets.push(KnotNet {
                net,
                signal: 0,
                drivers: Vec::new(),
                stimulus: None,
                fixed: circuit.rail_level(net),
                pulls: Vec::new(),
                level: Level::U,
                fights: false,
            });
        }
        let rows: BTreeMap<NetKey, usize> = nets.iter().copied().zip(0..).collect();
        knot.network = Network::new(nets.len());
        for &link in links {
            let ends = link.nets.map(|net| (rows.get(&net), circuit.rail_level(net)));
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
                knot.contacts.entry(link.discrete).or_default().push(contact);
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
