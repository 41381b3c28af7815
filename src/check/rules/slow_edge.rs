//! A resistor or a capacitor makes slower edges than an input is made for.
//!
//! # What it finds
//!
//! CMOS inputs without hysteresis, on a net that only resistors and contacts move, or that an output with a capacitor does,
//! when the edge is slower than the sheet of their family allows: 500 ns from 10 % to 90 % for HC and HCT at 4.5 V, 8 ns
//! for each volt for AC and ACT. Both figures stand in the message.
//!
//! Clocks, clears and latches belong to `slow-clock-edge`, open-drain nets to `pull-up-range`.
//!
//! # Why it hurts
//!
//! While the input is near its threshold both halves of its input stage conduct: the chip draws milliamperes, and its
//! output may oscillate, so that what comes behind sees several edges.
//!
//! # Cure
//!
//! A Schmitt inverter ('14, '132) at the net, or a smaller resistor.
//!
//! # Example
//!
//! ```text
//! R1 resistor 10 kohm { 1 = VCC   2 = go }
//! C1 capacitor 100 nF { 1 = go   2 = GND }
//! U1 74HC00 { 1A = go   ... }                 # 2.2 ms; a 74HC132 likes that
//! ```
//!
//! # Source
//!
//! TI SCLS131D (HC245: 500 ns at 4.5 V); Fairchild DS009911 (AC00: 125 mV/ns); TI SCAS452E (ACT245: 8 ns/V). The edge of a
//! resistor and a capacitor: RC ln(...), every handbook.

use super::super::levels::ohms;
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Circuit, NetKey};
use crate::diagnostic::Diagnostic;
use crate::electrical::drive::Enabled;
use crate::electrical::pull::{rise_time, time_between};
use crate::electrical::sheet::{EdgeLimit, slowest_edge};
use crate::electrical::{Capacitances, Load, OperatingPoint, Sheets};
use crate::quantity::si::{Amperes, Farads, Ohms, Seconds};
use crate::quantity::{Capacitance, Time};

pub(crate) const RULE: Rule = Rule {
    name: "slow-edge",
    summary: "A resistor or a capacitor makes slower edges than an input is made for.",
    documentation: page!("slow_edge.rs"),
    find,
};

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let sheets = Sheets::new(circuit);
    // What is typical: with the most of every sheet a plain pull-up of 10 kohm would be too slow already.
    let capacitances = Capacitances::new(circuit, false);
    for (key, net) in circuit.nets.iter().filter(|(_, net)| net.rail.is_none()) {
        let capacitance = capacitances.nets[key];
        let Some(resistance) = moved_by(circuit, &subject.operating_point, &sheets, key, capacitance.capacitors) else {
            continue;
        };
        let farads = capacitance.total().farads();
        let slow = (subject.operating_point.nets[key].loads.iter())
            .filter(|load| {
                let chip = &circuit.chips[load.chip];
                !super::is_clock(chip, load.pin) && !super::holds_storage(chip, load.pin)
            })
            .find_map(|load| Some((load, too_slow(circuit, load, resistance, farads)?)));
        let Some((load, Edge { takes, allowed, unit })) = slow else {
            continue;
        };
        let chip = &circuit.chips[load.chip];
        let message = format!(
            "with {}, {} takes {} {unit}, and {} wants {} or less",
            ohms(resistance),
            net.path,
            time(takes),
            super::pin_in_words(circuit, load.chip, load.pin),
            time(allowed)
        );
        let mut problem = Diagnostic::warning(RULE.name, message)
            .at(chip.span, format!("a {} without hysteresis", chip.number))
            .at(net.span, "this net")
            .note("near its threshold an input draws current, and what is behind it may oscillate");
        if capacitance.capacitors > Capacitance::ZERO {
            problem = problem.note(format!("{} stand on the net", capacitance.capacitors));
        }
        let problem =
            problem.help("put a Schmitt inverter between, such as one of a 74HC14, or take a smaller resistor");
        let path = net.path.clone();
        findings.push(Finding::new(circuit, super::board_of(net), path, problem));
    }
}

/// An edge that is slower than an input is made for.
pub(super) struct Edge {
    /// How long it takes.
    pub(super) takes: Seconds,
    /// What the sheet allows.
    pub(super) allowed: Seconds,
    /// From where to where.
    pub(super) unit: &'static str,
}

/// The edge that a resistance and a capacitance make, when it is too slow for an input.
pub(super) fn too_slow(circuit: &Circuit, load: &Load, resistance: Ohms, farads: Farads) -> Option<Edge> {
    let chip = &circuit.chips[load.chip];
    let input = load.input;
    let edge = match slowest_edge(chip)? {
        EdgeLimit::RiseTime(allowed) => {
            Edge { takes: rise_time(resistance, farads), allowed, unit: "from 10 % to 90 %" }
        }
        EdgeLimit::PerVolt(allowed) => {
            let supply = chip.supply.volts();
            let (low, high) = (input.low / supply, input.high / supply);
            Edge {
                takes: time_between(resistance, farads, low, high) / (input.high - input.low).0,
                allowed,
                unit: "for each volt",
            }
        }
    };
    let sharp = chip.part.pins[load.pin].schmitt;
    (!sharp && edge.takes > edge.allowed).then_some(edge)
}

/// The resistance through which a net moves when it does not move at once: all its resistors in parallel, or that
/// of the output on a net with capacitors. `None` for nets of open drains, and of outputs that let go.
fn moved_by(
    circuit: &Circuit,
    operating_point: &OperatingPoint,
    sheets: &Sheets,
    key: NetKey,
    capacitors: Capacitance,
) -> Option<Ohms> {
    let drivers = &operating_point.nets[key].drivers;
    if drivers.is_empty() {
        return super::all_resistors(circuit, key);
    }
    if capacitors == Capacitance::ZERO || super::is_open_drain(circuit, &operating_point.nets[key]) {
        return None;
    }
    let mut slowest: Option<Ohms> = None;
    for driver in drivers.iter().filter(|driver| driver.enabled != Enabled::Never) {
        let output = sheets.output(circuit, driver.chip, driver.pin)?;
        for side in [output.high?, output.low?] {
            let &(amps, volts) = side.points.last()?;
            let ohms = (side.rail - volts).abs() / amps.max(Amperes(1e-9));
            slowest = Some(slowest.map_or(ohms, |old| old.max(ohms)));
        }
    }
    slowest
}

/// A time in words, to three digits.
pub(super) fn time(seconds: Seconds) -> String {
    let mut step = 1.0;
    let picoseconds = seconds.0 * 1e12;
    while picoseconds / step >= 1000.0 {
        step *= 10.0;
    }
    Time::from_ps(((picoseconds / step).round() * step) as i64).to_string()
}

#[cfg(test)]
mod tests {
    use super::{Seconds, time};

    #[test]
    fn times_have_three_digits() {
        assert_eq!(time(Seconds(2.1972e-3)), "2.2 ms");
        assert_eq!(time(Seconds(8.4e-9)), "8.4 ns");
    }
}
