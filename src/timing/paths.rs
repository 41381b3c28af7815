//! Paths: back from the end of a wave to where it began, the worst first.
//!
//! The arrivals say how much is before each point, so that the search goes straight to the worst path. A path that
//! contradicts itself, or that the designer says is not used, is passed over, and the next one is looked at.

use super::arrival::{Arrivals, Start};
use super::exclusive::Needs;
use super::graph::{ArcKey, Graph, Point};
use super::moments::Moments;
use super::order::Order;
use crate::circuit::{ChipKey, TimingPath};
use crate::key::KeyVec;
use crate::part::PinIndex;
use rustc_hash::{FxHashMap, FxHashSet};
use std::cmp::Ordering;
use std::collections::BinaryHeap;

/// A path of a wave.
#[derive(Clone, Debug)]
pub struct Path {
    /// Where it begins.
    pub start: Start,
    /// The arcs that it takes from there, in order.
    pub arcs: Vec<ArcKey>,
    /// The point where it ends.
    pub end: Point,
    /// When it arrives, after the edge that makes the wave.
    pub at: i64,
    /// What its clock has in common with the clock that it is compared with.
    pub credit: i64,
}

/// What a search has passed over.
#[derive(Clone, Debug, Default)]
pub struct Passed {
    /// Ends that a path through arcs that contradict each other would lead to.
    pub contradictory: u64,
    /// Ends with so many paths that the worst one stands, be it real or not.
    pub undecided: u64,
    /// For each statement of the designer, the paths that it speaks of.
    pub unused: Vec<u64>,
}

/// A wave and all that it is searched with.
pub struct Search<'s, 'c> {
    /// The graph.
    pub graph: &'s Graph<'c>,
    /// Its order.
    pub order: &'s Order,
    /// The clock moments.
    pub moments: &'s Moments,
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

    /// All of them.
    pub fn all(&self) -> &[Start] {
        &self.rows
    }

    fn at(&self, point: Point) -> &[Start] {
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
    bound: i64,
    /// Its number, so that equals come in order.
    number: u32,
    at: Place,
}

#[derive(Clone, Copy)]
enum Place {
    /// On the way, at a row of the chain.
    Open(u32),
    /// At a start.
    Done(u32, Start),
}

/// A point on the way back.
struct Link {
    point: Point,
    end: Point,
    behind: i64,
    arc: Option<ArcKey>,
    next: Option<u32>,
    /// What the way behind it needs, and which points of a ring it goes through: a row of the contexts.
    context: u32,
}

/// What matters of the way behind a point for how it may go on.
type Context = (Vec<Needs>, Vec<Point>);

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
        ends: &[Point],
        late: bool,
        pin: (ChipKey, PinIndex),
        moment: Option<u32>,
        passed: &mut Passed,
    ) -> Option<Path> {
        let sign = if late { 1 } else { -1 };
        let arrival = |point: Point| {
            let time = if late {
                self.arrivals.late(point)
            } else {
                self.arrivals.early(point)
            };
            time.map(|time| sign * time)
        };
        let delay = |key: ArcKey| {
            let arc = &self.graph.arcs[key];
            let time = if late { arc.late } else { Some(arc.early) };
            time.map(|time| sign * i64::from(time))
        };
        let mut chain: Vec<Link> = Vec::new();
        let mut contexts = Contexts::default();
        let nothing = contexts.number(Context::default());
        let mut seen: FxHashSet<(Point, u32)> = FxHashSet::default();
        let mut contradicts = false;
        let mut queue: BinaryHeap<Step> = BinaryHeap::new();
        let mut number = 0;
        let mut push = |queue: &mut BinaryHeap<Step>, bound: i64, at: Place| {
            number += 1;
            queue.push(Step { bound, number, at });
        };
        for &end in ends {
            if let Some(time) = arrival(end) {
                chain.push(Link {
                    point: end,
                    end,
                    behind: 0,
                    arc: None,
                    next: None,
                    context: nothing,
                });
                push(&mut queue, time, Place::Open(chain.len() as u32 - 1));
            }
        }
        let mut best: Option<Path> = None;
        let worth = |path: &Path| sign * path.at - path.credit;
        let mut steps = 0;
        while let Some(step) = queue.pop() {
            if best.as_ref().is_some_and(|best| worth(best) >= step.bound) {
                break;
            }
            steps += 1;
            match step.at {
                Place::Done(row, start) => {
                    let path = self.path(&chain, row, start, sign * step.bound, moment);
                    // When there is no end of them, what is false can no longer be told, and the path stands.
                    if steps < MOST_STEPS && self.is_unused(&path, pin, passed) {
                        continue;
                    }
                    if best.as_ref().is_none_or(|best| worth(&path) > worth(best)) {
                        best = Some(path);
                    }
                    if steps >= MOST_STEPS {
                        break;
                    }
                }
                Place::Open(row) => {
                    let Link {
                        point,
                        end,
                        behind,
                        context,
                        ..
                    } = chain[row as usize];
                    // The first to come here with this context has the worst behind it; statements of the designer may
                    // still tell the others apart.
                    if self.graph.circuit.unused_paths.is_empty() && !seen.insert((point, context))
                    {
                        continue;
                    }
                    for start in self.starts.at(point) {
                        let time = if late { start.late } else { Some(start.early) };
                        if let Some(time) = time {
                            push(&mut queue, sign * time + behind, Place::Done(row, *start));
                        }
                    }
                    for &key in self.graph.entering(point) {
                        let from = self.graph.arcs[key].from;
                        let (true, Some(time), Some(delay)) =
                            (self.order.open[key], arrival(from), delay(key))
                        else {
                            continue;
                        };
                        if steps >= MOST_STEPS {
                            continue;
                        }
                        let context = match self.follows(&mut contexts, context, point, key) {
                            Follows::Yes(context) => context,
                            Follows::Twice => continue,
                            Follows::Contradicts => {
                                contradicts = true;
                                continue;
                            }
                        };
                        chain.push(Link {
                            point: from,
                            end,
                            behind: behind + delay,
                            arc: Some(key),
                            next: Some(row),
                            context,
                        });
                        push(
                            &mut queue,
                            time + delay + behind,
                            Place::Open(chain.len() as u32 - 1),
                        );
                    }
                }
            }
        }
        passed.contradictory += u64::from(contradicts);
        passed.undecided += u64::from(steps >= MOST_STEPS);
        best
    }

    /// Whether a path may go back from a point along an arc, and its context then.
    fn follows(&self, contexts: &mut Contexts, context: u32, point: Point, key: ArcKey) -> Follows {
        let arc = &self.graph.arcs[key];
        let ring = self.order.place[arc.from] == self.order.place[point];
        let (needs, around) = &contexts.rows[context as usize];
        if arc.needs.is_none() && !ring && around.is_empty() {
            return Follows::Yes(context);
        }
        if ring && (arc.from == point || around.contains(&arc.from)) {
            return Follows::Twice;
        }
        let exclusions = &self.graph.exclusions;
        if needs
            .iter()
            .any(|&other| exclusions.contradict(self.graph, other, arc.needs))
        {
            return Follows::Contradicts;
        }
        let (mut needs, mut around) = (needs.clone(), around.clone());
        if !arc.needs.is_none() && !needs.contains(&arc.needs) {
            needs.push(arc.needs);
            needs.sort_unstable();
        }
        if ring {
            around.push(point);
            around.sort_unstable();
        } else {
            around.clear();
        }
        Follows::Yes(contexts.number((needs, around)))
    }

    fn path(&self, chain: &[Link], row: u32, start: Start, at: i64, moment: Option<u32>) -> Path {
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
        let credit = match (start.clock, moment) {
            (Some(clock), Some(moment)) => self.moments.credit(clock, moment),
            _ => 0,
        };
        Path {
            start,
            arcs,
            end,
            at,
            credit,
        }
    }

    /// True when the designer has said that a path is not used.
    fn is_unused(&self, path: &Path, pin: (ChipKey, PinIndex), passed: &mut Passed) -> bool {
        let statements = &self.graph.circuit.unused_paths;
        if statements.is_empty() {
            return false;
        }
        let pins = self.pins(path, pin);
        passed.unused.resize(statements.len(), 0);
        for (at, statement) in statements.iter().enumerate() {
            if speaks_of(statement, &pins) {
                passed.unused[at] += 1;
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

enum Follows {
    Yes(u32),
    Twice,
    Contradicts,
}

/// True when a path goes through the first end of a statement, and later through the second.
fn speaks_of(statement: &TimingPath, pins: &[(ChipKey, PinIndex)]) -> bool {
    let first = pins.iter().position(|pin| statement.from.contains(pin));
    first.is_some_and(|first| {
        pins[first + 1..]
            .iter()
            .any(|pin| statement.to.contains(pin))
    })
}

/// True when some arc of a graph needs something elsewhere.
pub fn any_needs(arcs: &KeyVec<ArcKey, super::graph::Arc>) -> bool {
    arcs.values().any(|arc| !arc.needs.is_none())
}
