//! At times nobody drives a bus, and nothing holds it.
//!
//! # What it finds
//!
//! Nets that inputs listen to and whose outputs can all let go at the same time, without a resistor to a level. The
//! logic behind the enables is searched as for `bus-contention`: a warning when a single signal or contacts do it, else a
//! note with the values. On a board alone nets that lead to a connector are left out.
//!
//! # Why it hurts
//!
//! A bus that nobody drives drifts with what leaks: 50 uA move 20 pF by 2.5 V in a microsecond. Inputs read it as high or
//! low by chance, and CMOS inputs near their threshold draw a large supply current.
//!
//! # Cure
//!
//! Hold each line with a resistor of 10 kohm, or let one output always be enabled.
//!
//! # Example
//!
//! ```text
//! U1 74HC541 { /OE[1..2] = /read   Y[1..8] = m[0..7]   ... }
//! U2 74HC574 { D[1..8] = m[0..7]   ... }               # what is m while /read is high?
//! ```
//!
//! # Source
//!
//! TI SCBA004 (floating buses: 50 uA, 20 pF, 2.5 V/us; resistors of 1 kohm to 10 kohm).

use super::bus_contention::{buses, severity};
use crate::check::levels::volts;
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::NetKey;
use crate::diagnostic::{Diagnostic, Severity};
use crate::electrical::drive::Enabled;
use crate::electrical::pull::drift_time;
use crate::electrical::{Capacitances, Sheets};
use crate::hazard::cone::{Answer, Cone, Goal};
use crate::quantity::si::{Amperes, Volts};

pub(crate) const RULE: Rule = Rule {
    name: "bus-floats",
    summary: "At times nobody drives a bus, and nothing holds it.",
    documentation: page!("bus_floats.rs"),
    find,
};

/// From a low level to none (TI SCBA004).
const STEP: Volts = Volts(0.8);

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    for (nets, drivers) in buses(subject) {
        let alone = |net: &&NetKey| {
            let row = &circuit.nets[**net];
            let listens = row
                .chip_pins
                .iter()
                .any(|&(chip, pin)| circuit.chips[chip].fed && circuit.chips[chip].part.pins[pin].is_input());
            let outside = !circuit.assembly && !row.connector_pins.is_empty();
            listens && !outside && subject.operating_point.nets[**net].off == [None; 2]
        };
        let nets: Vec<_> = nets.iter().filter(alone).copied().collect();
        let Some(&first) = nets.first() else { continue };
        if drivers.iter().any(|driver| driver.enabled == Enabled::Always) {
            continue;
        }
        let goals: Vec<Goal> = drivers.iter().map(|&driver| Goal::Drives(driver, false)).collect();
        let mut cone = Cone::new(circuit, &subject.operating_point, &goals);
        let Answer::When(choice) = cone.search(&goals) else {
            continue;
        };
        let choice = cone.least(&goals, choice);
        let severity = severity(circuit, &choice).max(Severity::Warning);
        let net = &circuit.nets[first];
        let message = format!("nobody drives {} when {}", net.path, cone.words(&choice));
        let mut problem = Diagnostic::new(severity, RULE.name, message)
            .at(net.span, "nothing holds this net then")
            .note(drift(subject, first))
            .help("hold it with a resistor of 10 kohm to a rail");
        if nets.len() > 1 {
            problem = problem.note(super::and_as_many(circuit, &nets));
        }
        findings.push(Finding::new(circuit, super::board_of(net), net.path.clone(), problem));
    }
}

/// What leaks onto a net, and how fast that moves it.
fn drift(subject: &Subject<'_>, net: NetKey) -> String {
    let circuit = subject.circuit;
    let sheets = Sheets::new(circuit);
    let operating_point = &subject.operating_point.nets[net];
    let outputs = operating_point.drivers.iter();
    let outputs = outputs.filter_map(|driver| sheets.output(circuit, driver.chip, driver.pin));
    let inputs = operating_point.loads.iter();
    let leak =
        outputs.map(|output| output.leak).sum::<Amperes>() + inputs.map(|load| load.input.current_low).sum::<Amperes>();
    let farads = Capacitances::new(circuit, false).nets[net].total().farads();
    let by_chance = "whatever listens reads it by chance";
    if leak > Amperes::ZERO {
        let nanoseconds = drift_time(STEP, leak, farads).0 * 1e9;
        format!("leakages may move it by {} in {nanoseconds:.0} ns, and {by_chance}", volts(STEP))
    } else {
        format!("it drifts, and {by_chance}")
    }
}
