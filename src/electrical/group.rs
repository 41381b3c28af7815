//! Nets that resistors and LEDs join: their voltages can only be found together.

use crate::circuit::{Circuit, DiscreteKey, DiscreteKind, NetKey};
use crate::key::{Key, KeyVec};
use crate::quantity::si::Ohms;

/// A resistor or an LED between two nets.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Link {
    pub(super) discrete: DiscreteKey,
    /// Which one of a network.
    pub(super) element: usize,
    /// For an LED: anode, cathode.
    pub(super) ends: [NetKey; 2],
    pub(super) kind: LinkKind,
}

#[derive(Clone, Debug, PartialEq)]
pub(super) enum LinkKind {
    Resistor(Ohms),
    /// Colour, and the resistor in series.
    Led(String, Ohms),
}

/// Nets that are no rails, and what joins them to one another and to rails.
#[derive(Clone, Debug, Default)]
pub(super) struct Group {
    pub(super) nets: Vec<NetKey>,
    pub(super) links: Vec<Link>,
}

/// Every group of a circuit, in order of its first net.
pub(super) fn groups(circuit: &Circuit) -> Vec<Group> {
    let links = links(circuit);
    let is_rail = |net: NetKey| circuit.nets[net].rail.is_some();
    let mut parents: KeyVec<NetKey, NetKey> = circuit.nets.keys().collect();
    for link in &links {
        let [a, b] = link.ends;
        if !is_rail(a) && !is_rail(b) {
            let (a, b) = (root(&mut parents, a), root(&mut parents, b));
            let (older, younger) = (a.min(b), a.max(b));
            parents[younger] = older;
        }
    }
    let mut group_of: KeyVec<NetKey, usize> = KeyVec::filled(circuit.nets.len(), usize::MAX);
    let mut groups: Vec<Group> = Vec::new();
    for net in circuit.nets.keys().filter(|&net| !is_rail(net)) {
        let root = root(&mut parents, net);
        if group_of[root] == usize::MAX {
            group_of[root] = groups.len();
            groups.push(Group::default());
        }
        group_of[net] = group_of[root];
        groups[group_of[net]].nets.push(net);
    }
    for link in links {
        let inner = link.ends.into_iter().find(|&end| !is_rail(end));
        // Between two rails a lamp or resistor moves no level.
        let group = match inner {
            Some(net) => &mut groups[group_of[net]],
            None => {
                groups.push(Group::default());
                let last = groups.len() - 1;
                &mut groups[last]
            }
        };
        group.links.push(link);
    }
    groups
}

fn root(parents: &mut KeyVec<NetKey, NetKey>, mut net: NetKey) -> NetKey {
    while parents[net] != net {
        parents[net] = parents[parents[net]];
        net = parents[net];
    }
    debug_assert!(net.index() < parents.len());
    net
}

/// All resistors and LEDs with both ends on a net.
fn links(circuit: &Circuit) -> Vec<Link> {
    let mut links = Vec::new();
    for (key, discrete) in circuit.discretes.iter() {
        let pin = |at: usize| discrete.nets.get(at).copied().flatten();
        let mut join = |element: usize, a: usize, b: usize, kind: LinkKind| {
            if let (Some(a), Some(b)) = (pin(a), pin(b))
                && a != b
            {
                links.push(Link { discrete: key, element, ends: [a, b], kind });
            }
        };
        match &discrete.kind {
            DiscreteKind::Resistor(ohms) => join(0, 0, 1, LinkKind::Resistor(ohms.ohms())),
            DiscreteKind::Network(ohms, true) => {
                (1..discrete.nets.len()).for_each(|at| join(at - 1, 0, at, LinkKind::Resistor(ohms.ohms())))
            }
            DiscreteKind::Network(ohms, false) => (0..discrete.nets.len() / 2)
                .for_each(|at| join(at, 2 * at, 2 * at + 1, LinkKind::Resistor(ohms.ohms()))),
            DiscreteKind::Led(colour, series) => {
                let series = series.map_or(Ohms::ZERO, |ohms| ohms.ohms());
                join(0, 0, 1, LinkKind::Led(colour.clone(), series));
            }
            _ => {}
        }
    }
    links
}
