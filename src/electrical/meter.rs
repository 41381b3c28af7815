//! Voltages and LED currents at one moment of a run, from the levels of the nets.
//!
//! A net at a strong level is held by what can hold it, from the weakest part to the strongest; one that is undriven, or only
//! pulled, by resistors, LEDs and leakage alone; an unknown one may be any of these. So every answer is a range.

use super::bias::{Bias, NO_LOSS, alternatives, driven, pin_currents};
use super::drive::drivers;
use super::group::{Group, LinkKind, groups};
use super::led;
use super::operating_point::{Load, MOST_NETS, NetOperatingPoint};
use super::range::Range;
use super::sheet::Sheets;
use super::solver::{Branch, Curve, Node, solve};
use crate::circuit::{Circuit, DiscreteKey, DiscreteKind, NetKey};
use crate::logic::Level;
use crate::quantity::si::{Amperes, Volts};
use std::sync::Arc;

/// What the voltage of a net, or the current of an LED, depends on.
#[derive(Clone, Debug)]
pub struct Meter {
    /// The nets that are solved together.
    nets: Vec<Solved>,
    /// LEDs and resistors between them and rails.
    links: Vec<Between>,
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

/// What holds each net.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Held {
    High,
    Low,
    Off,
}

impl Meter {
    /// Of the voltage of a net; `None` for a rail that is not fed, and where too many nets depend on one another.
    pub fn of_net(circuit: &Circuit, net: NetKey) -> Option<Meter> {
        if let Some(rail) = circuit.nets[net].rail {
            let place = Place::Rail(rail.fed?.volts());
            return Some(Meter { nets: Vec::new(), links: Vec::new(), place });
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
        let nets = group.nets.iter().map(|&net| {
            let row = &circuit.nets[net];
            let load = |&(chip, pin)| Some(Load { chip, pin, input: sheets.input(circuit, chip, pin)? });
            let point = NetOperatingPoint {
                drivers: std::mem::take(&mut drivers[net]),
                loads: row.chip_pins.iter().filter_map(load).collect(),
                ..NetOperatingPoint::default()
            };
            let ways = alternatives(circuit, &sheets, &point, net);
            let holds = |high: bool| {
                let ways = ways.iter().map(|way| way.iter().filter_map(|bias| hold(bias, high)).collect());
                let mut ways: Vec<Vec<[Hold; 2]>> = ways.collect();
                ways.retain(|way| !way.is_empty());
                if ways.is_empty() {
                    // Only a trial holds it, as strong as can be.
                    let hold = Hold {
                        volts: if high { highest(circuit) } else { Volts::ZERO },
                        curve: Curve::resistor(NO_LOSS),
                    };
                    ways.push(vec![[hold.clone(), hold]]);
                }
                ways
            };
            Solved { net, high: holds(true), low: holds(false), pins: pin_currents(circuit, &sheets, &point) }
        });
        let nets: Vec<Solved> = nets.collect();
        let end = |net: NetKey| match circuit.nets[net].rail {
            Some(rail) => Some(End::Fixed(rail.fed?.volts())),
            None => Some(End::Net(group.nets.iter().position(|&other| other == net)?)),
        };
        let links = group.links.iter().map(|link| {
            let curves = match &link.kind {
                LinkKind::Resistor(ohms) => [Curve::resistor(*ohms), Curve::resistor(*ohms)],
                LinkKind::Led(colour, series) => [false, true].map(|most| led::forward(colour, most).curve(*series)),
            };
            Some(Between { ends: [end(link.ends[0])?, end(link.ends[1])?], curves })
        });
        Some(Meter { nets, links: links.collect::<Option<_>>()?, place })
    }

    /// The nets that decide.
    pub fn nets(&self) -> impl Iterator<Item = NetKey> {
        self.nets.iter().map(|solved| solved.net)
    }

    /// The voltage of the net.
    pub fn volts(&self, levels: &dyn Fn(NetKey) -> Level) -> Option<Range<Volts>> {
        match self.place {
            Place::Rail(volts) => Some(Range::of(volts)),
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

    /// What a function of the solution is over all parts, and over all that unknown nets may be.
    fn all<U: crate::quantity::si::SheetUnit>(
        &self,
        levels: &dyn Fn(NetKey) -> Level,
        of: impl Fn(&[Volts], &[Branch]) -> U,
    ) -> Option<Range<U>> {
        let mut range: Option<Range<U>> = None;
        for unknown in [Held::High, Held::Low, Held::Off] {
            let held = self.nets.iter().map(|solved| match levels(solved.net) {
                Level::One => Held::High,
                Level::Zero => Held::Low,
                Level::H | Level::L | Level::W | Level::Z => Held::Off,
                _ => unknown,
            });
            let held: Vec<Held> = held.collect();
            let ways = self.nets.iter().zip(&held).map(|(solved, held)| solved.ways(*held).len()).max();
            for way in 0..ways.unwrap_or(0).max(1) {
                for strong in [0, 1] {
                    for pins in [Some(0), Some(1), None] {
                        let branches = self.branches(&held, way, strong, pins);
                        let volts = solve(self.nets.len(), &branches)?;
                        let value = of(&volts, &branches);
                        range.get_or_insert(Range::of(value)).take(value);
                    }
                }
            }
            let is_open = |solved: &Solved| matches!(levels(solved.net), Level::U | Level::X);
            if !self.nets.iter().any(is_open) {
                break;
            }
        }
        range
    }

    /// The links first, in their order, then what holds the nets.
    fn branches(&self, held: &[Held], way: usize, strong: usize, pins: Option<usize>) -> Vec<Branch> {
        let node = |end: End| match end {
            End::Net(at) => Node::Free(at),
            End::Fixed(volts) => Node::Fixed(volts),
        };
        let links = self.links.iter().map(|link| Branch {
            from: node(link.ends[0]),
            to: node(link.ends[1]),
            curve: link.curves[strong].clone(),
        });
        let mut branches: Vec<Branch> = links.collect();
        for (at, (solved, held)) in self.nets.iter().zip(held).enumerate() {
            let from = Node::Free(at);
            let ways = solved.ways(*held);
            for hold in ways.get(way.min(ways.len().saturating_sub(1))).into_iter().flatten() {
                let Hold { volts, curve } = &hold[strong];
                branches.push(Branch { from, to: Node::Fixed(*volts), curve: curve.clone() });
            }
            for curve in pins.map_or(&[][..], |pins| &solved.pins[pins]) {
                branches.push(Branch { from, to: Node::Fixed(Volts::ZERO), curve: curve.clone() });
            }
        }
        branches
    }
}

impl Solved {
    fn ways(&self, held: Held) -> &[Vec<[Hold; 2]>] {
        match held {
            Held::High => &self.high,
            Held::Low => &self.low,
            Held::Off => &[],
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

/// The highest rail.
fn highest(circuit: &Circuit) -> Volts {
    let rails = circuit.nets.values().filter_map(|net| Some(net.rail?.fed?.volts()));
    rails.fold(Volts::ZERO, |most, volts| most.max(volts))
}

/// A meter at each LED of some, in their order.
///
/// # Errors
/// The first one that is no LED with both pins on nets.
pub fn leds(circuit: &Circuit, leds: &[DiscreteKey]) -> Result<Vec<Arc<Meter>>, DiscreteKey> {
    let meter = |&led: &DiscreteKey| {
        let is_led = matches!(circuit.discretes[led].kind, DiscreteKind::Led(..));
        let meter = is_led.then(|| Meter::of_led(circuit, led)).flatten();
        meter.map(Arc::new).ok_or(led)
    };
    leds.iter().map(meter).collect()
}
