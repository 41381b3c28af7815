//! The moments at which clock edges reach the points of the clock nets.
//!
//! Every moment knows the one that it surely hangs on, so that two that hang on a third have in common what that one
//! may be early or late.

use super::clocks::{ClockEdge, ClockKey, Clocks};
use super::graph::{ArcKind, Graph, Node, Transition};
use super::order::Order;
use crate::quantity::Time;
use rustc_hash::FxHashMap;

/// An edge of a clock at a point.
#[derive(Clone, Copy, Debug)]
pub struct ClockLatency {
    pub clock_edge: ClockEdge,
    pub point: Node,
    /// The earliest, after the edge that all began with.
    pub early: Time,
    /// The latest.
    pub late: Time,
    /// The moment that it hangs on.
    above: Option<u32>,
    depth: u32,
}

/// All moments.
#[derive(Debug, Default)]
pub struct ClockLatencies {
    rows: Vec<ClockLatency>,
    at: FxHashMap<Node, Vec<u32>>,
    of: FxHashMap<ClockEdge, Vec<u32>>,
}

impl ClockLatencies {
    pub fn new(graph: &Graph<'_>, order: &Order, clocks: &Clocks) -> ClockLatencies {
        let mut latencies = ClockLatencies::default();
        for clock in clocks.clocks.keys() {
            for edge in [Transition::Rise, Transition::Fall] {
                latencies.follow(graph, order, clocks, (clock, edge));
            }
        }
        latencies
    }

    /// One moment.
    pub fn row(&self, row: u32) -> &ClockLatency {
        &self.rows[row as usize]
    }

    /// The moments at a point, of all clocks.
    pub fn at(&self, point: Node) -> &[u32] {
        self.at.get(&point).map_or(&[], Vec::as_slice)
    }

    /// The moments of one edge, at all points that it reaches.
    pub fn of(&self, clock_edge: ClockEdge) -> &[u32] {
        self.of.get(&clock_edge).map_or(&[], Vec::as_slice)
    }

    /// What two moments have in common: how much of the one's lateness cannot go with the other's earliness.
    pub(crate) fn common_path_credit(&self, one: u32, other: u32) -> Time {
        self.common(one, other).map_or(Time::ZERO, |row| {
            let latency = self.row(row);
            latency.late - latency.early
        })
    }

    /// The last moment that two hang on.
    pub fn common(&self, mut one: u32, mut other: u32) -> Option<u32> {
        while one != other {
            let (a, b) = (self.row(one), self.row(other));
            if a.depth >= b.depth {
                one = a.above?;
            } else {
                other = b.above?;
            }
        }
        Some(one)
    }

    fn follow(&mut self, graph: &Graph<'_>, order: &Order, clocks: &Clocks, clock_edge: ClockEdge) {
        let (clock, edge) = clock_edge;
        let row = &clocks.clocks[clock];
        let begin = Node::of(row.timing_net, edge);
        let first = match &row.generated {
            None => Some((Time::ZERO, Time::ZERO, None)),
            Some(generated) => self.generated(graph, clocks, begin, (generated.parent, generated.edge)),
        };
        let Some((early, late, above)) = first else {
            return;
        };
        self.push(clock_edge, begin, early, late, above);
        let bit = if edge == Transition::Rise { 1 } else { 2 };
        let mut points: Vec<Node> = self.reached(clocks, clock, bit);
        points.retain(|&point| point != begin);
        points.sort_unstable_by_key(|&point| (order.rank[point], point));
        for point in points {
            let mut met: Option<(Time, Time, Option<u32>)> = None;
            for &key in graph.entering(point) {
                let arc = &graph.arcs[key];
                if arc.kind != ArcKind::Logic {
                    continue;
                }
                let Some(before) = self.of_at(clock_edge, arc.from) else {
                    continue;
                };
                let latency = self.rows[before as usize];
                let late = latency.late + Time::from_ps_u32(arc.late.unwrap_or(arc.early));
                let early = latency.early + Time::from_ps_u32(arc.early);
                met = Some(match met {
                    None => (early, late, Some(before)),
                    Some((e, l, above)) => {
                        let above = above.and_then(|above| self.common(above, before));
                        (e.min(early), l.max(late), above)
                    }
                });
            }
            if let Some((early, late, above)) = met {
                self.push(clock_edge, point, early, late, above);
            }
        }
    }

    fn reached(&self, clocks: &Clocks, clock: ClockKey, bit: u8) -> Vec<Node> {
        let mut points: Vec<Node> = clocks.reached(clock, bit).collect();
        points.sort_unstable();
        points
    }

    /// When the output of clocked storage moves that a clock begins at.
    fn generated(
        &self,
        graph: &Graph<'_>,
        clocks: &Clocks,
        begin: Node,
        parent: ClockEdge,
    ) -> Option<(Time, Time, Option<u32>)> {
        debug_assert!(clocks.begins.contains_key(&begin.timing_net()));
        let mut met: Option<(Time, Time, Option<u32>)> = None;
        for &key in graph.entering(begin) {
            let arc = &graph.arcs[key];
            if arc.kind != ArcKind::Clock {
                continue;
            }
            let Some(before) = self.of_at(parent, arc.from) else {
                continue;
            };
            let latency = self.row(before);
            let early = latency.early + Time::from_ps_u32(arc.early);
            let late = latency.late + Time::from_ps_u32(arc.late.unwrap_or(arc.early));
            met = Some(match met {
                None => (early, late, Some(before)),
                Some((e, l, above)) => {
                    let above = above.and_then(|above| self.common(above, before));
                    (e.min(early), l.max(late), above)
                }
            });
        }
        met
    }

    /// The moment of an edge at a point.
    pub(crate) fn of_at(&self, clock_edge: ClockEdge, point: Node) -> Option<u32> {
        let rows = self.at(point).iter().copied();
        rows.into_iter().find(|&row| self.row(row).clock_edge == clock_edge)
    }

    fn push(&mut self, clock_edge: ClockEdge, point: Node, early: Time, late: Time, above: Option<u32>) {
        let row = self.rows.len() as u32;
        let depth = above.map_or(0, |above| self.row(above).depth + 1);
        self.rows.push(ClockLatency { clock_edge, point, early, late, above, depth });
        self.at.entry(point).or_default().push(row);
        self.of.entry(clock_edge).or_default().push(row);
    }
}
