//! The voltages that each net can have at rest, and the currents through pins and LEDs.
//!
//! Every net is looked at while its drivers hold it high, low, and while nobody drives it; nets that resistors or
//! LEDs join to it are high or low meanwhile, whichever is worse. For each of these there are a weakest and a
//! strongest solution, with the lamps and leakages that are worst for it.

use super::currents::{Currents, Owner, Parts};
use super::drive::{Driver, Holds, drivers};
use super::group::{Group, Link, LinkKind, groups};
use super::hold::{Hold, NO_LOSS, alternatives, biases, driven};
use super::led;
pub use super::range::Range;
use super::sheet::{Input, Sheets};
use super::solver::{Branch, Curve, Node, solve};
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::key::KeyVec;
use crate::part::PinIndex;

/// Groups of more nets than this are not solved; they stand in [`View::unsolved`].
pub const MOST_NETS: usize = 64;

/// A net while it is driven high or low.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NetState {
    /// The voltage, from the worst to the best that may be.
    pub volts: Range,
    /// The worst that the weakest driver guarantees into the inputs alone, without resistors and LEDs.
    pub inputs_only: f64,
    /// The worst that it guarantees without any load.
    pub unloaded: f64,
    /// The weakest driver.
    pub driver: Driver,
    /// The largest current that its sheet gives a level for.
    pub rated: f64,
    /// True when its figures are our rule, not a sheet's.
    pub assumed: bool,
}

/// An input that listens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Listener {
    /// The chip.
    pub chip: ChipKey,
    /// Its pin.
    pub pin: PinIndex,
    /// What it needs.
    pub input: Input,
}

/// A net.
#[derive(Clone, Debug, Default)]
pub struct NetView {
    /// The outputs on it.
    pub drivers: Vec<Driver>,
    /// The inputs on it whose needs are known.
    pub listeners: Vec<Listener>,
    /// Driven high.
    pub high: Option<NetState>,
    /// Driven low.
    pub low: Option<NetState>,
    /// The voltage while nobody drives it, when resistors or LEDs lead somewhere: with the nets at their other ends
    /// high, and low.
    pub off: [Option<Range>; 2],
}

impl NetView {
    /// True when an output drives it at all times.
    pub(crate) fn always_driven(&self) -> bool {
        self.drivers.iter().any(|driver| driver.holds == Holds::Always)
    }
}

/// The circuit at rest.
#[derive(Clone, Debug, Default)]
pub struct View {
    /// By net.
    pub nets: KeyVec<NetKey, NetView>,
    /// What flows.
    pub currents: Currents,
    /// The first nets of groups that are too large to be solved, or that no answer was found for.
    pub unsolved: Vec<NetKey>,
}

/// What the nets of a group do, and how it is looked at.
#[derive(Clone, Copy)]
struct Case {
    parts: Parts,
    /// Which way the currents of inputs and leakages go.
    pins: Bias,
}

/// Which way the currents of inputs and leakages go.
#[derive(Clone, Copy, PartialEq)]
enum Bias {
    Into,
    OutOf,
    None,
}

#[derive(Clone, Copy)]
enum Drive<'a> {
    Off,
    High(&'a [Hold]),
    Low(&'a [Hold]),
}

impl View {
    /// Of a circuit.
    pub fn new(circuit: &Circuit) -> View {
        let sheets = Sheets::new(circuit);
        let mut found = drivers(circuit);
        let nets = circuit.nets.iter().map(|(key, net)| NetView {
            drivers: std::mem::take(&mut found[key]),
            listeners: (net.chip_pins.iter())
                .filter_map(|&(chip, pin)| {
                    let input = sheets.input(circuit, chip, pin)?;
                    Some(Listener { chip, pin, input })
                })
                .collect(),
            ..NetView::default()
        });
        let mut view = View { nets: nets.collect(), ..View::default() };
        for group in groups(circuit) {
            let fed = group.links.iter().flat_map(|link| link.ends).all(|end| {
                let rail = circuit.nets[end].rail;
                rail.is_none_or(|rail| rail.fed.is_some())
            });
            if group.nets.len() > MOST_NETS {
                view.unsolved.extend(group.nets.first());
            } else if fed {
                Solving::new(circuit, &sheets, &view, &group).run(&mut view);
            }
        }
        view.unsolved.dedup();
        view
    }
}

struct Solving<'a> {
    circuit: &'a Circuit,
    group: &'a Group,
    /// For each net, the alternatives of what holds it at a time.
    holds: Vec<Vec<Vec<Hold>>>,
    /// For each net, what flows into and out of inputs and outputs that are off. The one that drives is counted as
    /// well: what its leakage adds is on the safe side.
    biases: Vec<[Vec<Curve>; 2]>,
}

impl<'a> Solving<'a> {
    fn new(circuit: &'a Circuit, sheets: &Sheets, view: &View, group: &'a Group) -> Solving<'a> {
        let alternatives = |&net: &NetKey| alternatives(circuit, sheets, &view.nets[net], net);
        let biases = |&net: &NetKey| biases(circuit, sheets, &view.nets[net]);
        Solving {
            circuit,
            group,
            holds: group.nets.iter().map(alternatives).collect(),
            biases: group.nets.iter().map(biases).collect(),
        }
    }

    fn run(&self, view: &mut View) {
        if self.group.nets.is_empty() {
            // A lamp between two rails is always lit, and a resistor always warm.
            self.take(&[], Case::DIM, view);
            self.take(&[], Case::BRIGHT, view);
        }
        for at in 0..self.group.nets.len() {
            let stored = self.holds.iter().enumerate();
            let others = stored.filter(|(other, holds)| *other != at && !holds.is_empty()).count();
            let levels: &[bool] = if others > 0 { &[true, false] } else { &[true] };
            for &high in levels {
                for alternative in &self.holds[at] {
                    self.driven(at, alternative, high, true, view);
                    self.driven(at, alternative, high, false, view);
                }
                self.undriven(at, high, view);
            }
        }
        for hold in self.holds.iter().flatten().flatten() {
            if let Hold::Chip(driver, _, others) = hold {
                view.currents.alike(*driver, others);
            }
        }
    }

    /// What each net of the group does while one is looked at.
    fn drives<'s>(&'s self, at: usize, own: Drive<'s>, others_high: bool) -> Vec<Drive<'s>> {
        let other = |(index, holds): (usize, &'s Vec<Vec<Hold>>)| match holds.first() {
            _ if index == at => own,
            None => Drive::Off,
            Some(holds) if others_high => Drive::High(holds),
            Some(holds) => Drive::Low(holds),
        };
        self.holds.iter().enumerate().map(other).collect()
    }

    fn driven(&self, at: usize, alternative: &[Hold], others_high: bool, high: bool, view: &mut View) {
        let side = |hold: &Hold| match hold {
            Hold::Chip(driver, output, _) => {
                let side = if high { &output.high } else { &output.low };
                side.as_ref().map(|side| {
                    let rated = side.rated();
                    (Some(*driver), side.unloaded(), rated, output.assumed)
                })
            }
            Hold::Contact(_, _, volts) => ((*volts > 0.0) == high).then_some((None, *volts, 0.0, false)),
        };
        let Some((driver, unloaded, rated, assumed)) = alternative.iter().find_map(side) else {
            return;
        };
        let own = if high { Drive::High(alternative) } else { Drive::Low(alternative) };
        let drives = self.drives(at, own, others_high);
        let worst = Case { parts: Parts::Worst, pins: if high { Bias::Into } else { Bias::OutOf } };
        let solutions = [worst, Case::DIM, Case::BRIGHT].map(|case| self.take(&drives, case, view));
        let Some(driver) = driver else { return };
        let [Some(worst_volts), Some(dim), Some(bright)] = solutions else {
            return;
        };
        let mut volts = Range::of(worst_volts[at]);
        volts.take(dim[at]);
        volts.take(bright[at]);
        let alone = self.branches_of(at, own, worst, Node::Free(0));
        let alone: Vec<Branch> = alone.into_iter().map(|(branch, _)| branch).collect();
        let inputs_only = solve(1, &alone).map_or(unloaded, |volts| volts[0]);
        let new = NetState { volts, inputs_only, unloaded, driver, rated, assumed };
        let net = &mut view.nets[self.group.nets[at]];
        let place = if high { &mut net.high } else { &mut net.low };
        let worse = |a: f64, b: f64| if high { a.min(b) } else { a.max(b) };
        *place = Some(match place.take() {
            None => new,
            Some(old) => {
                let new_is_worse =
                    if high { new.volts.least < old.volts.least } else { new.volts.most > old.volts.most };
                let worst = if new_is_worse { new } else { old };
                NetState {
                    volts: Range {
                        least: old.volts.least.min(new.volts.least),
                        most: old.volts.most.max(new.volts.most),
                    },
                    inputs_only: worse(old.inputs_only, new.inputs_only),
                    unloaded: worse(old.unloaded, new.unloaded),
                    ..worst
                }
            }
        });
    }

    fn undriven(&self, at: usize, others_high: bool, view: &mut View) {
        let net = self.group.nets[at];
        let stored = |end: &NetKey| *end == net;
        let linked = self.group.links.iter().any(|link| link.ends.iter().any(stored));
        if !linked || view.nets[net].always_driven() {
            return;
        }
        let drives = self.drives(at, Drive::Off, others_high);
        for pins in [Bias::Into, Bias::OutOf] {
            let case = Case { parts: Parts::Strong, pins };
            if let Some(volts) = self.take(&drives, case, view) {
                match &mut view.nets[net].off[usize::from(!others_high)] {
                    Some(range) => range.take(volts[at]),
                    place => *place = Some(Range::of(volts[at])),
                }
            }
        }
    }

    /// Solves the group, and keeps the currents.
    fn take(&self, drives: &[Drive<'_>], case: Case, view: &mut View) -> Option<Vec<f64>> {
        let mut branches = Vec::new();
        let mut owners = Vec::new();
        for (at, &drive) in drives.iter().enumerate() {
            for (branch, owner) in self.branches_of(at, drive, case, Node::Free(at)) {
                branches.push(branch);
                owners.push((owner, Some(self.group.nets[at])));
            }
        }
        for (at, link) in self.group.links.iter().enumerate() {
            branches.push(self.link(link, case));
            owners.push((Owner::Link(at), None));
        }
        let Some(volts) = solve(self.group.nets.len(), &branches) else {
            view.unsolved.extend(self.group.nets.first());
            return None;
        };
        let currents: Vec<_> = (owners.iter().zip(&branches))
            .map(|(&(owner, net), branch)| (owner, net, branch.current(&volts)))
            .collect();
        view.currents.take(self.circuit, self.group, case.parts, &currents);
        Some(volts)
    }

    /// What flows from a net into the pins on it.
    fn branches_of(&self, at: usize, drive: Drive<'_>, case: Case, node: Node) -> Vec<(Branch, Owner)> {
        let to = |volts: f64, curve: Curve| Branch { from: node, to: Node::Fixed(volts), curve };
        let mut branches = Vec::new();
        let (holds, high) = match drive {
            Drive::Off => (&[][..], false),
            Drive::High(holds) => (holds, true),
            Drive::Low(holds) => (holds, false),
        };
        for hold in holds {
            match hold {
                Hold::Chip(driver, output, _) => {
                    let side = if high { &output.high } else { &output.low };
                    if let Some(side) = side {
                        let curve = driven(side, high, case.parts == Parts::Strong);
                        branches.push((to(0.0, curve), Owner::Output(*driver, high)));
                    }
                }
                Hold::Contact(discrete, rail, volts) => {
                    branches.push((to(*volts, Curve::resistor(NO_LOSS)), Owner::Contact(*discrete, *rail)))
                }
            }
        }
        let [into, out_of] = &self.biases[at];
        let curves: &[Curve] = match case.pins {
            Bias::Into => into,
            Bias::OutOf => out_of,
            Bias::None => &[],
        };
        branches.extend((curves.iter()).map(|curve| (to(0.0, curve.clone()), Owner::Pins)));
        branches
    }

    fn link(&self, link: &Link, case: Case) -> Branch {
        let node = |net: NetKey| match self.circuit.nets[net].rail.and_then(|rail| rail.fed) {
            Some(volts) => Node::Fixed(volts.as_f64()),
            None => {
                let mut nets = self.group.nets.iter();
                nets.position(|&other| other == net).map_or(Node::Fixed(0.0), Node::Free)
            }
        };
        let curve = match &link.kind {
            LinkKind::Resistor(ohms) => Curve::resistor(*ohms),
            LinkKind::Led(colour, series) => led::forward(colour, case.parts != Parts::Dim).curve(*series),
        };
        Branch { from: node(link.ends[0]), to: node(link.ends[1]), curve }
    }
}

impl Case {
    /// The least light.
    const DIM: Case = Case { parts: Parts::Dim, pins: Bias::None };
    /// The most light.
    const BRIGHT: Case = Case { parts: Parts::Strong, pins: Bias::None };
}
