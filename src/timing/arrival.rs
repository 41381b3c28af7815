//! Arrivals: how early and how late each point can move after an edge of a clock.
//!
//! A wave begins at some points and spreads along the arcs that data passes, each point after all that move it. Within
//! a ring every path is followed on its own, without a point twice and without arcs that contradict each other.

use super::graph::{ArcKey, Graph, Node, Transition};
use super::order::Order;
use crate::key::KeyVec;
use crate::quantity::Time;
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// No arrival.
pub const NEVER: Time = Time::from_ps(i64::MIN);
const NOT_YET: Time = Time::MAX;

/// Where a wave begins, and when.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Start {
    pub point: Node,
    /// The earliest, after the edge that makes the wave.
    pub early: Time,
    /// The latest; nothing for a blur.
    pub late: Option<Time>,
    /// The arc through storage that it comes out by; `None` where a clock or an input begins.
    pub arc: Option<ArcKey>,
    /// The moment at the clock pin that it hangs on, as a row of the clock moments.
    pub clock: Option<u32>,
}

/// The arrivals of one wave.
#[derive(Debug)]
pub struct Arrivals {
    early: KeyVec<Node, Time>,
    late: KeyVec<Node, Time>,
    touched: Vec<Node>,
    queued: Vec<bool>,
    queue: BinaryHeap<Reverse<u32>>,
    /// Rings with so many ways through them that not all were followed.
    pub tangled: Vec<u32>,
}

/// So many steps are followed in one ring.
const MOST_STEPS: usize = 50_000;

impl Arrivals {
    /// Nothing has arrived yet.
    pub fn new(graph: &Graph<'_>, order: &Order) -> Arrivals {
        Arrivals {
            early: KeyVec::filled(graph.points(), NOT_YET),
            late: KeyVec::filled(graph.points(), NEVER),
            touched: Vec::new(),
            queued: vec![false; order.ranks()],
            queue: BinaryHeap::new(),
            tangled: Vec::new(),
        }
    }

    /// The earliest arrival at a point.
    pub fn early(&self, point: Node) -> Option<Time> {
        (self.early[point] != NOT_YET).then_some(self.early[point])
    }

    /// The latest arrival at a point.
    pub fn late(&self, point: Node) -> Option<Time> {
        (self.late[point] != NEVER).then_some(self.late[point])
    }

    /// The points that the wave has reached.
    pub fn reached(&self) -> &[Node] {
        &self.touched
    }

    /// Forgets a wave and spreads another one.
    pub fn spread(&mut self, graph: &Graph<'_>, order: &Order, starts: &[Start]) {
        for point in self.touched.drain(..) {
            self.early[point] = NOT_YET;
            self.late[point] = NEVER;
        }
        for start in starts {
            self.meet(order, start.point, start.early, start.late.unwrap_or(NEVER));
        }
        while let Some(Reverse(place)) = self.queue.pop() {
            if !std::mem::replace(&mut self.queued[place as usize], false) {
                continue;
            }
            if order.is_ring(graph, place) {
                self.round(graph, order, place);
            }
            for &point in order.group(place) {
                self.leave(graph, order, point, place);
            }
        }
    }

    /// An arrival at a point; true when it is earlier or later than all before.
    fn meet(&mut self, order: &Order, point: Node, early: Time, late: Time) -> bool {
        if self.early[point] == NOT_YET && self.late[point] == NEVER {
            self.touched.push(point);
        }
        let better = early < self.early[point] || late > self.late[point];
        self.early[point] = self.early[point].min(early);
        self.late[point] = self.late[point].max(late);
        let place = order.rank[point] as usize;
        if better && !std::mem::replace(&mut self.queued[place], true) {
            self.queue.push(Reverse(place as u32));
        }
        better
    }

    /// The arcs from a point to other places.
    fn leave(&mut self, graph: &Graph<'_>, order: &Order, point: Node, place: u32) {
        let (early, late) = (self.early[point], self.late[point]);
        if early == NOT_YET && late == NEVER {
            return;
        }
        for &key in graph.leaving(point) {
            let arc = &graph.arcs[key];
            if order.open[key] && order.rank[arc.to] != place {
                let (early, late) = after(arc, early, late);
                self.meet(order, arc.to, early, late);
            }
        }
    }

    /// All ways through a ring.
    fn round(&mut self, graph: &Graph<'_>, order: &Order, place: u32) {
        let inside = |key: ArcKey| order.open[key] && order.rank[graph.arcs[key].to] == place;
        // The earliest: no way round makes anything earlier.
        let mut open: Vec<Node> = order.group(place).to_vec();
        while let Some(point) = open.pop() {
            if self.early[point] == NOT_YET {
                continue;
            }
            for &key in graph.leaving(point).iter().filter(|&&key| inside(key)) {
                let (early, _) = after(&graph.arcs[key], self.early[point], NEVER);
                let to = graph.arcs[key].to;
                if early < self.early[to] {
                    self.meet(order, to, early, NEVER);
                    open.push(to);
                }
            }
        }
        // The latest: every way from every entrance, each point once.
        let entrances: Vec<(Node, Time)> = order
            .group(place)
            .iter()
            .filter(|&&point| point.what() != Transition::ToUnknown && self.late[point] != NEVER)
            .map(|&point| (point, self.late[point]))
            .collect();
        let mut steps = 0;
        for (entrance, late) in entrances {
            let mut path: Vec<ArcKey> = Vec::new();
            let mut times = vec![late];
            let mut choices = vec![graph.leaving(entrance).iter()];
            while let Some(choice) = choices.last_mut() {
                let Some(&key) = choice.next() else {
                    choices.pop();
                    path.pop();
                    times.pop();
                    continue;
                };
                let arc = &graph.arcs[key];
                let (Some(&time), Some(delay), true) = (times.last(), arc.late, inside(key)) else {
                    continue;
                };
                let twice = arc.to == entrance || path.iter().any(|&other| graph.arcs[other].to == arc.to);
                let contradicts = path.iter().any(|&other| {
                    graph.mutual_exclusions.contradict(graph, graph.arcs[other].sensitisation, arc.sensitisation)
                });
                if twice || contradicts {
                    continue;
                }
                steps += 1;
                if steps > MOST_STEPS {
                    if !self.tangled.contains(&place) {
                        self.tangled.push(place);
                    }
                    self.queued[place as usize] = false;
                    return;
                }
                let time = time + Time::from_ps_u32(delay);
                self.meet(order, arc.to, NOT_YET, time);
                path.push(key);
                times.push(time);
                choices.push(graph.leaving(arc.to).iter());
            }
        }
        // What has moved here needs no second look.
        self.queued[place as usize] = false;
    }
}

/// Early and late behind an arc.
fn after(arc: &super::graph::Arc, early: Time, late: Time) -> (Time, Time) {
    let first = if early == NOT_YET { NOT_YET } else { early + Time::from_ps_u32(arc.early) };
    let last = match arc.late {
        Some(delay) if late != NEVER => late + Time::from_ps_u32(delay),
        _ => NEVER,
    };
    (first, last)
}
