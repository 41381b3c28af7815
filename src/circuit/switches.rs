//! Rails that hang on others behind switches and fuses.

use super::rows::{Circuit, DiscreteKey, NetKey};
use crate::key::KeyVec;
use crate::model::DiscreteKind;
use crate::quantity::{Resistance, Voltage};

/// A larger resistor is no fuse: 10 ohm.
const FUSE: Resistance = Resistance::from_raw(10_000);

/// Says whether a contact joins its nets: the discrete, and the position in which it does, 1 for closed or up, 2 for down.
type Joins<'a> = dyn Fn(DiscreteKey, u8) -> bool + 'a;

/// A rail that contacts leave without a supply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct DeadRail {
    pub rail: NetKey,
    /// The nearest contact on the way to a net that is fed.
    pub contact: DiscreteKey,
    /// That net.
    pub behind: NetKey,
}

/// The nets that switches and fuses join to the given ones, with the first of these on the way and where it began.
/// Ground is no way to anywhere.
pub(super) fn through_switches(circuit: &Circuit, from: Vec<NetKey>) -> Vec<(NetKey, (DiscreteKey, NetKey))> {
    let mut ways: KeyVec<NetKey, Option<(Option<DiscreteKey>, NetKey)>> = KeyVec::filled(circuit.nets.len(), None);
    let mut waiting: Vec<NetKey> = from;
    waiting.retain(|net| !is_ground(circuit, *net));
    for &net in &waiting {
        ways[net] = Some((None, net));
    }
    let mut found = Vec::new();
    let mut at = 0;
    while let Some(&net) = waiting.get(at) {
        at += 1;
        let Some((first, start)) = ways[net] else {
            continue;
        };
        for (key, _, there) in joined(circuit, net) {
            if ways[there].is_none() {
                let first = first.unwrap_or(key);
                ways[there] = Some((Some(first), start));
                found.push((there, (first, start)));
                waiting.push(there);
            }
        }
    }
    found
}

/// The rails that hang on others behind switches, and that nothing feeds while only some contacts join their nets.
pub fn dead_rails(circuit: &Circuit, joins: &Joins<'_>) -> Vec<DeadRail> {
    let via = |net: NetKey| circuit.nets[net].rail.and_then(|rail| rail.via);
    let fed = |net: NetKey| circuit.nets[net].rail.is_some_and(|rail| rail.fed.is_some());
    let poles = circuit.supplies.values().flat_map(|supply| &supply.plus);
    let roots = circuit.nets.keys().filter(|&net| fed(net) && via(net).is_none());
    let mut alive: KeyVec<NetKey, bool> = KeyVec::filled(circuit.nets.len(), false);
    let mut waiting: Vec<NetKey> = roots.chain(poles.copied()).collect();
    waiting.retain(|net| !is_ground(circuit, *net));
    for &net in &waiting {
        alive[net] = true;
    }
    while let Some(net) = waiting.pop() {
        for (key, position, there) in joined(circuit, net) {
            if !alive[there] && position.is_none_or(|position| joins(key, position)) {
                alive[there] = true;
                waiting.push(there);
            }
        }
    }
    let attached = circuit.nets.keys().filter(|&net| fed(net) && via(net).is_some());
    attached.filter(|&net| !alive[net]).filter_map(|rail| nearest(circuit, rail, &alive)).collect()
}

/// The contact that parts a rail from the nets that are alive.
fn nearest(circuit: &Circuit, rail: NetKey, alive: &KeyVec<NetKey, bool>) -> Option<DeadRail> {
    let mut reached = vec![rail];
    let mut at = 0;
    while let Some(&net) = reached.get(at) {
        at += 1;
        for (contact, _, behind) in joined(circuit, net) {
            if alive[behind] {
                return Some(DeadRail { rail, contact, behind });
            }
            if !reached.contains(&behind) {
                reached.push(behind);
            }
        }
    }
    None
}

fn is_ground(circuit: &Circuit, net: NetKey) -> bool {
    let rail = circuit.nets[net].rail;
    rail.is_some_and(|rail| rail.declared == Voltage::ZERO)
}

/// The nets that switches and fuses can join to a net: by which discrete, and in which position; `None` for a fuse, which
/// always does.
fn joined(circuit: &Circuit, net: NetKey) -> impl Iterator<Item = (DiscreteKey, Option<u8>, NetKey)> + '_ {
    let pins = circuit.nets[net].discrete_pins.iter();
    pins.flat_map(move |&(key, pin)| {
        let discrete = &circuit.discretes[key];
        let other = 1 - pin.min(1);
        let ways = match (&discrete.kind, pin) {
            (DiscreteKind::Switch, _) => [Some((other, Some(1))), None],
            (DiscreteKind::Resistor(ohms), _) if *ohms <= FUSE => [Some((other, None)), None],
            (DiscreteKind::Changeover, 0) => [Some((1, Some(1))), Some((2, Some(2)))],
            (DiscreteKind::Changeover, _) => [Some((0, Some(pin as u8))), None],
            _ => [None; 2],
        };
        let ways = ways.into_iter().flatten();
        ways.filter_map(move |(other, position)| {
            let there = discrete.nets.get(other).copied().flatten()?;
            (there != net && !is_ground(circuit, there)).then_some((key, position, there))
        })
    })
}
