//! Discretes: which values each kind takes, and what its pins are called.

use crate::diagnostic::Diagnostic;
use crate::language::ast::{Component, Value};
use crate::model::things::DiscreteKind;
use crate::part::{Part, PinKind};
use crate::quantity::{Capacitance, Power, Quantity, Resistance};
use crate::text::Spanned;

/// A kind of discrete: its word, the values that it must and may have, and a line that shows it.
struct Form {
    word: &'static str,
    must: &'static [Slot],
    may: &'static [Slot],
    pins: &'static [&'static str],
    example: &'static str,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Slot {
    Resistance,
    Power,
    Capacitance,
    Colour,
    Style,
    Pins,
}

const FORMS: [Form; 8] = [
    Form {
        word: "resistor",
        must: &[Slot::Resistance],
        may: &[Slot::Power],
        pins: &["1", "2"],
        example: "R1 resistor 10 kohm { 1 = VCC  2 = /reset }",
    },
    Form {
        word: "network",
        must: &[Slot::Resistance, Slot::Style, Slot::Pins],
        may: &[Slot::Power],
        pins: &[],
        example: "RN1 network bussed 9 pins 10 kohm { 1 = VCC  2..9 = m[0..7] }",
    },
    Form {
        word: "capacitor",
        must: &[Slot::Capacitance],
        may: &[],
        pins: &["1", "2"],
        example: "C1 capacitor 100 nF decouples U1",
    },
    Form {
        word: "led",
        must: &[Slot::Colour],
        may: &[Slot::Resistance],
        pins: &["anode", "cathode"],
        example: "D1 led red 680 ohm { anode = run  cathode = GND }",
    },
    Form { word: "button", must: &[], may: &[], pins: &["1", "2"], example: "SW1 button { 1 = /reset  2 = GND }" },
    Form { word: "switch", must: &[], may: &[], pins: &["1", "2"], example: "SW1 switch { 1 = halt  2 = GND }" },
    Form {
        word: "changeover",
        must: &[],
        may: &[],
        pins: &["common", "up", "down"],
        example: "SW1 changeover { common = mode  up = VCC  down = GND }",
    },
    Form { word: "testpoint", must: &[], may: &[], pins: &["1"], example: "TP1 testpoint { 1 = phi }" },
];

/// Every word for a discrete.
pub(super) fn words() -> impl Iterator<Item = &'static str> {
    FORMS.iter().map(|form| form.word)
}

/// A component that is a discrete.
pub(super) struct Read {
    pub(super) kind: DiscreteKind,
    /// The power that it stands, when that is written.
    pub(super) rating: Option<Power>,
    pub(super) pins: PinNames<'static>,
}

/// What a component is as a discrete; `None` when its word is not one of theirs. `Err` tells what is wrong with its
/// values.
pub(super) fn read(component: &Component) -> Option<Result<Read, Vec<Diagnostic>>> {
    let form = FORMS.iter().find(|form| form.word == component.kind.node)?;
    let mut reader = Reader { form, values: Values::default(), problems: Vec::new() };
    for value in &component.values {
        reader.take(value);
    }
    reader.check(component);
    if reader.problems.is_empty() { Some(Ok(reader.kind())) } else { Some(Err(reader.problems)) }
}

#[derive(Default)]
struct Values {
    resistance: Option<Resistance>,
    power: Option<Power>,
    capacitance: Option<Capacitance>,
    colour: Option<String>,
    bussed: Option<bool>,
    pins: Option<usize>,
}

struct Reader {
    form: &'static Form,
    values: Values,
    problems: Vec<Diagnostic>,
}

impl Reader {
    fn take(&mut self, value: &Spanned<Value>) {
        let word = self.form.word;
        let slot = slot_of(&value.node);
        let free = slot.filter(|slot| self.form.must.contains(slot) || self.form.may.contains(slot));
        let message = match free {
            None => format!("{} does not belong to `{word}`", describe(&value.node)),
            Some(slot) if self.has(slot) => format!("this {word} has {} twice", slot.words()),
            Some(_) if !is_positive(&value.node) => {
                format!("{} must be more than zero", describe(&value.node))
            }
            Some(_) => return self.set(&value.node),
        };
        self.problems.push(
            Diagnostic::error("value", message)
                .at(value.span, "this value")
                .help(format!("write it as in `{}`", self.form.example)),
        );
    }

    fn set(&mut self, value: &Value) {
        let values = &mut self.values;
        match value {
            Value::Quantity(Quantity::Resistance(value)) => values.resistance = Some(*value),
            Value::Quantity(Quantity::Power(value)) => values.power = Some(*value),
            Value::Quantity(Quantity::Capacitance(value)) => values.capacitance = Some(*value),
            Value::Quantity(_) | Value::Estimated => {}
            Value::Colour(colour) => values.colour = Some(colour.clone()),
            Value::Bussed(bussed) => values.bussed = Some(*bussed),
            Value::Pins(pins) => values.pins = Some(*pins as usize),
        }
    }

    fn has(&self, slot: Slot) -> bool {
        match slot {
            Slot::Resistance => self.values.resistance.is_some(),
            Slot::Power => self.values.power.is_some(),
            Slot::Capacitance => self.values.capacitance.is_some(),
            Slot::Colour => self.values.colour.is_some(),
            Slot::Style => self.values.bussed.is_some(),
            Slot::Pins => self.values.pins.is_some(),
        }
    }

    fn check(&mut self, component: &Component) {
        if !self.problems.is_empty() {
            return;
        }
        let missing: Vec<_> = self.form.must.iter().filter(|slot| !self.has(**slot)).collect();
        let word = self.form.word;
        let message = if !missing.is_empty() {
            let missing: Vec<&str> = missing.iter().map(|slot| slot.words()).collect();
            format!("this {word} lacks {}", missing.join(" and "))
        } else if word != "capacitor" && !component.decouples.is_empty() {
            format!("`{word}` decouples nothing; a capacitor does")
        } else if matches!((self.values.bussed, self.values.pins), (_, Some(0 | 1))) {
            "a network has at least 2 pins".to_owned()
        } else if self.values.bussed == Some(false) && self.values.pins.is_some_and(|n| n % 2 == 1) {
            "an isolated network has two pins for each resistor, so their number is even".to_owned()
        } else {
            return;
        };
        self.problems.push(
            Diagnostic::error("value", message)
                .at(component.span, "this one")
                .help(format!("write it as in `{}`", self.form.example)),
        );
    }

    fn kind(self) -> Read {
        let Values { resistance, power, capacitance, colour, bussed, pins } = self.values;
        let kind = match self.form.word {
            "resistor" => DiscreteKind::Resistor(resistance.unwrap_or_default()),
            "network" => DiscreteKind::Network(resistance.unwrap_or_default(), bussed.unwrap_or_default()),
            "capacitor" => DiscreteKind::Capacitor(capacitance.unwrap_or_default()),
            "led" => DiscreteKind::Led(colour.unwrap_or_default(), resistance),
            "button" => DiscreteKind::Button,
            "switch" => DiscreteKind::Switch,
            "changeover" => DiscreteKind::Changeover,
            _ => DiscreteKind::TestPoint,
        };
        let names = PinNames::Discrete {
            word: self.form.word,
            names: self.form.pins,
            count: pins.unwrap_or(self.form.pins.len()),
        };
        Read { kind, rating: power, pins: names }
    }
}

impl Slot {
    fn words(self) -> &'static str {
        match self {
            Slot::Resistance => "a resistance",
            Slot::Power => "a power",
            Slot::Capacitance => "a capacitance",
            Slot::Colour => "a colour",
            Slot::Style => "`bussed` or `isolated`",
            Slot::Pins => "a number of pins",
        }
    }
}

fn slot_of(value: &Value) -> Option<Slot> {
    match value {
        Value::Quantity(Quantity::Resistance(_)) => Some(Slot::Resistance),
        Value::Quantity(Quantity::Power(_)) => Some(Slot::Power),
        Value::Quantity(Quantity::Capacitance(_)) => Some(Slot::Capacitance),
        Value::Quantity(_) | Value::Estimated => None,
        Value::Colour(_) => Some(Slot::Colour),
        Value::Bussed(_) => Some(Slot::Style),
        Value::Pins(_) => Some(Slot::Pins),
    }
}

fn is_positive(value: &Value) -> bool {
    match value {
        Value::Quantity(Quantity::Resistance(value)) => *value > Resistance::ZERO,
        Value::Quantity(Quantity::Power(value)) => *value > Power::ZERO,
        Value::Quantity(Quantity::Capacitance(value)) => *value > Capacitance::ZERO,
        _ => true,
    }
}

/// What a value is, in words.
pub(super) fn describe(value: &Value) -> &'static str {
    match value {
        Value::Quantity(quantity) => quantity.kind(),
        Value::Colour(_) => Slot::Colour.words(),
        Value::Bussed(_) => Slot::Style.words(),
        Value::Pins(_) => Slot::Pins.words(),
        Value::Estimated => "`estimated`",
    }
}

/// How the pins of a component are called.
pub(super) enum PinNames<'a> {
    Chip { number: &'a str, part: &'a Part },
    Discrete { word: &'static str, names: &'static [&'static str], count: usize },
}

impl PinNames<'_> {
    pub(super) fn count(&self) -> usize {
        match self {
            PinNames::Chip { part, .. } => part.pins.len(),
            PinNames::Discrete { count, .. } => *count,
        }
    }

    /// The highest pin number.
    pub(super) fn highest(&self) -> usize {
        match self {
            PinNames::Chip { part, .. } => part.pins.last().map_or(0, |pin| pin.number as usize),
            PinNames::Discrete { count, .. } => *count,
        }
    }

    /// The kind of component that it is.
    pub(super) fn what(&self) -> &str {
        match self {
            PinNames::Chip { number, .. } => number,
            PinNames::Discrete { word, .. } => word,
        }
    }

    pub(super) fn numbered(&self, number: u32) -> Option<usize> {
        match self {
            PinNames::Chip { part, .. } => part.pin_numbered(number),
            PinNames::Discrete { count, .. } => (number as usize).checked_sub(1).filter(|index| index < count),
        }
    }

    pub(super) fn named(&self, name: &str) -> Option<usize> {
        match self {
            PinNames::Chip { part, .. } => part.pin_named(name),
            PinNames::Discrete { names, .. } => names.iter().position(|other| *other == name),
        }
    }

    /// Every name that a pin has, in order of the numbers.
    pub(super) fn names(&self) -> Vec<&str> {
        match self {
            PinNames::Chip { part, .. } => {
                let pins = part.pins.iter().filter(|pin| pin.kind != PinKind::None);
                pins.map(|pin| pin.name.as_str()).collect()
            }
            PinNames::Discrete { names, .. } => names.to_vec(),
        }
    }

    /// `pin 11 (CLK)`, `pin 2`, `the anode`.
    pub(super) fn title(&self, index: usize) -> String {
        match self {
            PinNames::Chip { part, .. } => {
                format!("pin {} ({})", part.pins[index].number, part.pins[index].name)
            }
            PinNames::Discrete { names, .. } => match names.get(index) {
                Some(name) if name.parse::<u32>().is_err() => format!("the {name}"),
                _ => format!("pin {}", index + 1),
            },
        }
    }
}
