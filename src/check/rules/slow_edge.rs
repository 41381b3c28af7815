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
use crate::electrical::drive::Holds;
use crate::electrical::pull::{rise_time, time_between};
use crate::electrical::sheet::{Slowest, slowest_edge};
use crate::electrical::{Capacitances, Sheets, View};
use crate::quantity::{Capacitance, Time};

/// The rule.
pub const RULE: Rule = Rule {
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
        let load = capacitances.nets[key];
        let Some(resistance) = moved_by(circuit, &subject.view, &sheets, key, load.capacitors)
        else {
            continue;
        };
        let farads = load.total().as_f64();
        let slow = subject.view.nets[key]
            .listeners
            .iter()
            .find_map(|listener| {
                let chip = &circuit.chips[listener.chip];
                let pin = listener.pin;
                if chip.part.pins[pin].schmitt
                    || super::is_clock(chip, pin)
                    || super::holds_storage(chip, pin)
                {
                    return None;
                }
                let supply = chip.supply.as_f64();
                let (low, high) = (listener.input.low / supply, listener.input.high / supply);
                let (takes, allowed, unit) = match slowest_edge(chip)? {
                    Slowest::Whole(most) => {
                        (rise_time(resistance, farads), most, "from 10 % to 90 %")
                    }
                    Slowest::PerVolt(most) => {
                        let volts = listener.input.high - listener.input.low;
                        let seconds = time_between(resistance, farads, low, high);
                        (seconds / volts, most, "for each volt")
                    }
                };
                (takes > allowed).then_some((listener, takes, allowed, unit))
            });
        let Some((listener, takes, allowed, unit)) = slow else {
            continue;
        };
        let chip = &circuit.chips[listener.chip];
        let message = format!(
            "with {}, {} takes {} {unit}, and {} wants {} or less",
            ohms(resistance),
            net.path,
            time(takes),
            super::pin_in_words(circuit, listener.chip, listener.pin),
            time(allowed)
        );
        let mut problem = Diagnostic::warning(RULE.name, message)
            .at(chip.span, format!("a {} without hysteresis", chip.number))
            .at(net.span, "this net")
            .note("near its threshold an input draws current, and what is behind it may oscillate");
        if load.capacitors > Capacitance::ZERO {
            problem = problem.note(format!("{} stand on the net", load.capacitors));
        }
        let problem = problem.help(
            "put a Schmitt inverter between, such as one of a 74HC14, or take a smaller resistor",
        );
        let path = net.path.clone();
        findings.push(Finding::new(circuit, super::board_of(net), path, problem));
    }
}

/// The resistance through which a net moves when it does not move at once, in ohms: all its resistors in parallel, or that
/// of the output on a net with capacitors. `None` for nets of open drains, and of outputs that let go.
fn moved_by(
    circuit: &Circuit,
    view: &View,
    sheets: &Sheets,
    key: NetKey,
    capacitors: Capacitance,
) -> Option<f64> {
    let drivers = &view.nets[key].drivers;
    if drivers.is_empty() {
        return super::all_resistors(circuit, key);
    }
    if capacitors == Capacitance::ZERO || super::is_open_drain(circuit, &view.nets[key]) {
        return None;
    }
    let mut slowest: Option<f64> = None;
    for driver in drivers.iter().filter(|driver| driver.holds != Holds::Never) {
        let output = sheets.output(circuit, driver.chip, driver.pin)?;
        for side in [output.high?, output.low?] {
            let &(amps, volts) = side.points.last()?;
            let ohms = (side.rail - volts).abs() / amps.max(1e-9);
            slowest = Some(slowest.map_or(ohms, |old| old.max(ohms)));
        }
    }
    slowest
}

/// Seconds in words, to three digits.
fn time(seconds: f64) -> String {
    let mut step = 1.0;
    let picoseconds = seconds * 1e12;
    while picoseconds / step >= 1000.0 {
        step *= 10.0;
    }
    Time::from_ps(((picoseconds / step).round() * step) as i64).to_string()
}

#[cfg(test)]
mod tests {
    use super::time;

    #[test]
    fn times_have_three_digits() {
        assert_eq!(time(2.1972e-3), "2.2 ms");
        assert_eq!(time(8.4e-9), "8.4 ns");
    }
}
