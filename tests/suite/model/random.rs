//! Edits by chance: a model that is edited and frozen is the circuit of the text that says the same.

use super::dump::{Hidden, dump};
use super::flat::{self, Board, Cable, Chip, Connector, Contact, Discrete, End, Flat, Supply, To};
use coldboard::circuit::{Circuit, elaborate, freeze};
use coldboard::cli::files::Disk;
use coldboard::diagnostic::Diagnostic;
use coldboard::language::parse;
use coldboard::model::{Device, DiscreteKind, Joint, Model, Terminal};
use coldboard::part::Library;
use coldboard::project::Project;
use coldboard::quantity::{Capacitance, Current, Frequency, Length, Resistance, Voltage};
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

/// Numbers of one socket each: any can stand in for another.
const SOCKETS: [&[&str]; 5] = [
    &["74HC00", "74HCT00", "74AC00", "74LS00"],
    &["74HC04", "74HCT04", "74AC04"],
    &["74HC574", "74HCT574", "74AHC574"],
    &["74HC541", "74HCT541"],
    &["74HC161", "74HC163", "74HCT163"],
];

struct Bench<'l> {
    random: ChaCha8Rng,
    library: &'l Library,
    model: Model,
    flat: Flat,
    count: usize,
}

/// The circuit of a text, and what is wrong with it.
fn circuit(library: &Library, text: &str) -> (Option<Circuit>, Vec<Diagnostic>) {
    let mut library = library.clone();
    let file = library.add_source("flat.board", text);
    let (tree, problems) = parse(file, text);
    assert_eq!(problems, [], "{text}");
    elaborate(Some("flat"), &[tree], &library)
}

impl<'l> Bench<'l> {
    fn new(library: &'l Library, flat: Flat, seed: u64) -> Bench<'l> {
        let text = flat.text();
        let (circuit, problems) = circuit(library, &text);
        let circuit = circuit.unwrap_or_else(|| panic!("{problems:?}\n{text}"));
        Bench { random: ChaCha8Rng::seed_from_u64(seed), library, model: Model::clone(circuit.model()), flat, count: 0 }
    }

    fn below(&mut self, count: usize) -> usize {
        self.random.next_u32() as usize % count.max(1)
    }

    fn pick<T: Clone>(&mut self, from: &[T]) -> Option<T> {
        let at = self.below(from.len());
        from.get(at).cloned()
    }

    fn fresh(&mut self, stem: &str) -> String {
        self.count += 1;
        format!("{stem}{}", 7000 + self.count)
    }

    /// Every joint is on both sides, once.
    fn check_joints(&self, after: &str) {
        let mut listed = BTreeSet::new();
        for (id, segment) in self.model.segments() {
            for terminal in &segment.pins {
                let joint = self.model.joint(*terminal);
                assert_eq!(joint, Some(Joint::Segment(id)), "{after}: {terminal:?}");
                assert!(listed.insert(format!("{terminal:?}")), "{after}: {terminal:?}");
            }
        }
        let chips = self.model.chips().flat_map(|(_, chip)| chip.pins.clone());
        let discretes = self.model.discretes().flat_map(|(_, row)| row.pins.clone());
        let contacts = self.model.connectors().flat_map(|(_, row)| &row.contacts);
        let joints = chips.chain(discretes).chain(contacts.map(|contact| contact.joint));
        let joined = joints.filter(|joint| joint.segment().is_some()).count();
        assert_eq!(joined, listed.len(), "{after}");
    }

    /// Freezes the model, and compares with the circuit of the text.
    fn compare(&self, after: &str) {
        self.check_joints(after);
        let text = self.flat.text();
        let (wanted, problems) = circuit(self.library, &text);
        let wanted = wanted.unwrap_or_else(|| panic!("{after}: {problems:?}\n{text}"));
        let (found, told) = freeze(&Arc::new(self.model.clone()));
        let lines = |problems: &[Diagnostic]| -> BTreeSet<String> {
            let lines = problems.iter();
            lines.map(|problem| format!("{}: {}", problem.code, problem.message)).collect()
        };
        assert_eq!(lines(&told), lines(&problems), "{after}");
        let hidden = self.hidden();
        let (found, wanted) = (dump(&found, &hidden), dump(&wanted, &hidden));
        for (found, wanted) in found.iter().zip(&wanted) {
            assert_eq!(found, wanted, "{after}\n{text}");
        }
        assert_eq!(found.len(), wanted.len(), "{after}");
    }

    fn hidden(&self) -> Hidden {
        let boards = self.flat.boards.iter();
        let names = boards.flat_map(|board| {
            let aliases = board.aliases().into_iter();
            let others = aliases.filter(|(name, chosen)| name != chosen);
            others.map(|(name, _)| within(&board.path, &name)).collect::<Vec<_>>()
        });
        names.collect()
    }

    /// Makes one edit in the model and in the lists; says which.
    fn edit(&mut self) -> String {
        let board = self.below(self.flat.boards.len());
        let done = match self.below(18) {
            0 => self.add_chip(board),
            1 => self.remove_chip(board),
            2 => self.substitute(board),
            3..=5 => self.connect(board),
            6 => self.disconnect(board),
            7 => self.leave_open(board),
            8 => self.bridge(board),
            9 => self.cut(board),
            10 => self.add_discrete(board),
            11 => self.remove_discrete(board),
            12 => self.set_value(board),
            13 => self.cable(),
            14 => self.conductor(),
            15 => self.swap_conductors(),
            16 => self.supply(),
            _ => self.frequency(board),
        };
        done.unwrap_or_else(|| self.add_chip(board).expect("there is room"))
    }

    fn path(&self, board: usize, name: &str) -> String {
        within(&self.flat.boards[board].path, name)
    }

    fn device(&self, number: &str) -> Arc<Device> {
        let found = self.library.find(number).expect("a number");
        Device::new(number, found, None, self.library)
    }

    fn add_chip(&mut self, board: usize) -> Option<String> {
        let socket = self.pick(&SOCKETS)?;
        let number = self.pick(socket)?;
        let reference = self.fresh("U");
        let device = self.device(number);
        let on = self.model.board(&self.flat.boards[board].path)?;
        let pins = device.part.pins.iter().map(|pin| (pin.number, To::Nothing));
        self.flat.boards[board].chips.push(Chip {
            reference: reference.clone(),
            number: number.to_owned(),
            estimated: false,
            frequency: None,
            pins: pins.collect(),
            oscillates: false,
        });
        self.model.add_chip(on, &reference, device).expect("added");
        let supply: Vec<_> = {
            let chip = self.model.chip(&self.path(board, &reference))?;
            let (_, row) = self.model.chips().find(|(id, _)| *id == chip)?;
            let pins = row.device.part.pins.iter().enumerate();
            let pins = pins.filter(|(_, pin)| flat::feeds(pin.kind));
            pins.map(|(pin, row)| (Terminal::Chip(chip, pin), row.number, row.kind)).collect()
        };
        for (terminal, number, kind) in supply {
            let wanted = kind == coldboard::part::PinKind::Ground;
            let rails = &self.flat.boards[board].rails;
            let rail = rails.iter().find(|(_, volts)| (*volts == Voltage::ZERO) == wanted);
            let Some((rail, _)) = rail.cloned() else {
                continue;
            };
            let segment = self.model.segment(&self.path(board, &rail))?;
            self.model.connect(terminal, segment).expect("connected");
            let chip = self.flat.boards[board].chips.last_mut()?;
            let pin = chip.pins.iter_mut().find(|(other, _)| *other == number)?;
            pin.1 = To::Net(rail);
        }
        Some(format!("{reference} {number} added"))
    }

    fn remove_chip(&mut self, board: usize) -> Option<String> {
        let chips = self.flat.boards[board].chips.clone();
        let said = self.flat.boards[board].more.clone();
        let reference = self.pick(&chips)?.reference;
        if said.contains(&reference) {
            return None;
        }
        let chip = self.model.chip(&self.path(board, &reference))?;
        self.model.remove_chip(chip).expect("removed");
        let row = &mut self.flat.boards[board];
        row.chips.retain(|chip| chip.reference != reference);
        for discrete in &mut row.discretes {
            discrete.decouples.retain(|chip| *chip != reference);
        }
        Some(format!("{reference} removed"))
    }

    fn substitute(&mut self, board: usize) -> Option<String> {
        let chips = self.flat.boards[board].chips.clone();
        let old = self.pick(&chips)?;
        let socket = SOCKETS.iter().find(|socket| socket.contains(&old.number.as_str()))?;
        let number = self.pick(socket)?;
        let chip = self.model.chip(&self.path(board, &old.reference))?;
        let device = self.device(number);
        self.model.substitute(chip, device).expect("it fits");
        let chips = &mut self.flat.boards[board].chips;
        let chip = chips.iter_mut().find(|chip| chip.reference == old.reference)?;
        number.clone_into(&mut chip.number);
        Some(format!("{} {number} substituted", old.reference))
    }

    /// All pins of a board for which the text can say it, with what they are connected to.
    fn pins(&mut self, board: usize) -> Vec<(String, To)> {
        let row = &self.flat.boards[board];
        let mut pins = Vec::new();
        for chip in &row.chips {
            for (number, to) in &chip.pins {
                pins.push((format!("{}.{number}", chip.reference), to.clone()));
            }
        }
        for discrete in row.discretes.iter().filter(|row| row.decouples.is_empty()) {
            for (number, to) in (1..).zip(&discrete.pins) {
                pins.push((format!("{}.{number}", discrete.reference), to.clone()));
            }
        }
        let poles = self.flat.supplies.iter().flat_map(|supply| &supply.poles);
        let poles: Vec<&End> = poles.map(|(_, end)| end).collect();
        for connector in &row.connectors {
            let path = within(&row.path, &connector.name);
            for (at, contact) in connector.contacts.iter().enumerate() {
                let fixed = poles.iter().any(|(other, pin)| *other == path && *pin == at);
                if contact.label.is_some() && !fixed {
                    let pin = format!("{}.{}", connector.name, at + 1);
                    pins.push((pin, contact.to.clone()));
                }
            }
        }
        pins
    }

    fn set(&mut self, board: usize, pin: &str, to: To) {
        let (owner, number) = pin.split_once('.').expect("a pin");
        let number: u32 = number.parse().expect("a number");
        let row = &mut self.flat.boards[board];
        let chip = row.chips.iter_mut().find(|chip| chip.reference == owner);
        let discrete = row.discretes.iter_mut().find(|row| row.reference == owner);
        let connector = row.connectors.iter_mut().find(|row| row.name == owner);
        let place = match (chip, discrete, connector) {
            (Some(chip), ..) => {
                let pin = chip.pins.iter_mut().find(|(other, _)| *other == number);
                &mut pin.expect("a pin").1
            }
            (_, Some(discrete), _) => &mut discrete.pins[number as usize - 1],
            (.., Some(connector)) => &mut connector.contacts[number as usize - 1].to,
            _ => panic!("{pin}"),
        };
        *place = to;
    }

    fn connect(&mut self, board: usize) -> Option<String> {
        let pins = self.pins(board);
        let free = pins.iter().filter(|(_, to)| !matches!(to, To::Net(_)));
        let free: Vec<String> = free.map(|(pin, _)| pin.clone()).collect();
        let pin = self.pick(&free)?;
        let nets = pins.iter().filter_map(|(_, to)| match to {
            To::Net(net) => Some(net.clone()),
            _ => None,
        });
        let nets: Vec<String> = nets.collect();
        let net = match self.below(4) {
            0 => self.fresh("n"),
            _ => self.pick(&nets)?,
        };
        let on = self.model.board(&self.flat.boards[board].path)?;
        let segment = self.model.add_segment(on, &net).expect("a name");
        let terminal = self.model.terminal(&self.path(board, &pin)).expect("a pin");
        self.model.connect(terminal, segment).expect("it was free");
        self.set(board, &pin, To::Net(net.clone()));
        Some(format!("{pin} of {board} connected to {net}"))
    }

    fn disconnect(&mut self, board: usize) -> Option<String> {
        let pins = self.pins(board);
        let joined = pins.iter().filter(|(_, to)| matches!(to, To::Net(_)));
        let joined: Vec<String> = joined.map(|(pin, _)| pin.clone()).collect();
        let pin = self.pick(&joined)?;
        let terminal = self.model.terminal(&self.path(board, &pin)).expect("a pin");
        self.model.disconnect(terminal).expect("it was connected");
        if matches!(terminal, Terminal::Contact(..)) {
            // The language cannot leave a labelled contact without saying so.
            self.model.leave_open(terminal).expect("it is free");
            self.set(board, &pin, To::Open);
        } else {
            self.set(board, &pin, To::Nothing);
        }
        Some(format!("{pin} of {board} disconnected"))
    }

    fn leave_open(&mut self, board: usize) -> Option<String> {
        let pins = self.pins(board);
        let free = pins.iter().filter(|(_, to)| *to == To::Nothing);
        // Discretes have no such word in a circuit, but the text may have it.
        let free: Vec<String> = free.map(|(pin, _)| pin.clone()).collect();
        let pin = self.pick(&free)?;
        let terminal = self.model.terminal(&self.path(board, &pin)).expect("a pin");
        self.model.leave_open(terminal).expect("it is free");
        self.set(board, &pin, To::Open);
        Some(format!("{pin} of {board} open"))
    }

    fn bridge(&mut self, board: usize) -> Option<String> {
        let pins = self.pins(board);
        let rails = self.flat.boards[board].rails.clone();
        let nets = pins.iter().filter_map(|(_, to)| match to {
            To::Net(net) if !rails.iter().any(|(rail, _)| rail == net) => Some(net.clone()),
            _ => None,
        });
        let nets: Vec<String> = nets.collect();
        let (one, other) = (self.pick(&nets)?, self.pick(&nets)?);
        if one == other {
            return None;
        }
        let segment = |name: &String| self.model.segment(&self.path(board, name));
        let (a, b) = (segment(&one)?, segment(&other)?);
        self.model.bridge(a, b).expect("a bridge");
        let words = format!("{one} of {board} bridged to {other}");
        self.flat.boards[board].bridges.push((one, other));
        Some(words)
    }

    fn cut(&mut self, board: usize) -> Option<String> {
        let path = &self.flat.boards[board].path;
        let on = self.model.board(path)?;
        let segments = self.model.segments();
        let long = segments.filter(|(_, row)| row.board == on && row.pins.len() > 1 && row.rail.is_none());
        let long: Vec<_> = long.map(|(id, row)| (id, row.pins.clone(), row.name.clone())).collect();
        let (id, pins, name) = self.pick(&long)?;
        let behind = 1 + self.below(pins.len() - 1);
        // A capacitor that decouples is wired by the text alone once its pins are free; here it keeps them.
        let new = self.fresh("c");
        self.model.cut(id, behind, &new).expect("cut");
        for terminal in &pins[behind..] {
            let pin = self.pin(*terminal);
            self.set(board, &pin, To::Net(new.clone()));
        }
        Some(format!("{name} of {board} cut behind {behind}"))
    }

    /// A pin by the name of its owner and its number.
    fn pin(&self, terminal: Terminal) -> String {
        let find = |wanted: Terminal, name: &str, number: u32| (wanted == terminal).then(|| format!("{name}.{number}"));
        let chips = self.model.chips().flat_map(|(id, chip)| {
            let pins = chip.device.part.pins.iter().enumerate();
            pins.filter_map(move |(pin, row)| find(Terminal::Chip(id, pin), &chip.reference, row.number))
        });
        let discretes = self.model.discretes().flat_map(|(id, row)| {
            (0..row.pins.len()).filter_map(move |pin| find(Terminal::Discrete(id, pin), &row.reference, pin as u32 + 1))
        });
        let contacts = self.model.connectors().flat_map(|(id, row)| {
            (0..row.contacts.len()).filter_map(move |pin| find(Terminal::Contact(id, pin), &row.name, pin as u32 + 1))
        });
        chips.chain(discretes).chain(contacts).next().expect("a pin")
    }

    fn add_discrete(&mut self, board: usize) -> Option<String> {
        let kinds = [
            (DiscreteKind::Resistor(Resistance::from_raw(4_700_000)), 2),
            (DiscreteKind::Capacitor(Capacitance::from_raw(22_000_000)), 2),
            (DiscreteKind::Network(Resistance::from_raw(10_000_000), true), 5),
            (DiscreteKind::Network(Resistance::from_raw(10_000_000), false), 4),
            (DiscreteKind::Led("red".to_owned(), None), 2),
            (DiscreteKind::Switch, 2),
            (DiscreteKind::Changeover, 3),
            (DiscreteKind::TestPoint, 1),
        ];
        let (kind, pins) = self.pick(&kinds)?;
        let reference = self.fresh("Z");
        let on = self.model.board(&self.flat.boards[board].path)?;
        let added = self.model.add_discrete(on, &reference, kind.clone(), pins);
        added.expect("added");
        self.flat.boards[board].discretes.push(Discrete {
            reference: reference.clone(),
            kind,
            decouples: Vec::new(),
            rating: None,
            pins: vec![To::Nothing; pins],
        });
        Some(format!("{reference} added"))
    }

    fn remove_discrete(&mut self, board: usize) -> Option<String> {
        let rows = self.flat.boards[board].discretes.clone();
        let reference = self.pick(&rows)?.reference;
        let discrete = self.model.discrete(&self.path(board, &reference))?;
        self.model.remove_discrete(discrete).expect("removed");
        let rows = &mut self.flat.boards[board].discretes;
        rows.retain(|row| row.reference != reference);
        Some(format!("{reference} removed"))
    }

    fn set_value(&mut self, board: usize) -> Option<String> {
        let rows = self.flat.boards[board].discretes.clone();
        let row = self.pick(&rows)?;
        let raw = 1_000 * (1 + self.below(99_999) as i64);
        let value = match row.kind {
            DiscreteKind::Resistor(_) => DiscreteKind::Resistor(Resistance::from_raw(raw)),
            DiscreteKind::Network(_, style) => DiscreteKind::Network(Resistance::from_raw(raw), style),
            DiscreteKind::Capacitor(_) => DiscreteKind::Capacitor(Capacitance::from_raw(raw)),
            DiscreteKind::Led(..) => DiscreteKind::Led("green".to_owned(), Some(Resistance::from_raw(raw))),
            _ => return None,
        };
        let discrete = self.model.discrete(&self.path(board, &row.reference))?;
        self.model.set_value(discrete, value.clone()).expect("set");
        let rows = &mut self.flat.boards[board].discretes;
        let place = rows.iter_mut().find(|other| other.reference == row.reference)?;
        place.kind = value;
        Some(format!("{} has another value", row.reference))
    }

    fn cable(&mut self) -> Option<String> {
        if !self.flat.assembly {
            return None;
        }
        let cables = self.flat.cables.clone();
        if cables.len() > 2 && self.below(2) == 0 {
            let name = self.pick(&cables)?.name;
            let cable = self.model.cable(&name).expect("a cable");
            self.model.remove_cable(cable).expect("removed");
            self.flat.cables.retain(|cable| cable.name != name);
            return Some(format!("{name} removed"));
        }
        let name = self.fresh("W");
        let length = Length::from_raw(1_000_000 * (1 + self.below(900) as i64));
        self.model.add_cable(&name, "jumper", length).expect("added");
        self.flat.cables.push(Cable { name: name.clone(), kind: "jumper".to_owned(), length, conductors: Vec::new() });
        Some(format!("{name} added"))
    }

    /// A row of a cable whose conductors have two ends each.
    fn plain_cable(&mut self) -> Option<usize> {
        let cables = self.flat.cables.iter().enumerate();
        let plain = cables.filter(|(_, cable)| cable.conductors.iter().all(|ends| ends.len() == 2));
        let plain: Vec<usize> = plain.map(|(at, _)| at).collect();
        self.pick(&plain)
    }

    fn conductor(&mut self) -> Option<String> {
        let at = self.plain_cable()?;
        let cable = self.flat.cables[at].clone();
        let id = self.model.cable(&cable.name)?;
        if self.below(2) == 0 && !cable.conductors.is_empty() {
            let conductor = self.below(cable.conductors.len());
            self.model.remove_conductor(id, conductor).expect("removed");
            self.flat.cables[at].conductors.remove(conductor);
            return Some(format!("conductor {conductor} of {} removed", cable.name));
        }
        let mut ends: Vec<End> = Vec::new();
        for board in &self.flat.boards {
            for connector in &board.connectors {
                let path = within(&board.path, &connector.name);
                ends.extend((0..connector.contacts.len()).map(|pin| (path.clone(), pin)));
            }
        }
        let (one, other) = (self.pick(&ends)?, self.pick(&ends)?);
        if one == other {
            return None;
        }
        let key = |(path, pin): &End| (self.model.connector(path).expect("a connector"), *pin);
        let keys = vec![key(&one), key(&other)];
        self.model.add_conductor(id, keys).expect("added");
        let words = format!("conductor from {one:?} to {other:?}");
        self.flat.cables[at].conductors.push(vec![one, other]);
        Some(words)
    }

    fn swap_conductors(&mut self) -> Option<String> {
        let at = self.plain_cable()?;
        let rows = self.flat.cables[at].conductors.clone();
        let (one, other) = (self.below(rows.len()), self.below(rows.len()));
        if one == other {
            return None;
        }
        let end = self.below(2);
        let connector = rows[one][end].0.clone();
        let a = rows[one].iter().position(|(path, _)| *path == connector)?;
        let b = rows[other].iter().position(|(path, _)| *path == connector)?;
        let id = self.model.cable(&self.flat.cables[at].name)?;
        let key = self.model.connector(&connector).expect("a connector");
        self.model.swap_conductors(id, [one, other], key).expect("swapped");
        let rows = &mut self.flat.cables[at].conductors;
        let kept = rows[one][a].clone();
        rows[one][a] = rows[other][b].clone();
        rows[other][b] = kept;
        Some(format!("conductors {one} and {other} swapped at {connector}"))
    }

    fn supply(&mut self) -> Option<String> {
        let supplies = self.flat.supplies.clone();
        let supply = self.pick(&supplies)?;
        let id = self.model.supply(&supply.name)?;
        if supplies.len() > 1 && self.below(4) == 0 {
            self.model.remove_supply(id).expect("removed");
            self.flat.supplies.retain(|other| other.name != supply.name);
            return Some(format!("{} removed", supply.name));
        }
        let voltage = Voltage::from_raw(1_000 * (3_000 + self.below(3_000) as i64));
        self.model.set_voltage(id, voltage).expect("set");
        let supplies = &mut self.flat.supplies;
        let place = supplies.iter_mut().find(|other| other.name == supply.name)?;
        place.voltage = voltage;
        Some(format!("{} at {voltage}", supply.name))
    }

    fn frequency(&mut self, board: usize) -> Option<String> {
        let chips = self.flat.boards[board].chips.iter();
        let cans = chips.filter(|chip| chip.oscillates).map(|chip| chip.reference.clone());
        let cans: Vec<String> = cans.collect();
        let reference = self.pick(&cans)?;
        let frequency = Frequency::from_raw(1_000_000 * (1 + self.below(8_000) as i64));
        let chip = self.model.chip(&self.path(board, &reference))?;
        self.model.set_frequency(chip, frequency).expect("set");
        let chips = &mut self.flat.boards[board].chips;
        let place = chips.iter_mut().find(|chip| chip.reference == reference)?;
        place.frequency = Some(frequency);
        Some(format!("{reference} at {frequency}"))
    }
}

fn within(board: &str, name: &str) -> String {
    if board.is_empty() { name.to_owned() } else { format!("{board}.{name}") }
}

/// A design of three boards with a few chips, whose pins hang on nets by chance.
fn wild(library: &Library, seed: u64, assembly: bool) -> Flat {
    let mut random = ChaCha8Rng::seed_from_u64(seed);
    let mut below = |count: usize| random.next_u32() as usize % count;
    let mut flat = Flat { assembly, ..Flat::default() };
    let rails = [("VCC", 5), ("GND", 0)].map(|(name, volts)| (name.to_owned(), Voltage::from_raw(volts * 1_000_000)));
    for at in 0..if assembly { 3 } else { 1 } {
        let mut board = Board {
            path: if assembly { format!("B{at}") } else { String::new() },
            title: "by chance".to_owned(),
            trace: (at == 1).then(|| Length::from_raw(30_000_000)),
            rails: rails.to_vec(),
            more: "unused-path U1 to U2 \"slow\" accept input-open at U1 \"so it is\"".to_owned(),
            ..Board::default()
        };
        for number in 1..=4 {
            let socket = SOCKETS[below(SOCKETS.len())];
            let name = socket[below(socket.len())];
            let part = library.find(name).expect("a part").part;
            let pins = part.pins.iter().map(|pin| {
                let to = match (flat::feeds(pin.kind), below(8)) {
                    (true, _) if pin.name == "GND" => To::Net("GND".to_owned()),
                    (true, _) => To::Net("VCC".to_owned()),
                    (_, 0) => To::Nothing,
                    (_, 1) => To::Open,
                    (_, net) => To::Net(format!("n{net}")),
                };
                (pin.number, to)
            });
            board.chips.push(Chip {
                reference: format!("U{number}"),
                number: name.to_owned(),
                estimated: false,
                frequency: None,
                pins: pins.collect(),
                oscillates: false,
            });
        }
        board.discretes.push(Discrete {
            reference: "C1".to_owned(),
            kind: DiscreteKind::Capacitor(Capacitance::from_raw(100_000_000)),
            decouples: vec!["U1".to_owned(), "U3".to_owned()],
            rating: None,
            pins: ["VCC", "GND"].map(|rail| To::Net(rail.to_owned())).to_vec(),
        });
        for name in ["J1", "J2"] {
            let nets = ["VCC", "GND", "n2", "n3", "n4", "x"];
            let contacts = nets.map(|net| Contact {
                label: Some(net.to_owned()),
                remark: (net == "x").then(|| "spare".to_owned()),
                to: if net == "x" { To::Open } else { To::Net(net.to_owned()) },
            });
            board.connectors.push(Connector {
                name: name.to_owned(),
                kind: "header-2x3".to_owned(),
                contacts: contacts.to_vec(),
            });
        }
        flat.boards.push(board);
    }
    if assembly {
        for (name, from, to) in [("W1", "B0.J1", "B1.J1"), ("W2", "B1.J2", "B2.J1")] {
            let wire = |pin| vec![(from.to_owned(), pin), (to.to_owned(), pin)];
            flat.cables.push(Cable {
                name: name.to_owned(),
                kind: "ribbon".to_owned(),
                length: Length::from_raw(250_000_000),
                conductors: (0..6).map(wire).collect(),
            });
        }
        for (name, connector) in [("PS1", "B0.J2"), ("PS2", "B2.J2")] {
            flat.supplies.push(Supply {
                name: name.to_owned(),
                voltage: Voltage::from_raw(5_000_000),
                current: Current::from_raw(1_000_000_000),
                poles: [true, false].map(|plus| (plus, (connector.to_owned(), usize::from(!plus)))).to_vec(),
            });
        }
    }
    flat
}

#[test]
fn six_hundred_edits_of_random_boards_are_what_their_texts_say() {
    let library = Library::built_in();
    for seed in 0..15 {
        let flat = wild(&library, seed, seed % 3 != 0);
        let mut bench = Bench::new(&library, flat, 100 + seed);
        bench.compare("nothing");
        for number in 0..40 {
            let done = bench.edit();
            bench.compare(&format!("board {seed}, edit {number}: {done}"));
        }
    }
}

/// Makes edits of a shipped design, and compares after every few.
fn shipped(file: &str, edits: usize, each: usize) {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("designs").join(file);
    let project = Project::open(&Disk, &path, Library::built_in());
    let model = project.model(None).expect("a model");
    let mut bench = Bench::new(project.library(), Flat::of(&model), 7);
    for number in 0..edits {
        let done = bench.edit();
        if number % each == 0 {
            bench.compare(&format!("{file}, edit {number}: {done}"));
        }
    }
    bench.compare(file);
}

#[test]
fn two_hundred_edits_of_the_carillon_are_what_its_text_says() {
    shipped("carillon/carillon.board", 200, 4);
}

#[test]
fn two_hundred_edits_of_dunlin_are_what_its_text_says() {
    shipped("dunlin/dunlin.board", 200, 8);
}
