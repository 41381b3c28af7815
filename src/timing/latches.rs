//! Latches that a clock opens and closes: data that comes while one is open goes through at once, and borrows its time
//! from what is behind.

use super::arrival::{Arrivals, Start};
use super::clock_latency::ClockLatencies;
use super::clocks::{ClockEdge, Clocks};
use super::graph::{Arc, ArcKey, ArcKind, Graph, Node, Transition};
use crate::circuit::ChipKey;
use crate::quantity::Time;
use std::collections::BTreeMap;

/// How late data comes out of an open latch, after the edge that opened it, by arc and edge.
pub type Borrowed = BTreeMap<(ArcKey, ClockEdge), Time>;

/// The latches that clocks open.
#[derive(Debug, Default)]
pub struct Latches {
    rows: BTreeMap<(ChipKey, u8), Latch>,
}

#[derive(Debug, Default)]
struct Latch {
    /// Points that open it, and that a clock reaches.
    opens: Vec<Node>,
    /// Arcs from its data.
    data: Vec<ArcKey>,
}

impl Latches {
    pub fn new(graph: &Graph<'_>, clocks: &Clocks) -> Latches {
        let mut latches = Latches::default();
        for (key, arc) in graph.arcs.iter() {
            let (ArcKind::Open(rule) | ArcKind::Latch(rule)) = arc.kind else {
                continue;
            };
            if !clocks.closes(graph, arc.chip, rule) || clocks.begins.contains_key(&arc.to.timing_net()) {
                continue;
            }
            let latch = latches.rows.entry((arc.chip, rule)).or_default();
            // What opens it without being a clock, such as an address, goes through it like data.
            let opens = matches!(arc.kind, ArcKind::Open(_)) && clocks.carries(arc.from.timing_net());
            if !opens {
                latch.data.push(key);
            } else if arc.from.what() != Transition::ToUnknown && !latch.opens.contains(&arc.from) {
                latch.opens.push(arc.from);
            }
        }
        latches
    }

    /// True when there are none.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// True for an arc at which a wave begins when a clock's edge comes: clocked storage, or a latch that opens.
    pub fn begins(&self, clocks: &Clocks, arc: &Arc) -> bool {
        if clocks.begins.contains_key(&arc.to.timing_net()) {
            return false;
        }
        match arc.kind {
            ArcKind::Clock => true,
            ArcKind::Open(rule) => {
                self.rows.get(&(arc.chip, rule)).is_some_and(|latch| latch.opens.contains(&arc.from))
            }
            ArcKind::Logic | ArcKind::Latch(_) => false,
        }
    }

    /// Adds what comes out of latches behind the edge that opens them.
    pub fn starts(
        &self,
        graph: &Graph<'_>,
        latencies: &ClockLatencies,
        clock_edge: ClockEdge,
        borrowed: &Borrowed,
        starts: &mut Vec<Start>,
    ) {
        for latch in self.rows.values() {
            let opened = latch.opens.iter().find_map(|&open| latencies.of_at(clock_edge, open));
            let Some(row) = opened else { continue };
            let latency = latencies.row(row);
            for &key in &latch.data {
                let arc = &graph.arcs[key];
                starts.push(Start {
                    point: arc.to,
                    early: latency.early + Time::from_ps_u32(arc.early),
                    late: borrowed.get(&(key, clock_edge)).copied(),
                    arc: Some(key),
                    clock: Some(row),
                });
            }
        }
    }

    /// Notes what the latches borrow from a wave.
    pub fn borrow(
        &self,
        graph: &Graph<'_>,
        clocks: &Clocks,
        latencies: &ClockLatencies,
        arrivals: &Arrivals,
        from: ClockEdge,
        borrowed: &mut Borrowed,
    ) {
        for latch in self.rows.values() {
            for &key in &latch.data {
                let arc = &graph.arcs[key];
                let (Some(arrival), Some(delay)) = (arrivals.late(arc.from), arc.late) else {
                    continue;
                };
                for &open in &latch.opens {
                    let close = if open.what() == Transition::Rise { Transition::Fall } else { Transition::Rise };
                    for &closing in latencies.at(Node::of(open.timing_net(), close)) {
                        let closing = latencies.row(closing);
                        for &opening in latencies.at(open) {
                            let opening = latencies.row(opening).clock_edge;
                            let whole = clocks.edge_separation(from, closing.clock_edge);
                            let width = clocks.edge_separation(opening, closing.clock_edge);
                            let (Some((whole, _)), Some((width, _))) = (whole, width) else {
                                continue;
                            };
                            if !clocks.make_pulse(opening, closing.clock_edge) {
                                continue;
                            }
                            // Later than the latch closes nothing comes through; the check tells that.
                            let arrival = arrival.min(whole.saturating_add(closing.late));
                            let shift = whole.saturating_sub(width);
                            let out = arrival.saturating_sub(shift).saturating_add(Time::from_ps_u32(delay));
                            let entry = borrowed.entry((key, opening)).or_insert(out);
                            *entry = (*entry).max(out);
                        }
                    }
                }
            }
        }
    }
}
