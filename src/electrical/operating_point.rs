//! The voltages that each net can have at rest, and the currents through pins and LEDs.
//!
//! Every net is looked at while its drivers hold it high, low, and while nobody drives it; nets that resistors or
//! LEDs join to it are high or low meanwhile, whichever is worse. For each of these there are a weakest and a
//! strongest solution, with the lamps and leakages that are worst for it.

use super::bias::{Bias, NO_LOSS, alternatives, driven, pin_currents};
use super::currents::{Currents, Owner, Parts};
use super::drive::{Driver, Enabled, drivers};
use super::group::{Group, Link, LinkKind, groups};
use super::led;
pub use super::range::Range;
use super::sheet::{Input, Sheets};
use super::solver::{Branch, Curve, Node, solve};
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::key::KeyVec;
use crate::part::PinIndex;
use crate::quantity::si::{Amperes, Volts};

/// Groups of more nets than this are not solved; they stand in [`OperatingPoint::unsolved`].
pub const MOST_NETS: usize = 64;

/// A net while it is driven high or low.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NetState {
    /// The voltage, from the worst to the best that may be.
    pub volts: Range<Volts>,
    /// The worst that the weakest driver guarantees into the inputs alone, without resistors and LEDs.
    pub inputs_only: Volts,
    /// The worst that it guarantees without any load.
    pub unloaded: Volts,
    /// The weakest driver.
    pub driver: Driver,
    /// The largest current that its sheet gives a level for.
    pub rated: Amperes,
    /// True when its figures are our rule, not a sheet's.
    pub assumed: bool,
}

/// An input that listens.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Load {
    pub chip: ChipKey,
    pub pin: PinIndex,
    /// What it needs.
    pub input: Input,
}

#[derive(Clone, Debug, Default)]
pub struct NetOperatingPoint {
    /// The outputs on it.
    pub drivers: Vec<Driver>,
    /// The inputs on it whose needs are known.
    pub loads: Vec<Load>,
    /// Driven high.
    pub high: Option<NetState>,
    /// Driven low.
    pub low: Option<NetState>,
    /// The voltage while nobody drives it, when resistors or LEDs lead somewhere: with the nets at their other ends
    /// high, and low.
    pub off: [Option<Range<Volts>>; 2],
}

impl NetOperatingPoint {
    /// True when an output drives it at all times.
    pub(crate) fn always_driven(&self) -> bool {
        self.drivers.iter().any(|driver| driver.enabled == Enabled::Always)
    }
}

/// The circuit at rest.
#[derive(Clone, Debug, Default)]
pub struct OperatingPoint {
    pub nets: KeyVec<NetKey, NetOperatingPoint>,
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
    pins: PinCurrents,
}

/// Which way the currents of inputs and leakages go.
#[derive(Clone, Copy, PartialEq)]
enum PinCurrents {
    Inward,
    Outward,
    None,
}

#[derive(Clone, Copy)]
enum Drive<'a> {
    Off,
    High(&'a [Bias]),
    Low(&'a [Bias]),
}

impl OperatingPoint {
    pub fn new(circuit: &Circuit) -> OperatingPoint {
        let sheets = Sheets::new(circuit);
        let mut found = drivers(circuit);
        let nets = circuit.nets.iter().map(|(key, net)| NetOperatingPoint {
            drivers: std::mem::take(&mut found[key]),
            loads: (net.chip_pins.iter())
                .filter_map(|&(chip, pin)| {
                    let input = sheets.input(circuit, chip, pin)?;
                    Some(Load { chip, pin, input })
                })
                .collect(),
            ..NetOperatingPoint::default()
        });
        let mut operating_point = OperatingPoint { nets: nets.collect(), ..OperatingPoint::default() };
        for group in groups(circuit) {
            let fed = group.links.iter().flat_map(|link| link.ends).all(|end| {
                let rail = circuit.nets[end].rail;
                rail.is_none_or(|rail| rail.fed.is_some())
            });
            if group.nets.len() > MOST_NETS {
                operating_point.unsolved.extend(group.nets.first());
            } else if fed {
                Solving::new(circuit, &sheets, &operating_point, &group).run(&mut operating_point);
            }
        }
        operating_point.unsolved.dedup();
        operating_point
    }
}

struct Solving<'a> {
    circuit: &'a Circuit,
    group: &'a Group,
    /// For each net, the alternatives of what holds it at a time.
    enabled: Vec<Vec<Vec<Bias>>>,
    /// For each net, what flows into and out of inputs and outputs that are off. The one that drives is counted as
    /// well: what its leakage adds is on the safe side.
    pin_currents: Vec<[Vec<Curve>; 2]>,
}

impl<'a> Solving<'a> {
    fn new(circuit: &'a Circuit, sheets: &Sheets, operating_point: &OperatingPoint, group: &'a Group) -> Solving<'a> {
        let alternatives = |&net: &NetKey| alternatives(circuit, sheets, &operating_point.nets[net], net);
        let pin_currents = |&net: &NetKey| pin_currents(circuit, sheets, &operating_point.nets[net]);
        Solving {
            circuit,
            group,
            enabled: group.nets.iter().map(alternatives).collect(),
            pin_currents: group.nets.iter().map(pin_currents).collect(),
        }
    }

    fn run(&self, operating_point: &mut OperatingPoint) {
        if self.group.nets.is_empty() {
            // A lamp between two rails is always lit, and a resistor always warm.
            self.take(&[], Case::DIM, operating_point);
            self.take(&[], Case::BRIGHT, operating_point);
        }
        for at in 0..self.group.nets.len() {
            let stored = self.enabled.iter().enumerate();
            let others = stored.filter(|(other, enabled)| *other != at && !enabled.is_empty()).count();
            let levels: &[bool] = if others > 0 { &[true, false] } else { &[true] };
            for &high in levels {
                for alternative in &self.enabled[at] {
                    self.driven(at, alternative, high, true, operating_point);
                    self.driven(at, alternative, high, false, operating_point);
                }
                self.undriven(at, high, operating_point);
            }
        }
        for bias in self.enabled.iter().flatten().flatten() {
            if let Bias::Chip(driver, _, others) = bias {
                operating_point.currents.share_with(*driver, others);
            }
        }
    }

    /// What each net of the group does while one is looked at.
    fn drives<'s>(&'s self, at: usize, own: Drive<'s>, others_high: bool) -> Vec<Drive<'s>> {
        let other = |(index, enabled): (usize, &'s Vec<Vec<Bias>>)| match enabled.first() {
            _ if index == at => own,
            None => Drive::Off,
            Some(enabled) if others_high => Drive::High(enabled),
            Some(enabled) => Drive::Low(enabled),
        };
        self.enabled.iter().enumerate().map(other).collect()
    }

    fn driven(
        &self,
        at: usize,
        alternative: &[Bias],
        others_high: bool,
        high: bool,
        operating_point: &mut OperatingPoint,
    ) {
        let side = |bias: &Bias| match bias {
            Bias::Chip(driver, output, _) => {
                let side = if high { &output.high } else { &output.low };
                side.as_ref().map(|side| {
                    let rated = side.rated();
                    (Some(*driver), side.unloaded(), rated, output.assumed)
                })
            }
            Bias::Contact(_, _, volts) => {
                ((*volts > Volts::ZERO) == high).then_some((None, *volts, Amperes::ZERO, false))
            }
        };
        let Some((driver, unloaded, rated, assumed)) = alternative.iter().find_map(side) else {
            return;
        };
        let own = if high { Drive::High(alternative) } else { Drive::Low(alternative) };
        let drives = self.drives(at, own, others_high);
        let worst = Case { parts: Parts::Worst, pins: if high { PinCurrents::Inward } else { PinCurrents::Outward } };
        let solutions = [worst, Case::DIM, Case::BRIGHT].map(|case| self.take(&drives, case, operating_point));
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
        let net = &mut operating_point.nets[self.group.nets[at]];
        let place = if high { &mut net.high } else { &mut net.low };
        let worse = |a: Volts, b: Volts| if high { a.min(b) } else { a.max(b) };
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

    fn undriven(&self, at: usize, others_high: bool, operating_point: &mut OperatingPoint) {
        let net = self.group.nets[at];
        let stored = |end: &NetKey| *end == net;
        let linked = self.group.links.iter().any(|link| link.ends.iter().any(stored));
        if !linked || operating_point.nets[net].always_driven() {
            return;
        }
        let drives = self.drives(at, Drive::Off, others_high);
        for pins in [PinCurrents::Inward, PinCurrents::Outward] {
            let case = Case { parts: Parts::Strong, pins };
            if let Some(volts) = self.take(&drives, case, operating_point) {
                match &mut operating_point.nets[net].off[usize::from(!others_high)] {
                    Some(range) => range.take(volts[at]),
                    place => *place = Some(Range::of(volts[at])),
                }
            }
        }
    }

    /// Solves the group, and keeps the currents.
    fn take(&self, drives: &[Drive<'_>], case: Case, operating_point: &mut OperatingPoint) -> Option<Vec<Volts>> {
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
            operating_point.unsolved.extend(self.group.nets.first());
            return None;
        };
        let currents: Vec<_> = (owners.iter().zip(&branches))
            .map(|(&(owner, net), branch)| (owner, net, branch.current(&volts)))
            .collect();
        operating_point.currents.take(self.circuit, self.group, case.parts, &currents);
        Some(volts)
    }

    /// What flows from a net into the pins on it.
    fn branches_of(&self, at: usize, drive: Drive<'_>, case: Case, node: Node) -> Vec<(Branch, Owner)> {
        let to = |volts: Volts, curve: Curve| Branch { from: node, to: Node::Fixed(volts), curve };
        let mut branches = Vec::new();
        let (enabled, high) = match drive {
            Drive::Off => (&[][..], false),
            Drive::High(enabled) => (enabled, true),
            Drive::Low(enabled) => (enabled, false),
        };
        for bias in enabled {
            match bias {
                Bias::Chip(driver, output, _) => {
                    let side = if high { &output.high } else { &output.low };
                    if let Some(side) = side {
                        let curve = driven(side, high, case.parts == Parts::Strong);
                        branches.push((to(Volts::ZERO, curve), Owner::Output(*driver, high)));
                    }
                }
                Bias::Contact(discrete, rail, volts) => {
                    branches.push((to(*volts, Curve::resistor(NO_LOSS)), Owner::Contact(*discrete, *rail)))
                }
            }
        }
        let [into, out_of] = &self.pin_currents[at];
        let curves: &[Curve] = match case.pins {
            PinCurrents::Inward => into,
            PinCurrents::Outward => out_of,
            PinCurrents::None => &[],
        };
        branches.extend((curves.iter()).map(|curve| (to(Volts::ZERO, curve.clone()), Owner::Pins)));
        branches
    }

    fn link(&self, link: &Link, case: Case) -> Branch {
        let node = |net: NetKey| match self.circuit.nets[net].rail.and_then(|rail| rail.fed) {
            Some(volts) => Node::Fixed(volts.volts()),
            None => {
                let mut nets = self.group.nets.iter();
                nets.position(|&other| other == net).map_or(Node::Fixed(Volts::ZERO), Node::Free)
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
    const DIM: Case = Case { parts: Parts::Dim, pins: PinCurrents::None };
    /// The most light.
    const BRIGHT: Case = Case { parts: Parts::Strong, pins: PinCurrents::None };
}
