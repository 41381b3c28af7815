//! What flows while the nets of a group are at rest: through outputs, lamps and resistors, out of rails, and on a net from
//! one board to another.

use super::drive::Driver;
use super::group::{Group, Link, LinkKind};
use super::range::Range;
use crate::circuit::{BoardKey, ChipKey, Circuit, DiscreteKey, NetKey};
use crate::part::{PinIndex, PinKind};
use crate::quantity::si::Amperes;
use std::collections::BTreeMap;

/// The largest currents through an output pin.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct PinCurrent {
    /// Out of it while it is high: with the weakest and the strongest part.
    pub source: (Amperes, Amperes),
    /// Into it while it is low.
    pub sink: (Amperes, Amperes),
}

/// Less than a leakage.
const NOTHING: Amperes = Amperes(1e-9);

/// Where current leaves a rail.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Source {
    /// Through the outputs of a net, of which those that let go take turns.
    Net(NetKey),
    /// From a rail through a resistor, a lamp or a contact; of a network through one of them.
    Part(NetKey, DiscreteKey, usize),
}

/// What leaves a rail at one place, at most.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drawn {
    /// How much.
    pub amps: Amperes,
    /// The board that it leaves it on.
    pub board: BoardKey,
    pub rail: NetKey,
    /// True when there are lamps on its way.
    pub has_leds: bool,
}

/// The largest currents.
#[derive(Clone, Debug, Default)]
pub struct Currents {
    /// The current of each LED while it is lit, from the darkest to the brightest that may be.
    pub leds: BTreeMap<DiscreteKey, Range<Amperes>>,
    /// Outputs that currents are known of.
    pub pins: BTreeMap<(ChipKey, PinIndex), PinCurrent>,
    /// Through each resistor; of a network each one for itself.
    pub resistors: BTreeMap<(DiscreteKey, usize), Amperes>,
    /// What leaves rails.
    pub sources: BTreeMap<Source, Drawn>,
    /// On nets between boards: what flows into the net on each board, in the state in which the most does.
    pub crossings: BTreeMap<NetKey, Vec<(BoardKey, Amperes)>>,
}

/// Whose current it is that a branch carries.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Owner {
    /// An output at high (true) or low.
    Output(Driver, bool),
    /// A contact to a rail.
    Contact(DiscreteKey, NetKey),
    /// The inputs and leakages of a net.
    Pins,
    /// A link of the group, by its place there.
    Link(usize),
}

/// How the parts are in a state: with strong ones the most current flows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Parts {
    /// The weakest outputs and the darkest lamps.
    Dim,
    /// The weakest outputs, whose load is the worst.
    Worst,
    /// The strongest.
    Strong,
}

/// A state of a group, as its branches are added up.
struct State<'c> {
    circuit: &'c Circuit,
    parts: Parts,
    /// True when the group has LEDs.
    has_leds: bool,
    /// On nets between boards: what flows into the net on each.
    flows: BTreeMap<NetKey, BTreeMap<BoardKey, Amperes>>,
    /// What the outputs of a net give, on which board, from which rail.
    given: BTreeMap<NetKey, (Amperes, BoardKey, NetKey)>,
}

impl State<'_> {
    fn flow(&mut self, net: NetKey, board: BoardKey, amps: Amperes) {
        if self.parts == Parts::Strong && joins_boards(self.circuit, net) {
            let boards = self.flows.entry(net).or_default();
            *boards.entry(board).or_default() += amps;
        }
    }

    /// An output at high brings current from the rail of its chip.
    fn sources(&mut self, driver: Driver, net: NetKey, amps: Amperes) {
        let chip = &self.circuit.chips[driver.chip];
        let mut power = chip.part.pins_of(PinKind::Power);
        if let Some(rail) = power.find_map(|pin| chip.nets[pin]) {
            let given = self.given.entry(net).or_insert((Amperes::ZERO, chip.board, rail));
            given.0 += amps;
        }
    }

    fn drawn(&self, amps: Amperes, board: BoardKey, rail: NetKey) -> Drawn {
        Drawn { amps, board, rail, has_leds: self.has_leds }
    }
}

impl Currents {
    /// Takes in a state of a group: each branch with its owner, the net of the group that it is on (`None` for a link) and
    /// the current through it.
    pub(super) fn take(
        &mut self,
        circuit: &Circuit,
        group: &Group,
        parts: Parts,
        branches: &[(Owner, Option<NetKey>, Amperes)],
    ) {
        let strong = parts == Parts::Strong;
        let is_led = |link: &Link| matches!(link.kind, LinkKind::Led(..));
        let mut state = State {
            circuit,
            parts,
            has_leds: group.links.iter().any(is_led),
            flows: BTreeMap::new(),
            given: BTreeMap::new(),
        };
        for &(owner, net, amps) in branches {
            match owner {
                Owner::Output(driver, high) => {
                    let most = if high { -amps } else { amps };
                    let row = self.pins.entry((driver.chip, driver.pin)).or_default();
                    let place = if high { &mut row.source } else { &mut row.sink };
                    let place = if strong { &mut place.1 } else { &mut place.0 };
                    *place = place.max(most);
                    if let Some(net) = net {
                        if high {
                            state.sources(driver, net, most);
                        }
                        state.flow(net, circuit.chips[driver.chip].board, -amps);
                    }
                }
                Owner::Contact(discrete, rail) => {
                    let board = circuit.discretes[discrete].board;
                    if strong {
                        let source = Source::Part(rail, discrete, 0);
                        self.draw(source, state.drawn(-amps, board, rail));
                    }
                    if let Some(net) = net {
                        state.flow(net, board, -amps);
                    }
                }
                Owner::Pins => {}
                Owner::Link(at) => self.take_link(&mut state, &group.links[at], amps),
            }
        }
        let given = std::mem::take(&mut state.given);
        for (net, (amps, board, rail)) in given.into_iter().filter(|_| strong) {
            self.draw(Source::Net(net), state.drawn(amps, board, rail));
        }
        for (net, boards) in state.flows {
            let crosses = |flows: &mut dyn Iterator<Item = Amperes>| flows.map(Amperes::abs).sum::<Amperes>();
            let new = crosses(&mut boards.values().copied());
            let old =
                self.crossings.get(&net).map_or(Amperes::ZERO, |old| crosses(&mut old.iter().map(|(_, amps)| *amps)));
            if new > old {
                self.crossings.insert(net, boards.into_iter().collect());
            }
        }
    }

    /// Takes in the current of a resistor, LED or contact between two nets.
    fn take_link(&mut self, state: &mut State<'_>, link: &Link, amps: Amperes) {
        let board = state.circuit.discretes[link.discrete].board;
        let [from, to] = link.ends;
        state.flow(from, board, -amps);
        state.flow(to, board, amps);
        if state.parts == Parts::Strong {
            for (end, amps) in [(from, amps), (to, -amps)] {
                if state.circuit.nets[end].rail.is_some() {
                    let source = Source::Part(end, link.discrete, link.element);
                    self.draw(source, state.drawn(amps, board, end));
                }
            }
            if let LinkKind::Resistor(_) = link.kind {
                let most = self.resistors.entry((link.discrete, link.element));
                let most = most.or_default();
                *most = most.max(amps.abs());
            }
        }
        if let LinkKind::Led(..) = link.kind {
            let amps = amps.max(Amperes::ZERO);
            let led = self.leds.entry(link.discrete).or_insert(Range { least: Amperes::ZERO, most: Amperes::ZERO });
            // Of all states that counts in which it is brightest.
            match state.parts {
                Parts::Strong => led.most = led.most.max(amps),
                Parts::Dim => led.least = led.least.max(amps),
                Parts::Worst => {}
            }
        }
    }

    fn draw(&mut self, source: Source, drawn: Drawn) {
        if drawn.amps > NOTHING {
            let most = self.sources.entry(source).or_insert(drawn);
            if drawn.amps > most.amps {
                *most = drawn;
            }
        }
    }

    /// What outputs like another one carry: they take turns on its net, so each may come to the same, but they draw it
    /// only once.
    pub(super) fn share_with(&mut self, driver: Driver, others: &[Driver]) {
        let Some(current) = self.pins.get(&(driver.chip, driver.pin)).copied() else {
            return;
        };
        for other in others {
            let row = self.pins.entry((other.chip, other.pin)).or_default();
            for (to, from) in [(&mut row.source, current.source), (&mut row.sink, current.sink)] {
                *to = (to.0.max(from.0), to.1.max(from.1));
            }
        }
    }
}

/// True for a net that is on several boards, or that a cable leads over.
fn joins_boards(circuit: &Circuit, net: NetKey) -> bool {
    let net = &circuit.nets[net];
    let mut pins = net.connector_pins.iter();
    net.rail.is_none() && pins.any(|&(connector, pin)| !circuit.connectors[connector].pins[pin].cables.is_empty())
}
