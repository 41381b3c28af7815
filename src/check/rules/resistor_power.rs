//! A resistor gets hotter than it stands.
//!
//! # What it finds
//!
//! Resistors that may turn more power into heat than they are made for: 0.25 W, each one of a network 0.125 W, or the power
//! that the design writes behind the resistance. The power is I I R with the most current that flows in any state of the
//! nets at its ends: from rail to rail, between outputs at different levels, through lamps, contacts and inputs. Through one
//! of 10 ohm or less that a rail hangs on, such as a fuse, flows what all chips and lamps behind it draw at rest.
//!
//! # Why it hurts
//!
//! It discolours, changes its value, and burns a hole into the board. One of a few ohms between supply and ground is a
//! short: it takes the supply down.
//!
//! # Cure
//!
//! A larger resistance; or a part that stands the power, twice of it as is usual, written as `resistor 47 ohm 1 W`.
//!
//! # Example
//!
//! ```text
//! R1 resistor 47 ohm { 1 = VCC   2 = GND }          # 0.53 W at 5 V
//! ```
//!
//! # Source
//!
//! P = I I R: every handbook. 0.25 W for a resistor with leads, 0.125 W for each one of a network: common practice.

use super::super::levels::amps;
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{DiscreteKey, DiscreteKind};
use crate::diagnostic::Diagnostic;
use crate::quantity::Power;
use crate::quantity::si::Amperes;
use std::collections::BTreeMap;

pub(crate) const RULE: Rule = Rule {
    name: "resistor-power",
    summary: "A resistor gets hotter than it stands.",
    documentation: page!("resistor_power.rs"),
    find,
};

/// Of a resistor with leads.
const SINGLE: Power = Power::from_raw(250_000);
/// Of each one of a network.
const NETWORK: Power = Power::from_raw(125_000);

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let mut reported = None;
    let own = &subject.operating_point.currents.resistors;
    let own = own.iter().map(|(&(key, _), &drawn)| (key, drawn));
    for (key, drawn) in own.chain(rail_currents(subject)) {
        let resistor = &circuit.discretes[key];
        let (ohms, usual) = match &resistor.kind {
            DiscreteKind::Resistor(ohms) => (*ohms, SINGLE),
            DiscreteKind::Network(ohms, _) => (*ohms, NETWORK),
            _ => continue,
        };
        let most = resistor.rating.unwrap_or(usual);
        let heat = ohms.ohms().heat(drawn);
        // 1 % more is the same for a resistor.
        if heat <= most.watts() * 1.01 || reported == Some(key) {
            continue;
        }
        reported = Some(key);
        let power = Power::from_raw((heat.0 * 1e3).round() as i64) * 1_000;
        let voltage_rating =
            if resistor.rating.is_some() { format!("stands {most}") } else { format!("is taken to stand {most}") };
        let message = format!(
            "{} may turn {power} into heat ({} through {ohms}), and {voltage_rating}",
            resistor.path,
            amps(drawn)
        );
        let problem = Diagnostic::error(RULE.name, message)
            .at(resistor.span, "this resistor")
            .note("it discolours, changes its value, and burns the board")
            .help("take a larger resistance, or one that stands the power, and write that behind it: `1 W`");
        findings.push(Finding::new(circuit, resistor.board, resistor.path.clone(), problem));
    }
}

/// Resistors that a rail hangs on, with what the rails behind them draw.
fn rail_currents(subject: &Subject<'_>) -> BTreeMap<DiscreteKey, Amperes> {
    let circuit = subject.circuit;
    let mut drawn = BTreeMap::new();
    for (&(net, _), &amps) in &subject.power.rails {
        let via = circuit.nets[net].rail.and_then(|rail| rail.via);
        if let Some((key, _)) = via
            && matches!(circuit.discretes[key].kind, DiscreteKind::Resistor(_))
        {
            *drawn.entry(key).or_default() += amps;
        }
    }
    drawn
}

#[cfg(test)]
mod tests {
    use crate::check::rules::bench::{only, places};

    fn found(lines: &str) -> Vec<String> {
        places("resistor-power", &format!("board b {{ rail VCC 5 V  rail GND  {lines} }}"))
    }

    #[test]
    fn between_the_rails() {
        // P = V V / R: 5 V over 1 ohm is 25 W; a quarter watt allows 100 ohm at 5 V.
        let finding =
            only("resistor-power", "board b { rail VCC 5 V  rail GND  R1 resistor 1 ohm { 1 = VCC  2 = GND } }");
        assert_eq!(
            finding.diagnostic.message,
            "R1 may turn 25 W into heat (5 A through 1 ohm), and is taken to stand 250 mW"
        );
        assert_eq!(found("R1 resistor 100 ohm { 1 = VCC  2 = GND }").len(), 0);
        assert_eq!(found("R1 resistor 91 ohm { 1 = VCC  2 = GND }").len(), 1);
        assert!(found("R1 resistor 91 ohm 500 mW { 1 = GND  2 = VCC }").is_empty());
        assert_eq!(found("R1 resistor 39 ohm 0.5 W { 1 = GND  2 = VCC }").len(), 1);
    }

    #[test]
    fn dividers_contacts_and_networks() {
        // Two of 47 ohm in series carry 53 mA: 0.13 W each.
        let divider = |ohms: u32| {
            format!("R1 resistor {ohms} ohm {{ 1 = VCC  2 = mid }}  R2 resistor {ohms} ohm {{ 1 = mid  2 = GND }}")
        };
        assert!(found(&divider(47)).is_empty());
        assert_eq!(found(&divider(22)).len(), 2);
        // A button shorts what the resistor pulls up.
        let button =
            |ohms: u32| format!("R1 resistor {ohms} ohm {{ 1 = VCC  2 = go }}  SW1 button {{ 1 = go  2 = GND }}");
        assert_eq!(found(&button(47)), ["R1: error"]);
        assert!(found(&button(470)).is_empty());
        // Each one of a network stands half of that: 200 ohm at 5 V.
        let network = |ohms: u32| format!("RN1 network bussed 3 pins {ohms} ohm {{ 1 = VCC  2..3 = GND }}");
        assert_eq!(found(&network(150)), ["RN1: error"]);
        assert!(found(&network(220)).is_empty());
    }
}
