//! A design in plain lists of our own, each pin with its net, that can be changed and written as text.

use coldboard::model::{DiscreteKind, Joint, Model, SegmentId};
use coldboard::part::PinKind;
use coldboard::quantity::{Current, Frequency, Length, Power, Voltage};
use std::collections::BTreeMap;
use std::fmt::Write;

/// What a pin is connected to.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) enum To {
    Nothing,
    Net(String),
    Open,
}

#[derive(Clone, Debug)]
pub(super) struct Chip {
    pub(super) reference: String,
    pub(super) number: String,
    pub(super) estimated: bool,
    pub(super) frequency: Option<Frequency>,
    /// Numbers of pins, and what they are connected to.
    pub(super) pins: Vec<(u32, To)>,
    pub(super) oscillates: bool,
}

#[derive(Clone, Debug)]
pub(super) struct Discrete {
    pub(super) reference: String,
    pub(super) kind: DiscreteKind,
    pub(super) decouples: Vec<String>,
    pub(super) rating: Option<Power>,
    pub(super) pins: Vec<To>,
}

#[derive(Clone, Debug)]
pub(super) struct Contact {
    pub(super) label: Option<String>,
    pub(super) remark: Option<String>,
    pub(super) to: To,
}

#[derive(Clone, Debug)]
pub(super) struct Connector {
    pub(super) name: String,
    pub(super) kind: String,
    pub(super) contacts: Vec<Contact>,
}

#[derive(Clone, Debug, Default)]
pub(super) struct Board {
    pub(super) path: String,
    pub(super) title: String,
    pub(super) trace: Option<Length>,
    pub(super) rails: Vec<(String, Voltage)>,
    pub(super) chips: Vec<Chip>,
    pub(super) discretes: Vec<Discrete>,
    pub(super) connectors: Vec<Connector>,
    /// Pairs of nets that are one by a bridge.
    pub(super) bridges: Vec<(String, String)>,
    /// Lines that are kept as they are.
    pub(super) more: String,
}

/// A contact by the path of its connector and its index.
pub(super) type End = (String, usize);

#[derive(Clone, Debug)]
pub(super) struct Cable {
    pub(super) name: String,
    pub(super) kind: String,
    pub(super) length: Length,
    pub(super) conductors: Vec<Vec<End>>,
}

#[derive(Clone, Debug)]
pub(super) struct Supply {
    pub(super) name: String,
    pub(super) voltage: Voltage,
    pub(super) current: Current,
    /// Plus or minus, and the contact.
    pub(super) poles: Vec<(bool, End)>,
}

/// A design.
#[derive(Clone, Debug, Default)]
pub(super) struct Flat {
    pub(super) assembly: bool,
    pub(super) boards: Vec<Board>,
    pub(super) cables: Vec<Cable>,
    pub(super) supplies: Vec<Supply>,
}

impl Flat {
    /// What a model is made of, but for contents and what is said of timing paths and findings.
    pub(super) fn of(model: &Model) -> Flat {
        let to = |joint: Joint| match joint {
            Joint::Free => To::Nothing,
            Joint::Open => To::Open,
            Joint::Segment(segment) => To::Net(name(model, segment)),
        };
        let path = |id| {
            let (_, row) = (model.connectors().find(|(other, _)| *other == id)).expect("a connector");
            let (_, board) = (model.boards().find(|(other, _)| *other == row.board)).expect("a board");
            format!("{}.{}", board.path, row.name)
        };
        let mut flat = Flat { assembly: model.assembly, ..Flat::default() };
        for (id, board) in model.boards() {
            let mut new = Board {
                path: board.path.to_string(),
                title: board.title.to_string(),
                trace: board.trace,
                ..Board::default()
            };
            for (_, segment) in model.segments().filter(|(_, row)| row.board == id) {
                let rail = segment.rail.map(|(voltage, _)| voltage);
                new.rails.extend(rail.map(|voltage| (segment.name.to_string(), voltage)));
            }
            for (_, chip) in model.chips().filter(|(_, row)| row.board == id) {
                let part = &chip.device.part;
                let pins = part.pins.iter().zip(&chip.pins);
                new.chips.push(Chip {
                    reference: chip.reference.to_string(),
                    number: chip.device.number.clone(),
                    estimated: chip.device.estimate.is_some(),
                    frequency: chip.frequency,
                    pins: pins.map(|(pin, joint)| (pin.number, to(*joint))).collect(),
                    oscillates: part.function.oscillator.is_some(),
                });
            }
            for (_, row) in model.discretes().filter(|(_, row)| row.board == id) {
                let chips = row.decouples.iter().map(|id| {
                    let mut chips = model.chips();
                    let (_, chip) = chips.find(|(other, _)| other == id).expect("a chip");
                    chip.reference.to_string()
                });
                new.discretes.push(Discrete {
                    reference: row.reference.to_string(),
                    kind: row.kind.clone(),
                    decouples: chips.collect(),
                    rating: row.rating,
                    pins: row.pins.iter().map(|joint| to(*joint)).collect(),
                });
            }
            for (_, row) in model.connectors().filter(|(_, row)| row.board == id) {
                let contacts = row.contacts.iter().map(|contact| Contact {
                    label: contact.label.as_deref().map(str::to_owned),
                    remark: contact.remark.as_deref().map(str::to_owned),
                    to: to(contact.joint),
                });
                new.connectors.push(Connector {
                    name: row.name.to_string(),
                    kind: row.kind.to_string(),
                    contacts: contacts.collect(),
                });
            }
            flat.boards.push(new);
        }
        for (_, cable) in model.cables() {
            let ends = |ends: &Vec<_>| ends.iter().map(|&(id, pin)| (path(id), pin)).collect();
            flat.cables.push(Cable {
                name: cable.name.to_string(),
                kind: cable.kind.to_string(),
                length: cable.length,
                conductors: cable.conductors.iter().map(ends).collect(),
            });
        }
        for (_, supply) in model.supplies() {
            let poles = supply.poles.iter().flat_map(|pole| {
                let ends = pole.contacts.iter();
                ends.map(|&(id, pin)| (pole.plus, (path(id), pin))).collect::<Vec<_>>()
            });
            flat.supplies.push(Supply {
                name: supply.name.to_string(),
                voltage: supply.voltage,
                current: supply.current,
                poles: poles.collect(),
            });
        }
        flat
    }

    /// The design in the language; its board or assembly is called `flat`.
    pub(super) fn text(&self) -> String {
        let mut text = String::new();
        for (at, board) in self.boards.iter().enumerate() {
            let name = if self.assembly { format!("b{at}") } else { "flat".to_owned() };
            board.write(&name, &mut text);
        }
        if self.assembly {
            self.write_assembly(&mut text).expect("a text grows");
        }
        text
    }

    fn write_assembly(&self, text: &mut String) -> std::fmt::Result {
        writeln!(text, "assembly flat {{")?;
        for (at, board) in self.boards.iter().enumerate() {
            writeln!(text, "{}: b{at}", board.path)?;
        }
        for cable in &self.cables {
            writeln!(text, "cable {} {} {} {{", cable.name, cable.kind, cable.length)?;
            if cable.conductors.iter().all(|ends| ends.len() == 2) {
                for ends in &cable.conductors {
                    let ends = [&ends[0], &ends[1]].map(|(path, pin)| format!("{path}.{}", pin + 1));
                    writeln!(text, "{} to {}", ends[0], ends[1])?;
                }
            } else {
                let connectors: Vec<&str> = (cable.conductors[0].iter()).map(|(path, _)| path.as_str()).collect();
                writeln!(text, "{}", connectors.join(", "))?;
            }
            writeln!(text, "}}")?;
        }
        for supply in &self.supplies {
            let (name, voltage, current) = (&supply.name, supply.voltage, supply.current);
            writeln!(text, "supply {name} {voltage} {current} {{")?;
            for (plus, (path, pin)) in &supply.poles {
                let pole = if *plus { "plus" } else { "minus" };
                writeln!(text, "{pole} = {path}.{}", pin + 1)?;
            }
            writeln!(text, "}}")?;
        }
        writeln!(text, "}}")
    }
}

fn name(model: &Model, segment: SegmentId) -> String {
    let (_, row) = (model.segments().find(|(id, _)| *id == segment)).expect("a segment");
    row.name.to_string()
}

impl Board {
    /// The name that the text has for each net that is bridged to others, which is that of a rail if one is.
    pub(super) fn aliases(&self) -> BTreeMap<String, String> {
        let mut groups: Vec<Vec<&String>> = Vec::new();
        for (one, other) in &self.bridges {
            let (mine, others): (Vec<_>, Vec<_>) =
                (groups.into_iter()).partition(|group| group.contains(&one) || group.contains(&other));
            let mut joined: Vec<&String> = mine.concat();
            joined.extend([one, other]);
            groups = others;
            groups.push(joined);
        }
        let mut aliases = BTreeMap::new();
        for group in groups {
            let is_rail = |name: &&&String| self.rails.iter().any(|(rail, _)| rail == **name);
            let used = |name: &&&String| self.pins().any(|to| *to == To::Net((**name).clone()));
            let chosen = group.iter().find(is_rail).or(group.iter().find(used));
            for name in &group {
                aliases.insert((*name).clone(), (*chosen.unwrap_or(&group[0])).clone());
            }
        }
        aliases
    }

    /// What its pins are connected to.
    fn pins(&self) -> impl Iterator<Item = &To> {
        let chips = self.chips.iter().flat_map(|chip| &chip.pins);
        let chips = chips.map(|(_, to)| to);
        let discretes = self.discretes.iter().flat_map(|row| &row.pins);
        let contacts = self.connectors.iter().flat_map(|row| &row.contacts);
        chips.chain(discretes).chain(contacts.map(|contact| &contact.to))
    }

    fn write(&self, name: &str, text: &mut String) {
        self.write_lines(name, text).expect("a text grows");
    }

    fn write_lines(&self, name: &str, text: &mut String) -> std::fmt::Result {
        let aliases = self.aliases();
        let net = |name: &String| aliases.get(name).unwrap_or(name).clone();
        writeln!(text, "board {name} \"{}\" {{", self.title)?;
        if let Some(trace) = self.trace {
            writeln!(text, "trace {trace}")?;
        }
        for (rail, voltage) in &self.rails {
            writeln!(text, "rail {} {voltage}", net(rail))?;
        }
        let wiring = |pins: &mut dyn Iterator<Item = (u32, &To)>| {
            let pins = pins.filter_map(|(number, to)| match to {
                To::Nothing => None,
                To::Open => Some(format!("{number} = open")),
                To::Net(name) => Some(format!("{number} = {}", net(name))),
            });
            pins.collect::<Vec<String>>().join("  ")
        };
        for chip in &self.chips {
            let frequency = chip.frequency.map_or(String::new(), |rate| format!(" {rate}"));
            let estimated = if chip.estimated { " estimated" } else { "" };
            let pins = wiring(&mut chip.pins.iter().map(|(number, to)| (*number, to)));
            let (reference, number) = (&chip.reference, &chip.number);
            writeln!(text, "{reference} {number}{frequency}{estimated} {{ {pins} }}")?;
        }
        for row in &self.discretes {
            let rating = row.rating.map_or(String::new(), |power| format!(" {power}"));
            let decouples = match row.decouples.as_slice() {
                [] => String::new(),
                chips => format!(" decouples {}", chips.join(", ")),
            };
            let pins = wiring(&mut (1..).zip(&row.pins));
            let (reference, value) = (&row.reference, value(&row.kind, row.pins.len()));
            writeln!(text, "{reference} {value}{rating}{decouples} {{ {pins} }}")?;
        }
        for row in &self.connectors {
            writeln!(text, "connector {} {} {{", row.name, row.kind)?;
            for (number, contact) in (1..).zip(&row.contacts) {
                let remark = contact.remark.as_ref();
                let remark = remark.map_or(String::new(), |remark| format!(" \"{remark}\""));
                match (&contact.label, &contact.to) {
                    (None, To::Open) => writeln!(text, "{number} open{remark}")?,
                    (Some(label), To::Open) => writeln!(text, "{number} {label} = open{remark}")?,
                    (Some(label), To::Net(name)) => {
                        writeln!(text, "{number} {label} = {}{remark}", net(name))?;
                    }
                    (None, To::Nothing) => {}
                    other => panic!("the language cannot say {other:?}"),
                }
            }
            writeln!(text, "}}")?;
        }
        writeln!(text, "{}}}", self.more)
    }
}

fn value(kind: &DiscreteKind, pins: usize) -> String {
    let word = kind.word();
    match kind {
        DiscreteKind::Resistor(value) => format!("{word} {value}"),
        DiscreteKind::Network(value, true) => format!("{word} bussed {pins} pins {value}"),
        DiscreteKind::Network(value, false) => format!("{word} isolated {pins} pins {value}"),
        DiscreteKind::Capacitor(value) => format!("{word} {value}"),
        DiscreteKind::Led(colour, None) => format!("{word} {colour}"),
        DiscreteKind::Led(colour, Some(value)) => format!("{word} {colour} {value}"),
        _ => word.to_owned(),
    }
}

/// True for pins that a part has for its supply.
pub(super) fn feeds(kind: PinKind) -> bool {
    matches!(kind, PinKind::Power | PinKind::Ground)
}
