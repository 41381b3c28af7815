//! A pin gets a higher voltage than it stands.
//!
//! # What it finds
//!
//! Nets on which an output, a contact or a resistor brings a higher voltage than a pin on it stands that only listens, or
//! is off: outputs of a chip on a higher rail, switches and pull-ups to one. Inputs of HC, HCT, AC and ACT parts, and
//! three-state outputs of every CMOS family, stand 0.5 V more than their own supply; inputs of AHC, AHCT, LS, ALS and F
//! parts 7 V, and of plain TTL and S parts 5.5 V, whatever their supply. Open collectors of TTL, LS and S parts may be pulled
//! up to 5.5 V, those of the 06 and 07 to 30 V. What an open drain of a CMOS part stands no sheet of the library tells: it is
//! taken to clamp like an output that is off, and the finding is a warning.
//!
//! Through a resistor the clamp of the pin may carry 1 mA; more is a warning, and more than the sheet's absolute maximum an
//! error. Outputs of bipolar families give no more than about a volt below their supply: a warning. So is a memory, whose
//! sheet is taken to say the same as that of an HC part.
//!
//! # Why it hurts
//!
//! The clamp leads the current into the lower rail: it lifts that rail, and with it everything on it, or feeds chips whose
//! rail is off. Beyond some milliamperes the chip may latch up and short its supply.
//!
//! # Cure
//!
//! A receiver whose inputs stand it (AHC), on the lower rail; a resistor of some kiloohms between; or an open drain with a
//! pull-up to the lower rail.
//!
//! # Example
//!
//! ```text
//! feed U1 from V5 GND    feed U2 from V33 GND
//! U1 74HC04 { 1A = a   1Y = ready }
//! U2 74HC04 { 1A = ready   ... }          # 5 V at an input that stands 3.8 V
//! ```
//!
//! # Source
//!
//! Philips 74HC/HCT245 Rev.03 (clamps at the supply and 0.5 V, 20 mA); NXP 74AHC245/74AHCT245 Rev.05 (7 V, whatever the
//! supply); TI SDLS025B (LS 7 V, S and TTL 5.5 V); National DM7403 and Fairchild DM74LS03 (open collectors, 5.5 V); TI SDLS020F
//! (06, 30 V; 07 from memory). 1 mA: common practice.

use super::super::levels::{amps, volts};
use crate::check::{Finding, Rule, Subject, page};
use crate::circuit::{Circuit, DiscreteKind, NetKey};
use crate::diagnostic::{Diagnostic, Severity};
use crate::electrical::drive::Enabled;
use crate::electrical::sheet::{VoltageRating, voltage_rating};
use crate::electrical::{OperatingPoint, Sheets};
use crate::part::PinKind;
use crate::quantity::si::{Amperes, Volts};

pub(crate) const RULE: Rule = Rule {
    name: "input-too-high",
    summary: "A pin gets a higher voltage than it stands.",
    documentation: page!("input_too_high.rs"),
    find,
};

/// A clamp carries so much without harm.
const HARMLESS: Amperes = Amperes(1e-3);
/// Nearer than this is the same.
const SAME: Volts = Volts(1e-6);

/// What brings a voltage to a net.
struct Brings {
    /// In words, with its verb: `U1.1Y (pin 2) gives up to`.
    words: String,
    volts: Volts,
    /// The least that flows into a clamp at the voltage that it begins at; `None` when nothing limits it.
    amps: Option<Amperes>,
    /// True when it may as well be less.
    vague: bool,
    through_resistors: bool,
}

fn find(subject: &Subject<'_>, findings: &mut Vec<Finding>) {
    let circuit = subject.circuit;
    let sheets = Sheets::new(circuit);
    for (key, net) in circuit.nets.iter().filter(|(_, net)| net.rail.is_none()) {
        let pins = net.chip_pins.iter().filter_map(|&(chip, pin)| {
            let row = &circuit.chips[chip];
            let voltage_rating = voltage_rating(row, pin).filter(|_| row.fed)?;
            Some((chip, pin, voltage_rating))
        });
        let weakest = pins.min_by(|a, b| a.2.volts.total_cmp(&b.2.volts));
        let Some((chip, pin, voltage_rating)) = weakest else {
            continue;
        };
        let Some(brings) = highest(circuit, &subject.operating_point, &sheets, key, voltage_rating) else {
            continue;
        };
        let carried = brings.amps.unwrap_or(Amperes::MAX);
        let severity = match voltage_rating.clamp {
            Some(_) if brings.through_resistors && carried <= HARMLESS => continue,
            Some(most) if brings.through_resistors && carried <= most => Severity::Warning,
            _ if brings.vague || voltage_rating.assumed => Severity::Warning,
            _ => Severity::Error,
        };
        let row = &circuit.chips[chip];
        let own = match voltage_rating.clamp {
            Some(_) => format!(", its supply of {} and 0.5 V", row.supply),
            None => String::new(),
        };
        let message = format!(
            "{} {} on {}, and {} stands {}{own}",
            brings.words,
            volts(brings.volts),
            net.path,
            super::pin_in_words(circuit, chip, pin),
            volts(voltage_rating.volts)
        );
        let mut problem = Diagnostic::new(severity, RULE.name, message)
            .at(row.span, format!("a {} at {}", row.number, row.supply))
            .at(net.span, "this net");
        if let Some(most) = voltage_rating.clamp {
            let least = if brings.through_resistors { "" } else { " at least" };
            let flow = match brings.amps {
                Some(drawn) => format!("{}{least} flow", amps(drawn)),
                None => "a current that nothing limits flows".to_owned(),
            };
            problem = problem.note(format!(
                "{flow} through its clamp into its rail, which they lift; the clamp stands {}",
                amps(most)
            ));
        } else {
            problem = problem.note("beyond that voltage a pin breaks down");
        }
        if voltage_rating.assumed {
            problem = problem.note("no sheet gives what this pin stands: a clamp like that of an HC part is assumed");
        }
        let problem = problem.help(if row.part.pins[pin].kind == PinKind::OpenDrain {
            "pull it up to its own supply, or take an open collector that stands more (7406, 7407)"
        } else {
            "take a receiver of a family whose inputs stand it (AHC), or a resistor of some kiloohms between"
        });
        let path = net.path.clone();
        findings.push(Finding::new(circuit, super::board_of(net), path, problem));
    }
}

/// What brings the highest voltage to a net, when that is more than a pin stands.
fn highest(
    circuit: &Circuit,
    operating_point: &OperatingPoint,
    sheets: &Sheets,
    key: NetKey,
    voltage_rating: VoltageRating,
) -> Option<Brings> {
    let net = &circuit.nets[key];
    let mut found: Vec<Brings> = Vec::new();
    for driver in &operating_point.nets[key].drivers {
        let chip = &circuit.chips[driver.chip];
        let output = sheets.output(circuit, driver.chip, driver.pin);
        let Some(high) = output.and_then(|output| output.high) else {
            continue;
        };
        if driver.enabled == Enabled::Never {
            continue;
        }
        let bipolar = super::is_bipolar(chip);
        let drawn = high.points.last().map(|&(amps, volts)| {
            // On the straight line from the supply through the sheet's last point.
            Amperes(amps.0 * (high.rail - voltage_rating.volts).0 / (high.rail - volts).max(Volts(1e-3)).0)
        });
        found.push(Brings {
            words: format!("{} gives up to", super::pin_in_words(circuit, driver.chip, driver.pin)),
            volts: high.rail,
            amps: drawn,
            vague: bipolar,
            through_resistors: false,
        });
    }
    let mut through = Amperes::ZERO;
    let mut from: Vec<&str> = Vec::new();
    let mut most = Volts::ZERO;
    for &(discrete, pin) in &net.discrete_pins {
        let row = &circuit.discretes[discrete];
        let there = |at: usize| row.nets.get(at).copied().flatten();
        let reach = |net: NetKey| match circuit.nets[net].rail {
            Some(rail) => rail.fed.map_or(Volts::ZERO, |volts| volts.volts()),
            None => operating_point.nets[net].high.map_or(Volts::ZERO, |high| high.volts.most),
        };
        let (ohms, others) = match (&row.kind, pin) {
            (DiscreteKind::Resistor(ohms), _) => (Some(ohms), vec![1 - pin.min(1)]),
            (DiscreteKind::Network(ohms, true), 0) => (Some(ohms), (1..row.nets.len()).collect()),
            (DiscreteKind::Network(ohms, true), _) => (Some(ohms), vec![0]),
            (DiscreteKind::Network(ohms, false), _) => (Some(ohms), vec![pin ^ 1]),
            (DiscreteKind::Button | DiscreteKind::Switch, _) => (None, vec![1 - pin.min(1)]),
            (DiscreteKind::Changeover, 0) => (None, vec![1, 2]),
            (DiscreteKind::Changeover, _) => (None, vec![0]),
            _ => continue,
        };
        for level in others.into_iter().filter_map(there).map(reach) {
            match ohms {
                Some(ohms) if level > voltage_rating.volts => {
                    through += (level - voltage_rating.volts) / ohms.ohms();
                    most = most.max(level);
                    from.push(&row.path);
                }
                None => found.push(Brings {
                    words: format!("{} brings", row.path),
                    volts: level,
                    amps: None,
                    vague: false,
                    through_resistors: false,
                }),
                _ => {}
            }
        }
    }
    from.dedup();
    if through > Amperes::ZERO {
        let verb = if from.len() == 1 { "brings" } else { "bring" };
        found.push(Brings {
            words: format!("{} {verb}", super::list(&from)),
            volts: most,
            amps: Some(through),
            vague: false,
            through_resistors: true,
        });
    }
    let worse = |a: &Brings, b: &Brings| {
        let rank = |brings: &Brings| (!brings.through_resistors, brings.volts);
        let (a, b) = (rank(a), rank(b));
        a.0.cmp(&b.0).then(a.1.total_cmp(&b.1))
    };
    found.retain(|brings| brings.volts > voltage_rating.volts + SAME);
    found.into_iter().max_by(worse)
}
