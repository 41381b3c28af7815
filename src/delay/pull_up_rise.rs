//! Open drains: how long a pull-up takes to lift a net that its output has gone high-impedance of.

use super::rc_delay::capacitor_on;
use super::threshold::{middle, switching_volts};
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::electrical::Capacitances;
use crate::electrical::pull::{pull_to_rail, time_between};
use crate::language::ast::Corner;
use crate::part::Edge;
use crate::quantity::si::Seconds;

/// The time from an open drain that goes high-impedance to the level that those that listen take for high, or half the way where nobody
/// does, in picoseconds: the resistors to a supply, against pins, copper and cables. Zero for other outputs, and where
/// nothing pulls or a capacitor slows it more (see [`super::rc_delay`]).
pub(super) fn pull_up_rise(
    circuit: &Circuit,
    capacitances: &Capacitances,
    corner: Corner,
    chip: ChipKey,
    output: usize,
) -> u32 {
    let row = &circuit.chips[chip];
    if !row.part.is_open_drain(output) {
        return 0;
    }
    let net = row.nets[row.part.function.outputs[output]];
    let seconds = net.and_then(|net| rise_of(circuit, capacitances, corner, net));
    seconds.map_or(0, |seconds| (seconds.0 * 1e12).round().min(f64::from(u32::MAX)) as u32)
}

fn rise_of(circuit: &Circuit, capacitances: &Capacitances, corner: Corner, net: NetKey) -> Option<Seconds> {
    let (ohms, supply) = pull_to_rail(circuit, net)?;
    if capacitor_on(circuit, net).is_some() {
        return None;
    }
    let farads = capacitances.nets[net].total().farads();
    let listening = circuit.nets[net].chip_pins.iter().filter_map(|&(chip, pin)| {
        let chip = &circuit.chips[chip];
        let mut inputs = chip.part.function.inputs.iter();
        let input = inputs.position(|&other| other == pin)?;
        Some(switching_volts(chip, input, Edge::Rise, corner) / supply)
    });
    let share =
        if corner == Corner::Fastest { listening.min_by(f64::total_cmp) } else { listening.max_by(f64::total_cmp) };
    let share = share.unwrap_or_else(|| middle(corner));
    Some(time_between(ohms, farads, 0.0, share.clamp(0.01, 0.99)))
}
