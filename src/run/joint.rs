//! Resistors and contacts, which pass levels from net to net.

use crate::circuit::{Circuit, DiscreteKey, DiscreteKind, NetKey};
use crate::quantity::Resistance;

/// A resistor or a contact between two nets.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Joint {
    pub(crate) discrete: DiscreteKey,
    pub(crate) nets: [NetKey; 2],
    pub(crate) ohms: Option<Resistance>,
    /// For a contact, the position that closes it.
    pub(crate) position: u8,
    pub(crate) closed: bool,
}

/// All resistors and contacts between two nets, in the order of the circuit.
pub(crate) fn joints(circuit: &Circuit) -> Vec<Joint> {
    let mut joints = Vec::new();
    for (discrete, row) in circuit.discretes.iter() {
        let pin = |at: usize| row.nets.get(at).copied().flatten();
        let mut join = |a: usize, b: usize, ohms: Option<Resistance>, position, closed| {
            if let (Some(a), Some(b)) = (pin(a), pin(b))
                && a != b
            {
                joints.push(Joint { discrete, nets: [a, b], ohms, position, closed });
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
    joints
}
