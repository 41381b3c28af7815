//! Paths: back from the end of a wave to where it began, the worst first.
//!
//! The arrivals say how much is before each point, so that the search goes straight to the worst path. A path that
//! contradicts itself, or that the designer says is not used, is passed over, and the next one is looked at.

use super::arrival::{Arrivals, Start};
use super::clock_latency::ClockLatencies;
use super::graph::{ArcKey, Graph, Node};
use super::mutual_exclusion::Sensitisation;
use super::order::Order;
use crate::circuit::{ChipKey, TimingPath};
use crate::key::KeyVec;
use crate::part::PinIndex;
use crate::quantity::Time;
use rustc_hash::{FxHashMap, FxHashSet};
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// A path of a wave.
#[derive(Clone, Debug)]
pub struct Path {
    pub start: Start,
    /// The arcs that it takes from there, in order.
    pub arcs: Vec<ArcKey>,
    /// The point where it ends.
    pub end: Node,
    /// When it arrives, after the edge that makes the wave.
    pub at: Time,
    /// What its clock has in common with the clock that it is compared with.
    pub common_path_credit: Time,
}

/// What a search has passed over.
#[derive(Clone, Debug, Default)]
pub struct Excluded {
    /// Ends that a path through arcs that contradict each other would lead to.
    pub contradictory: u64,
    /// Ends with so many paths that the worst one stands, be it real or not.
    pub unresolved: u64,
    /// For each statement of the designer, the paths that it speaks of.
    pub unused: Vec<u64>,
}

/// A wave and all that it is searched with.
pub struct Search<'s, 'c> {
    pub graph: &'s Graph<'c>,
    pub order: &'s Order,
    /// The clock moments.
    pub latencies: &'s ClockLatencies,
    /// The arrivals of the wave.
    pub arrivals: &'s Arrivals,
    /// Where it began, by point.
    pub starts: &'s Starts,
}

/// Starts by point.
#[derive(Debug, Default)]
pub struct Starts {
    rows: Vec<Start>,
}

impl Starts {
    /// Sorts starts by their points.
    pub fn new(mut rows: Vec<Start>) -> Starts {
        rows.sort_by_key(|start| start.point);
        Starts { rows }
    }

    pub fn all(&self) -> &[Start] {
        &self.rows
    }

    fn at(&self, point: Node) -> &[Start] {
        let first = self.rows.partition_point(|start| start.point < point);
        let count = self.rows[first..].partition_point(|start| start.point == point);
        &self.rows[first..first + count]
    }
}

/// So many steps are searched for one end.
const MOST_STEPS: usize = 10_000;

/// One step back: a point with all that is behind it.
struct Step {
    /// How bad the worst path through it can be; the greatest is looked at first.
    bound: Time,
    /// Its number, so that equals come in order.
    number: u32,
    at: Position,
}

#[derive(Clone, Copy)]
enum Position {
    /// On the way, at a row of the chain.
    Open(u32),
    /// At a start.
    Done(u32, Start),
}

/// A point on the way back.
struct Link {
    point: Node,
    end: Node,
    behind: Time,
    arc: Option<ArcKey>,
    next: Option<u32>,
    /// What the way behind it needs, and which points of a ring it goes through: a row of the contexts.
    context: u32,
}

/// What matters of the way behind a point for how it may go on.
type Context = (Vec<Sensitisation>, Vec<Node>);

/// Contexts by number.
#[derive(Default)]
struct Contexts {
    rows: Vec<Context>,
    known: FxHashMap<Context, u32>,
}

impl Contexts {
    fn number(&mut self, context: Context) -> u32 {
        if let Some(&known) = self.known.get(&context) {
            return known;
        }
        self.rows.push(context.clone());
        self.known.insert(context, self.rows.len() as u32 - 1);
        self.rows.len() as u32 - 1
    }
}

impl PartialEq for Step {
    fn eq(&self, other: &Self) -> bool {
        self.cmp(other) == Ordering::Equal
    }
}
impl Eq for Step {}
impl PartialOrd for Step {
    fn partial_cmp(&self, other: &Self) -> Option<Ordering> {
        Some(self.cmp(other))
    }
}
impl Ord for Step {
    fn cmp(&self, other: &Self) -> Ordering {
        (self.bound, other.number).cmp(&(other.bound, self.number))
    }
}

impl Search<'_, '_> {
    /// The worst real path to some points: the one that arrives last (or first, unless `late`) when what its clock has
    /// in common with the moment that it is compared with is taken off. `None` when there is no real path at all.
    pub fn worst(
        &self,
        ends: &[Node],
        late: bool,
        pin: (ChipKey, PinIndex),
        latency: Option<u32>,
        excluded: &mut Excluded,
    ) -> Option<Path> {
        let mut back = Back {
            search: self,
            late,
            chain: Vec::new(),
            contexts: Contexts::default(),
            seen: FxHashSet::default(),
            queue: BinaryHeap::new(),
            pushed: 0,
            contradicts: false,
        };
        let nothing = back.contexts.number(Context::default());
        for &end in ends {
            if let Some(time) = back.arrival(end) {
                back.open(time, Link { point: end, end, behind: Time::ZERO, arc: None, next: None, context: nothing });
            }
        }
        let sign = back.sign();
        let mut best: Option<Path> = None;
        let worth = |path: &Path| path.at * sign - path.common_path_credit;
        let mut steps = 0;
        while let Some(step) = back.queue.pop() {
            if best.as_ref().is_some_and(|best| worth(best) >= step.bound) {
                break;
            }
            steps += 1;
            match step.at {
                Position::Done(row, start) => {
                    let path = self.path(&back.chain, row, start, step.bound * sign, latency);
                    // When there is no end of them, what is false can no longer be told, and the path stands.
                    if steps < MOST_STEPS && self.is_false_path(&path, pin, excluded) {
                        continue;
                    }
                    if best.as_ref().is_none_or(|best| worth(&path) > worth(best)) {
                        best = Some(path);
                    }
                    if steps >= MOST_STEPS {
                        break;
                    }
                }
                Position::Open(row) => back.step(row, steps < MOST_STEPS),
            }
        }
        excluded.contradictory += u64::from(back.contradicts);
        excluded.unresolved += u64::from(steps >= MOST_STEPS);
        best
    }

    /// Whether a path may go back from a point along an arc, and its context then.
    fn follows(&self, contexts: &mut Contexts, context: u32, point: Node, key: ArcKey) -> Follows {
        let arc = &self.graph.arcs[key];
        let ring = self.order.rank[arc.from] == self.order.rank[point];
        let (sensitisation, around) = &contexts.rows[context as usize];
        if arc.sensitisation.is_none() && !ring && around.is_empty() {
            return Follows::Yes(context);
        }
        if ring && (arc.from == point || around.contains(&arc.from)) {
            return Follows::Twice;
        }
        let mutual_exclusions = &self.graph.mutual_exclusions;
        if sensitisation.iter().any(|&other| mutual_exclusions.contradict(self.graph, other, arc.sensitisation)) {
            return Follows::Contradicts;
        }
        let (mut sensitisation, mut around) = (sensitisation.clone(), around.clone());
        if !arc.sensitisation.is_none() && !sensitisation.contains(&arc.sensitisation) {
            sensitisation.push(arc.sensitisation);
            sensitisation.sort_unstable();
        }
        if ring {
            around.push(point);
            around.sort_unstable();
        } else {
            around.clear();
        }
        Follows::Yes(contexts.number((sensitisation, around)))
    }

    fn path(&self, chain: &[Link], row: u32, start: Start, at: Time, latency: Option<u32>) -> Path {
        let mut arcs = Vec::new();
        let mut link = &chain[row as usize];
        let end = link.end;
        loop {
            arcs.extend(link.arc);
            match link.next {
                Some(next) => link = &chain[next as usize],
                None => break,
            }
        }
        let common_path_credit = match (start.clock, latency) {
            (Some(clock), Some(latency)) => self.latencies.common_path_credit(clock, latency),
            _ => Time::ZERO,
        };
        Path { start, arcs, end, at, common_path_credit }
    }

    /// True when the designer has said that a path is not used.
    fn is_false_path(&self, path: &Path, pin: (ChipKey, PinIndex), excluded: &mut Excluded) -> bool {
        let statements = &self.graph.circuit.false_paths;
        if statements.is_empty() {
            return false;
        }
        let pins = self.pins(path, pin);
        excluded.unused.resize(statements.len(), 0);
        for (at, statement) in statements.iter().enumerate() {
            if speaks_of(statement, &pins) {
                excluded.unused[at] += 1;
                return true;
            }
        }
        false
    }

    /// The pins that a path goes through, in order.
    fn pins(&self, path: &Path, pin: (ChipKey, PinIndex)) -> Vec<(ChipKey, PinIndex)> {
        let mut pins = Vec::new();
        for key in path.start.arc.iter().chain(&path.arcs) {
            let arc = &self.graph.arcs[*key];
            let function = &self.graph.circuit.chips[arc.chip].part.function;
            pins.push((arc.chip, function.inputs[usize::from(arc.input)]));
            pins.push((arc.chip, function.outputs[usize::from(arc.output)]));
        }
        pins.push(pin);
        pins
    }
}

/// A search on its way back from some ends.
struct Back<'a, 's, 'c> {
    search: &'a Search<'s, 'c>,
    /// Looks for the latest arrival; else for the earliest, with all times negated.
    late: bool,
    chain: Vec<Link>,
    contexts: Contexts,
    /// Points that have been passed, with the context there.
    seen: FxHashSet<(Node, u32)>,
    queue: BinaryHeap<Step>,
    /// Steps that the queue has been given.
    pushed: u32,
    contradicts: bool,
}

impl Back<'_, '_, '_> {
    fn sign(&self) -> i64 {
        if self.late { 1 } else { -1 }
    }

    fn arrival(&self, point: Node) -> Option<Time> {
        let arrivals = self.search.arrivals;
        let time = match self.late {
            true => arrivals.late(point),
            false => arrivals.early(point),
        };
        time.map(|time| time * self.sign())
    }

    fn delay(&self, key: ArcKey) -> Option<Time> {
        let arc = &self.search.graph.arcs[key];
        let time = if self.late { arc.late } else { Some(arc.early) };
        time.map(|time| Time::from_ps_u32(time) * self.sign())
    }

    fn push(&mut self, bound: Time, at: Position) {
        self.pushed += 1;
        let number = self.pushed;
        self.queue.push(Step { bound, number, at });
    }

    fn open(&mut self, bound: Time, link: Link) {
        self.chain.push(link);
        self.push(bound, Position::Open(self.chain.len() as u32 - 1));
    }

    /// Looks at what is before a point: the starts there, and the arcs into it when `further`.
    fn step(&mut self, row: u32, further: bool) {
        let search = self.search;
        let graph = search.graph;
        let Link { point, end, behind, context, .. } = self.chain[row as usize];
        // The first to come here with this context has the worst behind it; statements of the designer may
        // still tell the others apart.
        if graph.circuit.false_paths.is_empty() && !self.seen.insert((point, context)) {
            return;
        }
        for start in search.starts.at(point) {
            let time = if self.late { start.late } else { Some(start.early) };
            if let Some(time) = time {
                self.push(time * self.sign() + behind, Position::Done(row, *start));
            }
        }
        if !further {
            return;
        }
        for &key in graph.entering(point) {
            let from = graph.arcs[key].from;
            let (true, Some(time), Some(delay)) = (search.order.open[key], self.arrival(from), self.delay(key)) else {
                continue;
            };
            let context = match search.follows(&mut self.contexts, context, point, key) {
                Follows::Yes(context) => context,
                Follows::Twice => continue,
                Follows::Contradicts => {
                    self.contradicts = true;
                    continue;
                }
            };
            self.open(
                time + delay + behind,
                Link { point: from, end, behind: behind + delay, arc: Some(key), next: Some(row), context },
            );
        }
    }
}

enum Follows {
    Yes(u32),
    Twice,
    Contradicts,
}

/// True when a path goes through the first end of a statement, and later through the second.
fn speaks_of(statement: &TimingPath, pins: &[(ChipKey, PinIndex)]) -> bool {
    let first = pins.iter().position(|pin| statement.from.contains(pin));
    first.is_some_and(|first| pins[first + 1..].iter().any(|pin| statement.to.contains(pin)))
}

/// True when some arc of a graph needs something elsewhere.
pub(crate) fn any_sensitisation(arcs: &KeyVec<ArcKey, super::graph::Arc>) -> bool {
    arcs.values().any(|arc| !arc.sensitisation.is_none())
}
