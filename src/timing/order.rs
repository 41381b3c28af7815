//! The order in which arrivals are worked out, and the loops.
//!
//! Points that move one another in a ring stand together, at one rank. Most rings are only apparent: two drivers of a
//! bus that are never on together. One that is real is told, with the outputs that it goes through.

use super::clocks::{Clocks, output_path};
use super::graph::{ArcKey, Graph, Node};
use crate::key::{Key, KeyVec};
use petgraph::algo::kosaraju_scc;
use petgraph::graph::DiGraph;

/// The order of all points.
#[derive(Debug)]
pub struct Order {
    /// Arcs that data passes.
    pub open: KeyVec<ArcKey, bool>,
    /// The rank of each point: a point is moved only by points of smaller places, and by those of its ring.
    pub rank: KeyVec<Node, u32>,
    /// The points of all places, the last rank first, and where those of each one begin; behind them the end.
    points: Vec<Node>,
    starts: Vec<u32>,
    /// The real loops, each as the outputs that it goes through.
    pub loops: Vec<Vec<String>>,
}

/// So many steps are spent on the search for loops in one ring.
const MOST_STEPS: usize = 20_000;
/// So many loops are told.
const MOST_LOOPS: usize = 50;

impl Order {
    pub fn new(graph: &Graph<'_>, clocks: &Clocks) -> Order {
        let passes = graph.arcs.values().map(|arc| clocks.passes(graph, arc.kind, arc.chip, arc.to));
        let mut order = Order {
            open: passes.collect(),
            rank: KeyVec::filled(graph.points(), 0),
            points: Vec::with_capacity(graph.points()),
            starts: vec![0],
            loops: Vec::new(),
        };
        order.sort(graph);
        order.find_loops(graph);
        order
    }

    /// Number of places.
    pub(crate) fn ranks(&self) -> usize {
        self.starts.len() - 1
    }

    /// The points of a rank: one, or those of a ring.
    pub fn group(&self, rank: u32) -> &[Node] {
        let last = self.ranks() - rank as usize;
        &self.points[self.starts[last - 1] as usize..self.starts[last] as usize]
    }

    /// The points that the open arcs of a point lead to.
    fn next<'g>(&'g self, graph: &'g Graph<'_>, point: Node) -> impl Iterator<Item = Node> + 'g {
        let arcs = graph.leaving(point).iter();
        arcs.filter(|&&key| self.open[key]).map(|&key| graph.arcs[key].to)
    }

    /// Rings, the last first. Kosaraju's search keeps its own stack; that of Tarjan recurses, and a chain of a hundred
    /// thousand points would be too long for it.
    fn sort(&mut self, graph: &Graph<'_>) {
        let open = graph.arcs.iter().filter(|(key, _)| self.open[*key]);
        let edges = open.map(|(_, arc)| (arc.from.index() as u32, arc.to.index() as u32));
        let mut moves = DiGraph::<(), ()>::with_capacity(graph.points(), graph.arcs.len());
        for _ in 0..graph.points() {
            moves.add_node(());
        }
        moves.extend_with_edges(edges);
        for ring in kosaraju_scc(&moves) {
            let start = self.points.len();
            let points = ring.into_iter().map(|node| Node::from_index(node.index()));
            self.points.extend(points);
            self.points[start..].sort_unstable();
            self.starts.push(self.points.len() as u32);
        }
        for rank in 0..self.ranks() as u32 {
            let last = self.ranks() - rank as usize;
            for at in self.starts[last - 1]..self.starts[last] {
                self.rank[self.points[at as usize]] = rank;
            }
        }
    }

    /// True for a rank whose points move one another.
    pub(crate) fn is_ring(&self, graph: &Graph<'_>, rank: u32) -> bool {
        match self.group(rank) {
            &[point] => self.next(graph, point).any(|to| to == point),
            _ => true,
        }
    }

    fn find_loops(&mut self, graph: &Graph<'_>) {
        let mut found: Vec<Vec<String>> = Vec::new();
        for rank in 0..self.ranks() as u32 {
            if !self.is_ring(graph, rank) {
                continue;
            }
            for around in self.loops_of(graph, rank) {
                let mut names: Vec<String> = around
                    .iter()
                    .map(|&key| output_path(graph, graph.arcs[key].chip, graph.arcs[key].output))
                    .collect();
                // A ring that inverts goes round twice before an edge meets itself.
                let half = names.len() / 2;
                if names[..half] == names[half..] {
                    names.truncate(half);
                }
                // Each loop begins with the name that comes first.
                let first = names.iter().enumerate().min_by_key(|(_, name)| name.as_str());
                let first = first.map_or(0, |(at, _)| at);
                names.rotate_left(first);
                names.dedup();
                if !found.contains(&names) && found.len() < MOST_LOOPS {
                    found.push(names);
                }
            }
        }
        found.sort();
        self.loops = found;
    }

    /// Real loops of a ring: one through each of its outputs at the most, by a search from every point.
    fn loops_of(&self, graph: &Graph<'_>, rank: u32) -> Vec<Vec<ArcKey>> {
        let mut steps = 0;
        let mut loops = Vec::new();
        let mut reported: Vec<Node> = Vec::new();
        for &start in self.group(rank) {
            if reported.contains(&start) {
                continue;
            }
            let mut path: Vec<ArcKey> = Vec::new();
            let mut choices: Vec<std::slice::Iter<'_, ArcKey>> = vec![graph.leaving(start).iter()];
            while let Some(choice) = choices.last_mut() {
                steps += 1;
                if steps > MOST_STEPS {
                    return loops;
                }
                let Some(&key) = choice.next() else {
                    choices.pop();
                    path.pop();
                    continue;
                };
                let arc = &graph.arcs[key];
                let inside = self.open[key] && self.rank[arc.to] == rank;
                let contradicts = path.iter().any(|&other| {
                    graph.mutual_exclusions.contradict(graph, graph.arcs[other].sensitisation, arc.sensitisation)
                });
                if !inside || contradicts {
                    continue;
                }
                if arc.to == start {
                    path.push(key);
                    reported.extend(path.iter().map(|&key| graph.arcs[key].to));
                    loops.push(path);
                    break;
                }
                if path.iter().any(|&other| graph.arcs[other].to == arc.to) {
                    continue;
                }
                path.push(key);
                choices.push(graph.leaving(arc.to).iter());
            }
        }
        loops
    }
}
