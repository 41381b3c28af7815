//! Who feeds whom: the order of levels, and rings of nets that have none.

use super::machine::Machine;
use super::pieces::bits;
use crate::circuit::NetKey;
use crate::diagnostic::Diagnostic;
use crate::key::Key;
use crate::part::PinKind;
use std::collections::BTreeMap;

/// Nets that feed each other in a ring, which some outputs break by letting go.
#[derive(Clone, Debug, Default)]
pub(super) struct Ring {
    /// The units that can break it: buffers that let go, each with its outputs in the ring, and latches that close.
    pub(super) gates: Vec<(u32, u64, bool)>,
    /// From net to net (numbers within the ring), through a gate or, with none, always.
    edges: Vec<(u32, u32, Option<u32>)>,
    size: usize,
    /// Whether it was found to be broken, by the gates that drive.
    known: BTreeMap<u64, bool>,
}

impl Ring {
    /// True when the same buffers close it in the same way.
    fn is_like(&self, other: &Ring) -> bool {
        let units = |ring: &Ring| {
            let gates = ring.gates.iter();
            gates.map(|gate| (gate.0, gate.2)).collect::<Vec<_>>()
        };
        self.size == other.size && self.edges == other.edges && units(self) == units(other)
    }

    fn join(&mut self, other: &Ring) {
        for (gate, more) in self.gates.iter_mut().zip(&other.gates) {
            gate.1 |= more.1;
        }
    }

    /// True when no way round is open while these gates drive.
    pub(super) fn is_broken(&mut self, driving: u64) -> bool {
        if let Some(&broken) = self.known.get(&driving) {
            return broken;
        }
        let mut next: Vec<Vec<u32>> = vec![Vec::new(); self.size];
        for &(from, to, gate) in &self.edges {
            if gate.is_none_or(|gate| driving >> gate & 1 == 1) {
                next[from as usize].push(to);
            }
        }
        let loops =
            |group: &Vec<u32>| group.len() > 1 || next[group[0] as usize].contains(&group[0]);
        let broken = !components(&next).iter().any(loops);
        self.known.insert(driving, broken);
        broken
    }
}

/// The strongly connected components of a graph, each behind all that it leads to (R. Tarjan 1972).
pub(super) fn components(next: &[Vec<u32>]) -> Vec<Vec<u32>> {
    const NEW: u32 = u32::MAX;
    let mut found = Vec::new();
    let mut index = vec![NEW; next.len()];
    let mut low = vec![0u32; next.len()];
    let mut on_stack = vec![false; next.len()];
    let mut stack: Vec<u32> = Vec::new();
    let mut count = 0;
    for start in 0..next.len() as u32 {
        if index[start as usize] != NEW {
            continue;
        }
        let mut way: Vec<(u32, usize)> = vec![(start, 0)];
        while let Some((node, at)) = way.last_mut() {
            let node = *node;
            let here = node as usize;
            if *at == 0 {
                (index[here], low[here]) = (count, count);
                count += 1;
                stack.push(node);
                on_stack[here] = true;
            }
            if let Some(&other) = next[here].get(*at) {
                *at += 1;
                let there = other as usize;
                if index[there] == NEW {
                    way.push((other, 0));
                } else if on_stack[there] {
                    low[here] = low[here].min(index[there]);
                }
                continue;
            }
            if *at == 0 {
                *at = 1;
            }
            way.pop();
            if let Some(&(before, _)) = way.last() {
                low[before as usize] = low[before as usize].min(low[here]);
            }
            if low[here] == index[here] {
                let mut group = Vec::new();
                while let Some(member) = stack.pop() {
                    on_stack[member as usize] = false;
                    group.push(member);
                    if member == node {
                        break;
                    }
                }
                group.sort_unstable();
                found.push(group);
            }
        }
    }
    found
}

/// One way from a net to a net.
struct Edge {
    from: u32,
    to: u32,
    unit: u32,
    output: u32,
    /// True when the output can let go, or the latch close, without a look at the ring to know when.
    gate: bool,
    /// Through a latch, while it is open.
    latch: bool,
}

impl Machine<'_> {
    /// Finds the rings. Those that nothing can break are told.
    pub(super) fn find_rings(&mut self, problems: &mut Vec<Diagnostic>) {
        let mut edges = self.net_edges();
        let count = self.circuit.nets.len();
        let mut next: Vec<Vec<u32>> = vec![Vec::new(); count];
        for edge in &edges {
            next[edge.from as usize].push(edge.to);
        }
        let mut ring_of = vec![u32::MAX; count];
        let mut rings: Vec<Vec<u32>> = Vec::new();
        for group in components(&next) {
            if group.len() > 1 || next[group[0] as usize].contains(&group[0]) {
                group
                    .iter()
                    .for_each(|&net| ring_of[net as usize] = rings.len() as u32);
                rings.push(group);
            }
        }
        edges.retain(|edge| {
            let ring = ring_of[edge.from as usize];
            ring != u32::MAX && ring == ring_of[edge.to as usize]
        });
        for edge in &mut edges {
            edge.gate = self.is_gate(edge, &ring_of);
        }
        for (at, nets) in rings.iter().enumerate() {
            let of = edges
                .iter()
                .filter(|edge| ring_of[edge.from as usize] == at as u32);
            let mut ring = Ring {
                size: nets.len(),
                ..Ring::default()
            };
            let row = |net: u32| nets.binary_search(&net).unwrap_or_default() as u32;
            for edge in of {
                let gate = edge.gate.then(|| {
                    let same =
                        |gate: &(u32, u64, bool)| (gate.0, gate.2) == (edge.unit, edge.latch);
                    let known = ring.gates.iter().position(same);
                    let gate = known.unwrap_or_else(|| {
                        ring.gates.push((edge.unit, 0, edge.latch));
                        ring.gates.len() - 1
                    });
                    ring.gates[gate].1 |= 1 << edge.output;
                    gate as u32
                });
                ring.edges.push((row(edge.from), row(edge.to), gate));
            }
            if ring.is_broken(0) && ring.gates.len() <= 64 {
                for &(unit, ..) in &ring.gates {
                    self.units[unit as usize].ringed = true;
                }
                // Eight lines of a bus are one ring.
                match self.rings.iter_mut().find(|other| other.is_like(&ring)) {
                    Some(other) => other.join(&ring),
                    None => self.rings.push(ring),
                }
            } else {
                problems.push(self.closed_ring(nets, &edges));
            }
        }
    }

    /// Which nets move which, through one chip and without storage.
    fn net_edges(&self) -> Vec<Edge> {
        let mut edges = Vec::new();
        for (number, unit) in self.units.iter().enumerate() {
            let cell = &self.cells[unit.cell as usize];
            let chip = &self.circuit.chips[cell.chip];
            let function = &cell.part.function;
            for output in bits(unit.outputs) {
                let Some(to) = chip.nets[function.outputs[output as usize]] else {
                    continue;
                };
                if self.is_fixed(to) {
                    continue;
                }
                let reads = function.reads_of_value(output as usize).inputs
                    | function.reads_of_off(output as usize).inputs;
                let mut follows = 0;
                if unit.states != 0 && function.memories.is_empty() {
                    follows = function.reads_of_levels(unit.states).inputs
                        & function.arcs[output as usize]
                        & !unit.controls;
                }
                for input in bits((reads | follows) & cell.variable) {
                    if let Some(from) = chip.nets[function.inputs[input as usize]] {
                        edges.push(Edge {
                            from: self.joined(from),
                            to: self.joined(to),
                            unit: number as u32,
                            output,
                            gate: false,
                            latch: reads >> input & 1 == 0,
                        });
                    }
                }
            }
        }
        edges
    }

    /// One net for all that contacts and resistors join.
    fn joined(&self, net: NetKey) -> u32 {
        match self.places[net].kind {
            super::machine::PlaceKind::Knot(knot, _) => {
                self.knots[knot as usize].nets[0].net.index() as u32
            }
            _ => net.index() as u32,
        }
    }

    fn is_gate(&self, edge: &Edge, ring_of: &[u32]) -> bool {
        let cell = &self.cells[self.units[edge.unit as usize].cell as usize];
        let chip = &self.circuit.chips[cell.chip];
        let function = &cell.part.function;
        let pin = function.outputs[edge.output as usize];
        let lets_go = matches!(
            cell.part.pins[pin].kind,
            PinKind::ThreeState | PinKind::InOut
        );
        let unit = &self.units[edge.unit as usize];
        let off = if edge.latch {
            unit.controls & cell.variable
        } else {
            function.reads_of_off(edge.output as usize).inputs
        };
        let mut enables = bits(off).filter_map(|input| chip.nets[function.inputs[input as usize]]);
        let ring = ring_of[edge.from as usize];
        (lets_go || edge.latch) && enables.all(|net| ring_of[self.joined(net) as usize] != ring)
    }

    fn closed_ring(&self, nets: &[u32], edges: &[Edge]) -> Diagnostic {
        let path = |net: u32| {
            self.circuit.nets[NetKey::from_index(net as usize)]
                .path
                .as_str()
        };
        let around: Vec<&str> = nets.iter().take(6).map(|&net| path(net)).collect();
        let more = if nets.len() > 6 { ", ..." } else { "" };
        let message = format!(
            "a ring of gates stores or swings by its delays: {}{more}",
            around.join(", ")
        );
        let mut told = Diagnostic::error("untimed-ring", message);
        let mut chips: Vec<_> = edges
            .iter()
            .filter(|edge| nets.contains(&edge.from))
            .map(|edge| self.cells[self.units[edge.unit as usize].cell as usize].chip)
            .collect();
        chips.sort();
        chips.dedup();
        for chip in chips.into_iter().take(4) {
            let chip = &self.circuit.chips[chip];
            told = told.at(chip.span, format!("{} is in it", chip.path));
        }
        told.help("run it with delays: leave out --untimed")
    }
}
