//! Buses that change hands: how long two drivers can be on together, and how long nobody drives.

use super::analysis::Analysis;
use super::arrival::{Arrivals, Start};
use super::clocks::{ClockEdge, output_path};
use super::graph::{Arc, ArcKind, Graph, Node, TimingNet, Transition};
use crate::circuit::ChipKey;
use crate::delay::Transition as OutputTransition;
use crate::part::PinKind;
use crate::quantity::Time;
use std::collections::BTreeMap;
use std::collections::btree_map::Entry;

/// The worst that can be when one driver of a net lets go and another one takes over, behind one edge of a clock.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Turnaround {
    pub net: TimingNet,
    /// The edge behind which it changes hands.
    pub clock_edge: ClockEdge,
    /// The longest time for which both drive; negative when the first always lets go in time.
    pub overlap: Time,
    /// Who lets go, and who takes over, in that case.
    pub overlapping: (String, String),
    /// The longest time for which nobody drives.
    pub gap: Time,
    /// Who lets go, and who takes over, in that case.
    pub parted: (String, String),
}

/// When a driver lets go and when it takes over, earliest and latest.
#[derive(Clone, Copy, Debug, Default)]
struct Switch {
    disables: Option<(Time, Time)>,
    takes: Option<(Time, Time)>,
}

/// All nets with several drivers that can let go, at their worst; in order of the nets.
pub fn turnarounds(analysis: &Analysis<'_>) -> Vec<Turnaround> {
    let graph = &analysis.graph;
    let shared: Vec<TimingNet> = graph.timing_nets.keys().filter(|&net| switched(graph, net) > 1).collect();
    if shared.is_empty() {
        return Vec::new();
    }
    let mut arrivals = Arrivals::new(graph, &analysis.order);
    let (borrowed, _) = analysis.borrow(&mut arrivals);
    let mut worst: BTreeMap<TimingNet, Turnaround> = BTreeMap::new();
    for clock_edge in analysis.clock_edges() {
        let starts = analysis.starts(clock_edge, &borrowed);
        if starts.all().is_empty() {
            continue;
        }
        // What comes out of storage has more of its clock in common than what the clock itself switches.
        let (stored, direct): (Vec<Start>, Vec<Start>) = starts.all().iter().partition(|start| start.arc.is_some());
        let (one, all) = (common(analysis, &stored), common(analysis, starts.all()));
        let mut rows: Vec<Vec<BTreeMap<Driver, Switch>>> = Vec::new();
        for starts in [&stored, &direct] {
            arrivals.spread(graph, &analysis.order, starts);
            rows.push(shared.iter().map(|&net| switches(graph, &arrivals, net)).collect());
        }
        let pairs = [(0, 0, one), (0, 1, all), (1, 0, all), (1, 1, all)];
        for (at, &net) in shared.iter().enumerate() {
            for (first, second, common_path_credit) in pairs {
                if let Some(pairs) = Pairs::of(&rows[first][at], &rows[second][at]) {
                    note(graph, &mut worst, (net, clock_edge), pairs, common_path_credit);
                }
            }
        }
    }
    worst.into_values().collect()
}

/// How early or late all of some starts are together, because they hang on one moment of the clock.
fn common(analysis: &Analysis<'_>, starts: &[Start]) -> Time {
    let rows = starts.iter().map(|start| start.clock);
    let row = rows.reduce(|a, b| analysis.latencies.common(a?, b?));
    row.flatten().map_or(Time::ZERO, |row| analysis.latencies.common_path_credit(row, row))
}

/// The worst pairs of two drivers of which one lets go and another one takes over: the first of those that are alike.
struct Pairs {
    /// The longest time for which both drive, before the clock's credit.
    overlap: (Time, [Driver; 2]),
    /// The longest time for which none does.
    gap: (Time, [Driver; 2]),
}

impl Pairs {
    /// With each driver that lets go only the one that takes over first, and last, can be the worst, or when that is the
    /// same driver the next one: so the work grows with the drivers, not with their pairs.
    fn of(off: &BTreeMap<Driver, Switch>, on: &BTreeMap<Driver, Switch>) -> Option<Pairs> {
        let (mut first, mut last) = (TwoSmallest::default(), TwoSmallest::default());
        for (&driver, switch) in on {
            if let Some((early, late)) = switch.takes {
                first.take(early, driver);
                last.take(-late, driver);
            }
        }
        let mut pairs: Option<Pairs> = None;
        for (&driver, switch) in off {
            let Some((early, late)) = switch.disables else {
                continue;
            };
            let (Some((starts, one)), Some((ends, other))) = (first.without(driver), last.without(driver)) else {
                continue;
            };
            let overlap = (late - starts, [driver, one]);
            let gap = (-ends - early, [driver, other]);
            let pairs = pairs.get_or_insert(Pairs { overlap, gap });
            if overlap.0 > pairs.overlap.0 {
                pairs.overlap = overlap;
            }
            if gap.0 > pairs.gap.0 {
                pairs.gap = gap;
            }
        }
        pairs
    }
}

/// The driver with the least figure, and the next one.
#[derive(Default)]
struct TwoSmallest {
    first: Option<(Time, Driver)>,
    second: Option<(Time, Driver)>,
}

impl TwoSmallest {
    fn take(&mut self, figure: Time, driver: Driver) {
        let less = |than: Option<(Time, Driver)>| than.is_none_or(|(other, _)| figure < other);
        if less(self.first) {
            self.second = self.first.replace((figure, driver));
        } else if less(self.second) {
            self.second = Some((figure, driver));
        }
    }

    /// The least of all drivers but one.
    fn without(&self, driver: Driver) -> Option<(Time, Driver)> {
        self.first.filter(|&(_, first)| first != driver).or(self.second)
    }
}

fn note(
    graph: &Graph<'_>,
    worst: &mut BTreeMap<TimingNet, Turnaround>,
    (net, clock_edge): (TimingNet, ClockEdge),
    pairs: Pairs,
    common_path_credit: Time,
) {
    let names = |[a, b]: [Driver; 2]| (output_path(graph, a.0, a.1), output_path(graph, b.0, b.1));
    let (overlap, gap) = (pairs.overlap.0 - common_path_credit, pairs.gap.0 - common_path_credit);
    match worst.entry(net) {
        Entry::Vacant(place) => {
            place.insert(Turnaround {
                net,
                clock_edge,
                overlap,
                overlapping: names(pairs.overlap.1),
                gap,
                parted: names(pairs.gap.1),
            });
        }
        Entry::Occupied(mut row) => {
            let row = row.get_mut();
            if overlap > row.overlap {
                (row.overlap, row.overlapping, row.clock_edge) = (overlap, names(pairs.overlap.1), clock_edge);
            }
            if gap > row.gap {
                (row.gap, row.parted) = (gap, names(pairs.gap.1));
            }
        }
    }
}

/// A chip, and a bit of its output word.
type Driver = (ChipKey, u8);

/// How many outputs on a net can let go.
fn switched(graph: &Graph<'_>, net: TimingNet) -> usize {
    let drivers = graph.timing_nets[net].drivers.iter();
    let disables = drivers.filter(|&&(chip, output, _)| {
        let part = &graph.circuit.chips[chip].part;
        let kind = part.pins[part.function.outputs[usize::from(output)]].kind;
        let off = graph.constants.structure(chip).offs[usize::from(output)];
        matches!(kind, PinKind::ThreeState | PinKind::InOut) && !off.is_none()
    });
    disables.count()
}

/// When the drivers of a net switch in a wave.
fn switches(graph: &Graph<'_>, arrivals: &Arrivals, net: TimingNet) -> BTreeMap<Driver, Switch> {
    let mut switches: BTreeMap<Driver, Switch> = BTreeMap::new();
    for what in [Transition::Rise, Transition::Fall] {
        for &key in graph.entering(Node::of(net, what)) {
            let arc = &graph.arcs[key];
            let (Some(early), Some(late), Some(delay)) = (arrivals.early(arc.from), arrivals.late(arc.from), arc.late)
            else {
                continue;
            };
            let disables = matches!(arc.how, OutputTransition::DisableHigh | OutputTransition::DisableLow);
            if arc.kind != ArcKind::Logic || !disables && !takes(graph, arc) {
                continue;
            }
            let window = (early + Time::from_ps_u32(arc.early), late + Time::from_ps_u32(delay));
            let switch = switches.entry((arc.chip, arc.output)).or_default();
            let slot = if disables { &mut switch.disables } else { &mut switch.takes };
            let so_far = slot.get_or_insert(window);
            *so_far = (so_far.0.min(window.0), so_far.1.max(window.1));
        }
    }
    switches
}

/// True for an arc that switches an output on.
fn takes(graph: &Graph<'_>, arc: &Arc) -> bool {
    let rise = arc.from.what() == Transition::Rise;
    let off = graph.constants.structure(arc.chip).offs[usize::from(arc.output)];
    off.moved(usize::from(arc.input), rise).1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::key::Key;

    #[test]
    fn the_worst_pairs_are_those_of_all_pairs() {
        // Figures of a small generator of Lehmer's kind (common practice), so few of them that many are alike.
        let mut seed = 7_i64;
        let mut next = |below: i64| {
            seed = seed * 48_271 % 2_147_483_647;
            seed % below
        };
        for _ in 0..300 {
            let mut row = || {
                let mut row = BTreeMap::new();
                for chip in 0..next(6) as usize {
                    let mut some = || (next(4) > 0).then(|| (Time::from_ps(next(5)), Time::from_ps(5 + next(5))));
                    let (disables, takes) = (some(), some());
                    row.insert((ChipKey::from_index(chip), 0), Switch { disables, takes });
                }
                row
            };
            let (off, on) = (row(), row());
            let mut wanted: Option<Pairs> = None;
            for (&a, one) in &off {
                for (&b, two) in &on {
                    let (Some(one), Some(two)) = (one.disables, two.takes) else {
                        continue;
                    };
                    if a == b {
                        continue;
                    }
                    let (overlap, gap) = ((one.1 - two.0, [a, b]), (two.1 - one.0, [a, b]));
                    let pairs = wanted.get_or_insert(Pairs { overlap, gap });
                    if overlap.0 > pairs.overlap.0 {
                        pairs.overlap = overlap;
                    }
                    if gap.0 > pairs.gap.0 {
                        pairs.gap = gap;
                    }
                }
            }
            let plain = |pairs: Option<Pairs>| pairs.map(|pairs| (pairs.overlap, pairs.gap));
            assert_eq!(plain(Pairs::of(&off, &on)), plain(wanted));
        }
    }
}
