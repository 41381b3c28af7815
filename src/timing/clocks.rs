//! The clocks: where they come from, what they reach, and how far apart their edges are.
//!
//! A clock begins at an oscillator or at a net that is said to be one. Where it reaches storage whose output clocks
//! more storage, that output is a clock as well, *made* from the first: it moves at one edge of that, not more often
//! than every time. How often the output of a counter moves that counts by itself is found by letting it count.

use super::clock_pins::{ClockPin, clock_pins, latch_inputs};
use super::counting::{Counting, Steps};
use super::graph::{ArcKind, Graph, Node, TimingNet, Transition};
use super::phases::MasterClock;
use super::shape::bits;
use super::sources::{Source, oscillators};
use crate::circuit::ChipKey;
use crate::key::{Key, KeyVec};
use crate::quantity::Time;
use rustc_hash::{FxHashMap, FxHashSet};
use std::collections::BTreeSet;
use std::rc::Rc;

crate::key_type!(
    /// A clock.
    ClockKey, "clock"
);

#[derive(Clone, Debug)]
pub struct Clock {
    pub timing_net: TimingNet,
    /// Who says so, in words.
    pub origin: String,
    /// The shortest time from one rise to the next.
    pub period: Time,
    /// The shortest time that it is high.
    pub high: Time,
    /// The shortest time that it is low.
    pub low: Time,
    /// How it is made from another one.
    pub generated: Option<GeneratedClock>,
    /// The clock that all began with.
    pub root: ClockKey,
}

/// How a clock is made from another one.
#[derive(Clone, Debug)]
pub struct GeneratedClock {
    /// The other one.
    pub parent: ClockKey,
    /// The edge of the other one that moves it.
    pub edge: Transition,
    /// The chip that makes it, and the bit of its output word.
    pub chip: ChipKey,
    /// Bit of the output word.
    pub output: u8,
    /// At which edges it moves, when that is known.
    pub steps: Option<Rc<Steps>>,
    /// The clock that it repeats, when it does.
    pub master: Option<MasterClock>,
}

/// An edge of a clock.
pub type ClockEdge = (ClockKey, Transition);

/// All clocks of a circuit.
#[derive(Debug, Default)]
pub struct Clocks {
    /// In order: a clock stands behind the one that it is made from.
    pub clocks: KeyVec<ClockKey, Clock>,
    /// The clock that begins at a net.
    pub begins: FxHashMap<TimingNet, ClockKey>,
    /// For each clock, the points that its edges reach through logic: bit 0 its rise, bit 1 its fall.
    reach: Vec<FxHashMap<Node, u8>>,
    /// Points that some clock reaches.
    carried: FxHashSet<Node>,
    /// Where clocks go in.
    pub clock_pins: Vec<ClockPin>,
    /// Gateways that no clock reaches.
    pub unclocked: Vec<ClockPin>,
    /// True when there were too many clocks to follow them all.
    pub truncated: bool,
    counting: Counting,
}

/// More clocks than this are not followed.
const MOST_CLOCKS: usize = 2_000;
/// When all clocks together reach more points than this, no more are followed.
const MOST_REACHED: usize = 4_000_000;

impl Clocks {
    /// Finds all clocks that the sources lead to.
    pub fn find(graph: &Graph<'_>, sources: &[Source]) -> Clocks {
        let mut clocks = Clocks { clock_pins: clock_pins(graph), ..Clocks::default() };
        let mut all: Vec<Source> = sources.to_vec();
        all.extend(oscillators(graph.circuit));
        for source in all {
            let Some(timing_net) = graph.timing_net_of[source.net] else {
                continue;
            };
            if clocks.begins.contains_key(&timing_net) {
                continue;
            }
            let root = ClockKey::from_index(clocks.clocks.len());
            clocks.add(
                graph,
                Clock {
                    timing_net,
                    origin: source.origin,
                    period: source.period,
                    high: source.high,
                    low: source.period - source.high,
                    generated: None,
                    root,
                },
            );
        }
        while clocks.make_more(graph) || clocks.repeat(graph) {}
        clocks.retime_all();
        clocks.count_on(graph);
        clocks.follow(graph);
        let unclocked = clocks.clock_pins.iter().filter(|clock_pin| !clocks.enters(graph, clock_pin));
        clocks.unclocked = unclocked.cloned().collect();
        clocks
    }

    /// Whether an arc of the graph is followed by data: neither into the beginning of a clock, nor through storage.
    pub fn passes(&self, graph: &Graph<'_>, kind: ArcKind, chip: ChipKey, to: Node) -> bool {
        if self.begins.contains_key(&to.timing_net()) {
            return false;
        }
        match kind {
            ArcKind::Logic => true,
            ArcKind::Clock => false,
            ArcKind::Open(rule) | ArcKind::Latch(rule) => !self.closes(graph, chip, rule),
        }
    }

    /// True when a clock opens and closes a latch.
    pub(crate) fn closes(&self, graph: &Graph<'_>, chip: ChipKey, rule: u8) -> bool {
        let inputs = latch_inputs(graph, chip, usize::from(rule));
        self.enters(graph, &ClockPin { chip, inputs })
    }

    fn enters(&self, graph: &Graph<'_>, clock_pin: &ClockPin) -> bool {
        bits(clock_pin.inputs)
            .any(|input| graph.input_net(clock_pin.chip, input).is_some_and(|timing_net| self.carries(timing_net)))
    }

    /// True when a clock reaches a net through logic.
    pub fn carries(&self, timing_net: TimingNet) -> bool {
        [Transition::Rise, Transition::Fall].iter().any(|&edge| self.carried.contains(&Node::of(timing_net, edge)))
    }

    /// The edges of a clock that reach a point: bit 0 its rise, bit 1 its fall.
    pub(crate) fn reaches(&self, clock: ClockKey, point: Node) -> u8 {
        self.reach[clock.index()].get(&point).copied().unwrap_or(0)
    }

    /// The points that an edge of a clock reaches through logic, in no order; `bit` 1 is its rise, 2 its fall.
    pub fn reached(&self, clock: ClockKey, bit: u8) -> impl Iterator<Item = Node> + '_ {
        let rows = self.reach[clock.index()].iter();
        rows.filter(move |(_, mask)| **mask & bit != 0).map(|(point, _)| *point)
    }

    fn add(&mut self, graph: &Graph<'_>, clock: Clock) {
        let key = ClockKey::from_index(self.clocks.len());
        self.begins.insert(clock.timing_net, key);
        self.clocks.push(clock);
        let reach = self.reach_of(graph, key);
        self.carried.extend(reach.keys());
        self.reach.push(reach);
    }

    /// Follows all clocks once more, when it is known which edges pass the gates in which they meet.
    fn follow(&mut self, graph: &Graph<'_>) {
        let reach = self.clocks.keys().map(|key| self.reach_of(graph, key));
        self.reach = reach.collect();
        self.carried = self.reach.iter().flat_map(|reach| reach.keys().copied()).collect();
    }

    fn reach_of(&self, graph: &Graph<'_>, key: ClockKey) -> FxHashMap<Node, u8> {
        let timing_net = self.clocks[key].timing_net;
        let mut reach: FxHashMap<Node, u8> = FxHashMap::default();
        let mut open =
            vec![(Node::of(timing_net, Transition::Rise), 1u8), (Node::of(timing_net, Transition::Fall), 2u8)];
        while let Some((point, mask)) = open.pop() {
            let seen = reach.entry(point).or_insert(0);
            if *seen & mask == mask {
                continue;
            }
            *seen |= mask;
            let mask = *seen;
            for &arc in graph.leaving(point) {
                let arc = &graph.arcs[arc];
                let to_unknown = arc.to.what() == Transition::ToUnknown;
                if arc.kind != ArcKind::Logic || to_unknown || self.begins.contains_key(&arc.to.timing_net()) {
                    continue;
                }
                let edges = [(1, Transition::Rise), (2, Transition::Fall)].into_iter();
                let passes = edges.filter(|&(bit, edge)| mask & bit != 0 && self.lets_through(graph, arc, (key, edge)));
                let mask = passes.fold(0, |mask, (bit, _)| mask | bit);
                if mask != 0 {
                    open.push((arc.to, mask));
                }
            }
        }
        reach
    }

    /// Makes the clocks that gateways without a clock need; false when there are none.
    fn make_more(&mut self, graph: &Graph<'_>) -> bool {
        let mut generated = false;
        for at in 0..self.clock_pins.len() {
            let clock_pin = self.clock_pins[at].clone();
            if self.enters(graph, &clock_pin) {
                continue;
            }
            // The pin with the fewest outputs behind it is the clock, the others let it through.
            let found = bits(clock_pin.inputs).filter_map(|input| {
                let timing_net = graph.input_net(clock_pin.chip, input)?;
                let outputs = self.outputs_behind(graph, timing_net);
                (!outputs.is_empty()).then_some(outputs)
            });
            let Some(outputs) = found.min_by_key(BTreeSet::len) else {
                continue;
            };
            for timing_net in outputs {
                generated |= self.make(graph, timing_net);
            }
        }
        generated
    }

    /// The nets at which storage that is clocked comes out, back from a net through logic.
    fn outputs_behind(&self, graph: &Graph<'_>, timing_net: TimingNet) -> BTreeSet<TimingNet> {
        let mut seen = FxHashSet::default();
        let mut found = BTreeSet::new();
        let mut open = vec![timing_net];
        while let Some(timing_net) = open.pop() {
            if !seen.insert(timing_net) {
                continue;
            }
            for arc in graph.entering_net(timing_net) {
                match arc.kind {
                    ArcKind::Logic => open.push(arc.from.timing_net()),
                    ArcKind::Clock if self.carried.contains(&arc.from) => {
                        found.insert(timing_net);
                    }
                    _ => {}
                }
            }
        }
        found
    }

    /// Makes a clock of an output of clocked storage.
    fn make(&mut self, graph: &Graph<'_>, timing_net: TimingNet) -> bool {
        if self.begins.contains_key(&timing_net) {
            return false;
        }
        let rows = graph.entering(Node::of(timing_net, Transition::Rise)).iter();
        let arcs = rows.map(|&key| graph.arcs[key]).filter(|arc| arc.kind == ArcKind::Clock);
        let mut best: Option<(Time, GeneratedClock)> = None;
        for arc in arcs {
            for parent in self.clocks.keys() {
                let mask = self.reaches(parent, arc.from);
                let period = self.clocks[parent].period;
                if mask == 0 || best.as_ref().is_some_and(|(shortest, _)| *shortest <= period) {
                    continue;
                }
                let edge = if mask & 1 == 1 { Transition::Rise } else { Transition::Fall };
                let (chip, output) = (arc.chip, arc.output);
                let generated = GeneratedClock { parent, edge, chip, output, steps: None, master: None };
                best = Some((period, generated));
            }
        }
        let Some((_, mut generated)) = best else {
            return false;
        };
        generated.steps = self.counting.of(graph, generated.chip, generated.output);
        if generated.steps.as_ref().is_some_and(|steps| steps.moves.is_empty()) {
            return false;
        }
        let root = self.clocks[generated.parent].root;
        let path = output_path(graph, generated.chip, generated.output);
        let clock = Clock {
            timing_net,
            origin: format!("{path}, clocked by {}", graph.net_name(self.clocks[generated.parent].timing_net)),
            period: Time::ZERO,
            high: Time::ZERO,
            low: Time::ZERO,
            generated: Some(generated),
            root,
        };
        self.begin(graph, clock)
    }

    /// Takes a clock in that is made from another one; false when there are too many.
    pub(super) fn begin(&mut self, graph: &Graph<'_>, mut clock: Clock) -> bool {
        let reached: usize = self.reach.iter().map(FxHashMap::len).sum();
        if self.clocks.len() >= MOST_CLOCKS || reached >= MOST_REACHED {
            self.truncated = true;
            return false;
        }
        self.retime(&mut clock);
        self.add(graph, clock);
        true
    }

    /// Where one output of a counter that counts by itself clocks something, its other outputs are clocks as well: it is
    /// known when they move.
    fn count_on(&mut self, graph: &Graph<'_>) {
        let generated = self.clocks.values().filter_map(|clock| clock.generated.as_ref());
        let counters = generated.filter(|generated| generated.steps.is_some()).map(|generated| generated.chip);
        for chip in counters.collect::<BTreeSet<ChipKey>>() {
            for output in 0..graph.circuit.chips[chip].part.function.outputs.len() {
                let Some(timing_net) = graph.output_net(chip, output) else {
                    continue;
                };
                let alone = graph.timing_nets[timing_net].drivers.len() == 1;
                if alone && self.counting.of(graph, chip, output as u8).is_some() {
                    self.make(graph, timing_net);
                }
            }
        }
    }

    /// Works out the times of a clock that is made from another.
    fn retime(&self, clock: &mut Clock) {
        let Some(generated) = &clock.generated else { return };
        if let Some(master) = generated.master {
            (clock.period, clock.high, clock.low) = self.repeated(master);
            return;
        }
        let every = self.clocks[generated.parent].period;
        let (period, high, low) = generated.steps.as_ref().map_or((2, 1, 1), |steps| steps.gaps());
        clock.period = every * period;
        clock.high = every * high;
        clock.low = every * low;
    }

    /// Gives a root another period, with the same share of high, and so all that is made from it.
    pub(crate) fn set_period(&mut self, root: ClockKey, period: Time) {
        let clock = &mut self.clocks[root];
        let high =
            i128::from(clock.high.ps()) * i128::from(period.ps()) / i128::from(clock.period.max(Time::PICOSECOND).ps());
        clock.high =
            Time::from_ps(high as i64).clamp(Time::PICOSECOND, (period - Time::PICOSECOND).max(Time::PICOSECOND));
        clock.low = (period - clock.high).max(Time::PICOSECOND);
        clock.period = period;
        self.retime_all();
    }

    /// Works out the times of all clocks that are made from others. One that is repeated may stand behind those that
    /// repeat it.
    fn retime_all(&mut self) {
        for _ in 0..self.clocks.len() {
            let mut moved = false;
            for key in self.clocks.keys() {
                let mut clock = self.clocks[key].clone();
                self.retime(&mut clock);
                moved |= clock.period != self.clocks[key].period || clock.high != self.clocks[key].high;
                self.clocks[key] = clock;
            }
            if !moved {
                break;
            }
        }
    }

    /// How long after an edge of one clock an edge of another one comes next, at the least; and how long before it,
    /// or with it, one came last (zero or less). `None` when the clocks have nothing to do with each other.
    pub(crate) fn edge_separation(&self, from: ClockEdge, to: ClockEdge) -> Option<(Time, Time)> {
        let others = self.ancestors(to);
        let pairs = self.ancestors(from).into_iter();
        let mut pairs = pairs.flat_map(|one| others.iter().map(move |&other| (one, other)));
        pairs.find_map(|(one, other)| {
            let known = self.counted_separation(one, other);
            if let Some(found) = known.or_else(|| self.repeated_separation(one, other)) {
                return Some(found);
            }
            let clock = &self.clocks[one.0];
            (one.0 == other.0).then_some(match (one.1, other.1) {
                (a, b) if a == b => (clock.period, Time::ZERO),
                (Transition::Rise, _) => (clock.high, -clock.low),
                _ => (clock.low, -clock.high),
            })
        })
    }

    /// The edges that an edge is made by, itself first.
    pub(super) fn ancestors(&self, clock_edge: ClockEdge) -> Vec<ClockEdge> {
        let mut clock_edges = vec![clock_edge];
        let mut clock = clock_edge.0;
        while let Some(generated) = &self.clocks[clock].generated {
            clock_edges.push((generated.parent, generated.edge));
            clock = generated.parent;
        }
        clock_edges
    }

    /// The distance of two outputs of one counter, which is known exactly.
    fn counted_separation(&self, from: ClockEdge, to: ClockEdge) -> Option<(Time, Time)> {
        let (a, b) = (self.clocks[from.0].generated.as_ref()?, self.clocks[to.0].generated.as_ref()?);
        if a.chip != b.chip || a.parent != b.parent || a.edge != b.edge {
            return None;
        }
        let (steps, others) = (a.steps.as_ref()?, b.steps.as_ref()?);
        let every = self.clocks[a.parent].period;
        let (next, last) = steps.edge_separation(from.1 == Transition::Rise, others, to.1 == Transition::Rise)?;
        Some((every * next, -(every * last)))
    }
}

/// `A.U1.Q3` for an output bit of a chip.
pub(crate) fn output_path(graph: &Graph<'_>, chip: ChipKey, output: u8) -> String {
    let pin = graph.circuit.chips[chip].part.function.outputs[usize::from(output)];
    graph.circuit.pin_path(chip, pin)
}

/// `A.U1.CLK` for an input bit of a chip.
pub fn input_path(graph: &Graph<'_>, chip: ChipKey, input: usize) -> String {
    let pin = graph.circuit.chips[chip].part.function.inputs[input];
    graph.circuit.pin_path(chip, pin)
}
