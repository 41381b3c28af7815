//! Arrivals in random circuits against the shortest and longest paths that an independent graph crate finds.

use super::*;
use coldboard::quantity::Time;
use coldboard::timing::arrival::{Arrivals, Start};
use coldboard::timing::graph::{Node, Transition};
use petgraph::algo::{bellman_ford, dijkstra};
use petgraph::graph::{DiGraph, NodeIndex};

/// A sequence of numbers that look random (Marsaglia's xorshift, 2003).
pub(crate) struct Numbers(pub(crate) u64);

impl Numbers {
    pub(crate) fn below(&mut self, limit: u64) -> u64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 >> 11) % limit
    }
}

/// What a gate does with an edge: passes it on as it is, turned round, or both.
#[derive(Clone, Copy)]
enum Way {
    Same,
    Opposite,
    Both,
}

/// The parts of a random design: formula, way, and for A and B each the shortest and longest rise and fall in ns.
struct Gate {
    formula: &'static str,
    way: Way,
    times: [[(u64, u64); 2]; 2],
}

/// A random design: its text, and the same as a graph with an edge for each arc: (shortest, longest).
struct Random {
    text: String,
    graph: DiGraph<(), (f64, f64)>,
    gates: usize,
}

/// Net `n` rises at the node 2n and falls at 2n + 1; the nets 0 to 2 are the inputs.
fn random(seed: u64) -> Random {
    let mut numbers = Numbers(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let mut parts = Vec::new();
    for (formula, way) in [
        ("A and B", Way::Same),
        ("not (A and B)", Way::Opposite),
        ("A or B", Way::Same),
        ("not (A or B)", Way::Opposite),
        ("A xor B", Way::Both),
    ] {
        let mut time = || {
            let early = numbers.below(20);
            (early, early + numbers.below(30))
        };
        let times = [[time(), time()], [time(), time()]];
        parts.push(Gate { formula, way, times });
    }
    let mut text = String::new();
    for (index, part) in parts.iter().enumerate() {
        text += &format!(
            "part G{index} {{ package SIX {{ 1 A in  2 B in  3 Y out  4 GND ground  5 VCC power }}
            Y = {}
            grade T {{ source \"made up\" columns min 25 C, limit 0..70 C  at 5 V {{\n",
            part.formula
        );
        for (pin, times) in ["A", "B"].iter().zip(part.times) {
            for (word, (early, late)) in ["rise", "fall"].iter().zip(times) {
                text += &format!("delay {pin} -> Y {word} {early} {late} ns\n");
            }
        }
        text += "} } }\n";
    }
    let gates = 5 + numbers.below(40) as usize;
    text += &format!(
        "board b {{ rail VCC 5 V  rail GND  feed U1..U{gates} from VCC GND  connector J header-1x3 {{ 1..3 n[0..2] }}\n"
    );
    let mut graph = DiGraph::new();
    let mut nodes: Vec<NodeIndex> = (0..6).map(|_| graph.add_node(())).collect();
    for gate in 0..gates {
        let chosen = numbers.below(parts.len() as u64) as usize;
        let part = &parts[chosen];
        let output = 3 + gate;
        nodes.extend([graph.add_node(()), graph.add_node(())]);
        let inputs = [numbers.below(output as u64) as usize, numbers.below(output as u64) as usize];
        for (input, times) in inputs.iter().zip(part.times) {
            for from in 0..2 {
                for (to, (early, late)) in times.into_iter().enumerate() {
                    let passes = match part.way {
                        Way::Same => from == to,
                        Way::Opposite => from != to,
                        Way::Both => true,
                    };
                    if passes {
                        let (from, to) = (nodes[2 * input + from], nodes[2 * output + to]);
                        graph.add_edge(from, to, (early as f64, late as f64));
                    }
                }
            }
        }
        text += &format!("U{} G{chosen} {{ A = n{}  B = n{}  Y = n{output} }}\n", gate + 1, inputs[0], inputs[1]);
    }
    Random { text: text + "}", graph, gates }
}

/// 2,000 circuits of 5 to 44 gates, each from all edges of its three inputs: every net rises and falls as early and as
/// late as the shortest and the longest path of petgraph say (Dijkstra; Bellman and Ford with negative lengths, which is
/// exact in a graph without rings).
#[test]
fn arrivals_are_the_shortest_and_longest_paths() {
    let mut compared = 0;
    for seed in 1..=2000 {
        let random = random(seed);
        let circuit = circuit(&random.text);
        let analysis = analysis(&circuit, Parts::Mixed, &[]);
        let mut arrivals = Arrivals::new(&analysis.graph, &analysis.order);
        let longest = random.graph.map(|_, ()| (), |_, &(_, late)| -late);
        let net = |index: usize| {
            let key = circuit.net(&format!("n{index}"))?;
            analysis.graph.timing_net_of[key]
        };
        for begin in 0..6 {
            let Some(spot) = net(begin / 2) else { continue };
            let edges = [Transition::Rise, Transition::Fall];
            let start = Start {
                point: Node::of(spot, edges[begin % 2]),
                early: Time::ZERO,
                late: Some(Time::ZERO),
                arc: None,
                clock: None,
            };
            arrivals.spread(&analysis.graph, &analysis.order, &[start]);
            let node = NodeIndex::new(begin);
            let shortest = dijkstra(&random.graph, node, None, |edge| edge.weight().0);
            let latest = bellman_ford(&longest, node).expect("no ring").distances;
            for end in 0..2 * (3 + random.gates) {
                let Some(spot) = net(end / 2) else { continue };
                let point = Node::of(spot, edges[end % 2]);
                let to_ps = |ns: f64| Time::from_ps((ns * 1000.0) as i64);
                let early = shortest.get(&NodeIndex::new(end)).map(|&ns| to_ps(ns));
                let late = Some(latest[end]).filter(|ns| ns.is_finite()).map(|ns| to_ps(-ns));
                assert_eq!(arrivals.early(point), early, "seed {seed}, from {begin} to {end}\n{}", random.text);
                assert_eq!(arrivals.late(point), late, "seed {seed}, from {begin} to {end}\n{}", random.text);
                compared += 1;
            }
        }
    }
    assert!(compared > 500_000, "{compared} arrivals");
}
