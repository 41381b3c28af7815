//! Who feeds whom: the order of levels, and rings of nets that have none.

use super::graph::rings;
use super::machine::Machine;
use super::pieces::bits;
use super::place::PlaceKind;
use super::ring::{Edge, Ring};
use crate::circuit::NetKey;
use crate::diagnostic::Diagnostic;
use crate::key::Key;
use crate::logic::Word;
use crate::part::PinKind;
use crate::part::function::two_state::TiedInputs;

/// In place of a loop: one that was reported.
const REPORTED: u32 = u32::MAX - 1;
/// The conditions of outputs that more inputs release are not compared.
const MOST_ENABLES: u32 = 10;

impl Machine<'_> {
    /// Finds the rings, and the loops of gates in them. Those that only delays decide are reported.
    pub(super) fn find_rings(&mut self, problems: &mut Vec<Diagnostic>) {
        let mut edges = self.net_edges();
        let count = self.circuit.nets.len();
        let mut ring_of = vec![u32::MAX; count];
        let found = rings(count, edges.iter().map(|edge| (edge.from, edge.to)));
        for (number, nets) in (0..).zip(&found) {
            nets.iter().for_each(|&net| ring_of[net as usize] = number);
        }
        edges.retain(|edge| {
            let ring = ring_of[edge.from as usize];
            ring != u32::MAX && ring == ring_of[edge.to as usize]
        });
        for edge in &mut edges {
            edge.gate = self.is_gate(edge, &ring_of);
        }
        let loop_of = self.find_loops(&edges, problems);
        let in_loop = |edge: &Edge| {
            let number = loop_of[edge.from as usize];
            number != u32::MAX && number == loop_of[edge.to as usize] && !edge.gate
        };
        for (at, nets) in found.iter().enumerate() {
            let mut ring = Ring { size: nets.len(), ..Ring::default() };
            let row = |net: u32| nets.binary_search(&net).unwrap_or_default() as u32;
            let of = edges.iter().filter(|edge| ring_of[edge.from as usize] == at as u32);
            for edge in of.filter(|edge| !in_loop(edge)) {
                let breaker = edge.gate.then(|| {
                    let class = if edge.latch { 0 } else { self.released_with(edge.unit, edge.output) };
                    ring.breaker(edge, class)
                });
                ring.edges.push((row(edge.from), row(edge.to), breaker));
            }
            if ring.breakers.is_empty() && ring.is_broken(0) {
                continue;
            }
            if !ring.is_broken(0) || ring.breakers.len() > 64 {
                problems.push(self.closed_ring(nets, &edges));
                continue;
            }
            for breaker in &ring.breakers {
                self.units[breaker.unit as usize].ringed = true;
            }
            // Eight lines of a bus are one ring.
            match self.rings.iter_mut().find(|other| other.is_like(&ring)) {
                Some(other) => other.join(&ring),
                None => self.rings.push(ring),
            }
        }
    }

    /// Finds the loops of gates that drive their nets alone and at all times; returns the loop of each net. Other loops
    /// that nothing can break are reported.
    fn find_loops(&mut self, edges: &[Edge], problems: &mut Vec<Diagnostic>) -> Vec<u32> {
        let always = edges.iter().filter(|edge| !edge.gate);
        let count = self.circuit.nets.len();
        let mut loop_of = vec![u32::MAX; count];
        for nets in rings(count, always.clone().map(|edge| (edge.from, edge.to))) {
            let inside = |edge: &&Edge| nets.binary_search(&edge.from).is_ok() && nets.binary_search(&edge.to).is_ok();
            let mut units: Vec<u32> = always.clone().filter(inside).map(|edge| edge.unit).collect();
            units.sort_unstable();
            units.dedup();
            let number = self.loops.len() as u32;
            if self.add_loop(&nets, units) {
                nets.iter().for_each(|&net| loop_of[net as usize] = number);
            } else {
                nets.iter().for_each(|&net| loop_of[net as usize] = REPORTED);
                problems.push(self.closed_ring(&nets, edges));
            }
        }
        loop_of
    }

    /// The outputs of a unit that go high-impedance under the same condition as one of them.
    fn released_with(&self, unit: u32, output: u32) -> u64 {
        let unit = &self.units[unit as usize];
        let cell = &self.cells[unit.cell as usize];
        let function = &cell.part.function;
        let reads = function.reads_of_off(output as usize);
        let enables = reads.inputs & cell.variable;
        let mut tied = cell.fixed;
        tied.unknown &= !cell.variable;
        let alone = 1 << output;
        if reads.states != 0 || tied.unknown & reads.inputs != 0 || enables.count_ones() > MOST_ENABLES {
            return alone;
        }
        let same = |other: &u32| function.reads_of_off(*other as usize) == reads;
        let mut class = bits(unit.outputs).filter(same).fold(0, |mask, bit| mask | 1 << bit);
        let fixed = TiedInputs { inputs: cell.fixed, states: Word::all_unknown(function.state_mask()), memories: &[] };
        let Some(off) = function.two_state_off(fixed) else {
            return alone;
        };
        let mut pattern = enables;
        loop {
            let (released, _) = off.run(tied.value | pattern, 0, &[]);
            let here = if released >> output & 1 == 1 { released } else { !released };
            class &= here;
            if pattern == 0 {
                return class;
            }
            pattern = (pattern - 1) & enables;
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
                let reads =
                    function.reads_of_value(output as usize).inputs | function.reads_of_off(output as usize).inputs;
                let mut follows = 0;
                if unit.states != 0 && function.memories.is_empty() {
                    follows =
                        function.reads_of_levels(unit.states).inputs & function.arcs[output as usize] & !unit.controls;
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
            PlaceKind::Knot(knot, _) => self.knots[knot as usize].nets[0].net.index() as u32,
            _ => net.index() as u32,
        }
    }

    fn is_gate(&self, edge: &Edge, ring_of: &[u32]) -> bool {
        let cell = &self.cells[self.units[edge.unit as usize].cell as usize];
        let chip = &self.circuit.chips[cell.chip];
        let function = &cell.part.function;
        let pin = function.outputs[edge.output as usize];
        let lets_go = matches!(cell.part.pins[pin].kind, PinKind::ThreeState | PinKind::InOut);
        let unit = &self.units[edge.unit as usize];
        let off =
            if edge.latch { unit.controls & cell.variable } else { function.reads_of_off(edge.output as usize).inputs };
        let mut enables = bits(off).filter_map(|input| chip.nets[function.inputs[input as usize]]);
        let ring = ring_of[edge.from as usize];
        (lets_go || edge.latch) && enables.all(|net| ring_of[self.joined(net) as usize] != ring)
    }

    fn closed_ring(&self, nets: &[u32], edges: &[Edge]) -> Diagnostic {
        let path = |net: u32| self.circuit.nets[NetKey::from_index(net as usize)].path.as_str();
        let around: Vec<&str> = nets.iter().take(6).map(|&net| path(net)).collect();
        let more = if nets.len() > 6 { ", ..." } else { "" };
        let message = format!("a ring of gates stores or swings by its delays: {}{more}", around.join(", "));
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
