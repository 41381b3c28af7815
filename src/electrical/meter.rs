//! Voltages and LED currents at one moment of a run, from the levels of the nets.
//!
//! A net at a strong level is held by one of the parts that can hold it, weak or strong; one that is undriven, or only pulled,
//! by resistors, LEDs and leakage alone; an unknown one may be any of these. Every combination is solved, so that an answer is
//! a range; where there are too many of them, or a rail is not fed, there is none.

use super::bias::{Bias, NO_LOSS, alternatives, driven, pin_currents};
use super::drive::{Driver, drivers};
use super::group::{Group, LinkKind, groups};
use super::led;
use super::operating_point::{Load, MOST_NETS, NetOperatingPoint};
use super::range::Range;
use super::sheet::Sheets;
use super::solver::{Branch, Curve, Node, solve};
use crate::circuit::{Circuit, DiscreteKey, DiscreteKind, NetKey};
use crate::logic::Level;
use crate::quantity::si::{Amperes, SheetUnit, Volts};

/// More combinations of what may hold the nets are not solved.
const MOST_CASES: usize = 256;

/// What the voltage of a net, or the current of an LED, depends on.
#[derive(Clone, Debug)]
pub struct Meter {
    /// The nets that are solved together.
    nets: Vec<Solved>,
    /// LEDs and resistors between them and rails.
    links: Vec<Between>,
    /// Rails that must be fed, with their levels.
    rails: Vec<(NetKey, Level)>,
    /// The place of what is asked for.
    place: Place,
}

#[derive(Clone, Copy, Debug)]
enum Place {
    Rail(Volts),
    /// Among the nets.
    Net(usize),
    /// An LED among the links.
    Link(usize),
}

#[derive(Clone, Debug)]
struct Solved {
    net: NetKey,
    /// What may hold it high, or low: each way with its curves from the weakest and the strongest part.
    high: Vec<Vec<[Hold; 2]>>,
    low: Vec<Vec<[Hold; 2]>>,
    /// What flows into and out of the pins on it.
    pins: [Vec<Curve>; 2],
}

/// A curve to a fixed voltage.
#[derive(Clone, Debug)]
struct Hold {
    volts: Volts,
    curve: Curve,
}

#[derive(Clone, Debug)]
struct Between {
    ends: [End; 2],
    /// With the least light, and with the most; for a resistor the same.
    curves: [Curve; 2],
}

#[derive(Clone, Copy, Debug)]
enum End {
    Net(usize),
    Fixed(Volts),
}

/// What holds a net in one case: which of the two levels, and each curve with the weakest and the strongest part. Nothing
/// for a net that is not driven.
type Case<'m> = Option<(bool, &'m [[Hold; 2]])>;

/// How strong parts are: those that hold nets high, those that hold them low, and LEDs; and which way leakage flows.
#[derive(Clone, Copy)]
struct Parts {
    high: usize,
    low: usize,
    light: usize,
    pins: Option<usize>,
}

impl Meter {
    /// Of the voltage of a net; `None` for a rail that is not fed, and where too many nets depend on one another.
    pub fn of_net(circuit: &Circuit, net: NetKey) -> Option<Meter> {
        if let Some(rail) = circuit.nets[net].rail {
            let place = Place::Rail(rail.fed?.volts());
            let rails = vec![(net, circuit.rail_level(net)?)];
            return Some(Meter { nets: Vec::new(), links: Vec::new(), rails, place });
        }
        let group = groups(circuit).into_iter().find(|group| group.nets.contains(&net))?;
        let at = group.nets.iter().position(|&other| other == net)?;
        Meter::of(circuit, &group, Place::Net(at))
    }

    /// Of the current of an LED; `None` where one of its pins is open.
    pub fn of_led(circuit: &Circuit, led: DiscreteKey) -> Option<Meter> {
        let is_it = |group: &Group| group.links.iter().any(|link| link.discrete == led);
        let group = groups(circuit).into_iter().find(is_it)?;
        let at = group.links.iter().position(|link| link.discrete == led)?;
        Meter::of(circuit, &group, Place::Link(at))
    }

    fn of(circuit: &Circuit, group: &Group, place: Place) -> Option<Meter> {
        if group.nets.len() > MOST_NETS {
            return None;
        }
        let sheets = Sheets::new(circuit);
        let mut drivers = drivers(circuit);
        let mut nets = Vec::new();
        for &net in &group.nets {
            let load = |&(chip, pin)| Some(Load { chip, pin, input: sheets.input(circuit, chip, pin)? });
            let point = NetOperatingPoint {
                drivers: std::mem::take(&mut drivers[net]),
                loads: circuit.nets[net].chip_pins.iter().filter_map(load).collect(),
                ..NetOperatingPoint::default()
            };
            let has_sheet = |driver: &Driver| sheets.output(circuit, driver.chip, driver.pin).is_some();
            if !point.drivers.iter().all(has_sheet) || joins_others(circuit, net) {
                return None;
            }
            let ways = alternatives(circuit, &sheets, &point, net);
            let holds = |high: bool| {
                let ways = ways.iter().map(|way| way.iter().filter_map(|bias| hold(bias, high)).collect());
                let mut ways: Vec<Vec<[Hold; 2]>> = ways.collect();
                ways.retain(|way| !way.is_empty());
                if ways.is_empty() {
                    // Only a trial holds it, as strong as can be.
                    let volts = if high { supply(circuit, net) } else { Volts::ZERO };
                    let hold = Hold { volts, curve: Curve::resistor(NO_LOSS) };
                    ways.push(vec![[hold.clone(), hold]]);
                }
                ways
            };
            nets.push(Solved {
                net,
                high: holds(true),
                low: holds(false),
                pins: pin_currents(circuit, &sheets, &point),
            });
        }
        let mut rails = Vec::new();
        let mut end = |net: NetKey| match circuit.nets[net].rail {
            Some(rail) => {
                rails.push((net, circuit.rail_level(net)?));
                Some(End::Fixed(rail.fed?.volts()))
            }
            None => Some(End::Net(group.nets.iter().position(|&other| other == net)?)),
        };
        let mut links = Vec::new();
        for link in &group.links {
            let curves = match &link.kind {
                LinkKind::Resistor(ohms) => [Curve::resistor(*ohms), Curve::resistor(*ohms)],
                LinkKind::Led(colour, series) => [false, true].map(|most| led::forward(colour, most).curve(*series)),
            };
            links.push(Between { ends: [end(link.ends[0])?, end(link.ends[1])?], curves });
        }
        Some(Meter { nets, links, rails, place })
    }

    /// The nets that decide.
    pub fn nets(&self) -> impl Iterator<Item = NetKey> {
        self.nets.iter().map(|solved| solved.net)
    }

    /// The voltage of the net.
    pub fn volts(&self, levels: &dyn Fn(NetKey) -> Level) -> Option<Range<Volts>> {
        match self.place {
            Place::Rail(volts) => self.is_fed(levels).then(|| Range::of(volts)),
            Place::Net(at) => self.all(levels, |volts, _| volts[at]),
            Place::Link(_) => None,
        }
    }

    /// The current of the LED.
    pub fn amperes(&self, levels: &dyn Fn(NetKey) -> Level) -> Option<Range<Amperes>> {
        match self.place {
            Place::Link(at) => self.all(levels, |volts, branches| branches[at].current(volts).max(Amperes::ZERO)),
            _ => None,
        }
    }

    /// True when the LED is certainly lit, false when it is certainly dark.
    pub fn is_lit(&self, levels: &dyn Fn(NetKey) -> Level) -> Option<bool> {
        let amps = self.amperes(levels)?;
        if amps.least >= led::LEAST {
            return Some(true);
        }
        (amps.most < led::LEAST).then_some(false)
    }

    /// False when a rail has another level than its supply gives it: the board is switched off.
    fn is_fed(&self, levels: &dyn Fn(NetKey) -> Level) -> bool {
        self.rails.iter().all(|&(rail, level)| levels(rail) == level)
    }

    /// What a function of the solution is over all parts, and over all that may hold the nets.
    fn all<U: SheetUnit>(
        &self,
        levels: &dyn Fn(NetKey) -> Level,
        of: impl Fn(&[Volts], &[Branch]) -> U,
    ) -> Option<Range<U>> {
        let cases: Vec<Vec<Case<'_>>> = self.nets.iter().map(|solved| solved.cases(levels(solved.net))).collect();
        let count = cases.iter().try_fold(1usize, |count, cases| count.checked_mul(cases.len()))?;
        if count > MOST_CASES || !self.is_fed(levels) {
            return None;
        }
        let mut range: Option<Range<U>> = None;
        for number in 0..count {
            let mut rest = number;
            let chosen = cases.iter().map(|cases| {
                let case = cases[rest % cases.len()];
                rest /= cases.len();
                case
            });
            let chosen: Vec<Case<'_>> = chosen.collect();
            for strength in 0..8 {
                for pins in [Some(0), Some(1), None] {
                    let parts = Parts { high: strength & 1, low: strength >> 1 & 1, light: strength >> 2, pins };
                    let branches = self.branches(&chosen, parts);
                    let volts = solve(self.nets.len(), &branches)?;
                    let value = of(&volts, &branches);
                    range.get_or_insert(Range::of(value)).take(value);
                }
            }
        }
        range
    }

    /// The links first, in their order, then what holds the nets.
    fn branches(&self, chosen: &[Case<'_>], parts: Parts) -> Vec<Branch> {
        let node = |end: End| match end {
            End::Net(at) => Node::Free(at),
            End::Fixed(volts) => Node::Fixed(volts),
        };
        let links = self.links.iter().map(|link| Branch {
            from: node(link.ends[0]),
            to: node(link.ends[1]),
            curve: link.curves[parts.light].clone(),
        });
        let mut branches: Vec<Branch> = links.collect();
        for (at, (solved, case)) in self.nets.iter().zip(chosen).enumerate() {
            let from = Node::Free(at);
            if let Some((high, holds)) = case {
                let strength = if *high { parts.high } else { parts.low };
                for hold in *holds {
                    let Hold { volts, curve } = &hold[strength];
                    branches.push(Branch { from, to: Node::Fixed(*volts), curve: curve.clone() });
                }
            }
            for curve in parts.pins.map_or(&[][..], |pins| &solved.pins[pins]) {
                branches.push(Branch { from, to: Node::Fixed(Volts::ZERO), curve: curve.clone() });
            }
        }
        branches
    }
}

impl Solved {
    /// All that may hold the net at a level.
    fn cases(&self, level: Level) -> Vec<Case<'_>> {
        let high = self.high.iter().map(|holds| Some((true, holds.as_slice())));
        let low = self.low.iter().map(|holds| Some((false, holds.as_slice())));
        match level {
            Level::One => high.collect(),
            Level::Zero => low.collect(),
            Level::H | Level::L | Level::W | Level::Z => vec![None],
            _ => high.chain(low).chain([None]).collect(),
        }
    }
}

/// What holds a net at a level, by the weakest part and by the strongest.
fn hold(bias: &Bias, high: bool) -> Option<[Hold; 2]> {
    match bias {
        Bias::Chip(_, output, _) => {
            let side = if high { &output.high } else { &output.low }.as_ref()?;
            Some([false, true].map(|strong| Hold { volts: Volts::ZERO, curve: driven(side, high, strong) }))
        }
        Bias::Contact(_, _, volts) if (*volts > Volts::ZERO) == high => {
            let hold = Hold { volts: *volts, curve: Curve::resistor(NO_LOSS) };
            Some([hold.clone(), hold])
        }
        Bias::Contact(..) => None,
    }
}

/// True for a net that a contact joins to another one than a rail: what holds that one is not looked at.
fn joins_others(circuit: &Circuit, net: NetKey) -> bool {
    let discretes = circuit.nets[net].discrete_pins.iter().map(|(key, _)| &circuit.discretes[*key]);
    let mut contacts = discretes.filter(|discrete| {
        matches!(discrete.kind, DiscreteKind::Button | DiscreteKind::Switch | DiscreteKind::Changeover)
    });
    contacts.any(|contact| {
        let mut others = contact.nets.iter().flatten().filter(|&&other| other != net);
        others.any(|&other| circuit.nets[other].rail.is_none())
    })
}

/// The highest supply of the chips on a net; of the whole circuit where there is none.
fn supply(circuit: &Circuit, net: NetKey) -> Volts {
    let most = |volts: &mut dyn Iterator<Item = Volts>| volts.fold(Volts::ZERO, Volts::max);
    let chips = circuit.nets[net].chip_pins.iter();
    let own = most(&mut chips.map(|(chip, _)| circuit.chips[*chip].supply.volts()));
    if own > Volts::ZERO {
        return own;
    }
    most(&mut circuit.nets.values().filter_map(|net| Some(net.rail?.fed?.volts())))
}
