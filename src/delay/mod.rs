//! From sheet to picoseconds: the delays and requirements of one part, in one family, at one supply voltage and corner.
//!
//! A sheet gives figures at a few voltages and temperatures. [`DelayTable::new`] takes the figure that the corner asks
//! for, straight lines between the sheet's voltages, and the load nearest to 50 pF. Where a sheet gives none, a stated
//! [`Rule`] fills the gap, and the table says which rules it rests on.

mod duration;
mod pick;
pub mod threshold;
pub mod wire;

pub use duration::durations;

use crate::language::ast::Corner;
use crate::part::sheet::{Arc, ArcKind, Block, CheckKind, Sheet, Signal};
use crate::part::{ColumnKind, Edge, Part};
use crate::quantity::{Time, Voltage};
use crate::text::Span;
use pick::{Need, pick};
use std::collections::{BTreeMap, BTreeSet};

/// How a figure that no sheet gives was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rule {
    /// No shortest delay is published: half of the typical one.
    FastestIsHalfTypical,
    /// No shortest and no typical delay is published: a quarter of the limit.
    FastestIsQuarterLimit,
    /// No typical delay is published: the limit.
    TypicalIsLimit,
    /// No limit is published: twice the typical delay.
    SlowestIsTwiceTypical,
    /// No limit over 0 to 70 C is published: the widest range that is.
    LimitOfOtherTemperature,
    /// This path has no figure of its own: the longest of the other paths to that output.
    OtherPath,
    /// No output hold time of a memory is published: none at all.
    NoOutputHold,
    /// The part has no sheet: no delay at all.
    NoSheet,
    /// The supply is outside the sheet's voltages: the nearest one.
    NearestVoltage,
}

impl Rule {
    /// The rule as a sentence for a report.
    pub fn sentence(self) -> &'static str {
        match self {
            Rule::FastestIsHalfTypical => {
                "no shortest delay published: half of the typical one (common practice)"
            }
            Rule::FastestIsQuarterLimit => {
                "no shortest or typical delay published: a quarter of the limit (common practice)"
            }
            Rule::TypicalIsLimit => "no typical figure published: the limit",
            Rule::SlowestIsTwiceTypical => {
                "no limit published: twice the typical delay (common practice; not guaranteed)"
            }
            Rule::LimitOfOtherTemperature => {
                "no limit over 0..70 C published: the widest range that is"
            }
            Rule::OtherPath => {
                "no figure for this path: the longest of the other paths to the same output"
            }
            Rule::NoOutputHold => {
                "no output hold time published: a memory's output is unknown as soon as its address moves"
            }
            Rule::NoSheet => "no sheet: no delay",
            Rule::NearestVoltage => "supply outside the sheet's voltages: the nearest one",
        }
    }
}

/// What the output does, as an index of [`Delays::of`].
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(usize)]
pub enum Transition {
    /// Low (or unknown) to high.
    Rise = 0,
    /// High (or unknown) to low.
    Fall = 1,
    /// Off to high.
    EnableHigh = 2,
    /// Off to low.
    EnableLow = 3,
    /// High to off.
    DisableHigh = 4,
    /// Low to off.
    DisableLow = 5,
    /// High or low to unknown: as soon as either could begin.
    Blur = 6,
    /// Off to unknown.
    EnableBlur = 7,
}

/// The delays of one path, by [`Transition`].
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Delays {
    /// Picoseconds.
    pub of: [u32; 8],
}

/// A requirement with its time.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Requirement {
    /// What must hold.
    pub kind: CheckKind,
    /// The signal that it speaks of.
    pub signal: Signal,
    /// Least time.
    pub least: Time,
    /// The row of the sheet.
    pub span: Span,
}

/// What the engine needs to know of a part's speed.
#[derive(Clone, Debug, Default)]
pub struct DelayTable {
    /// Number of output bits.
    pub outputs: usize,
    /// Delays from input bit `from` to output bit `to` at `from * outputs + to`; zero where the function has no path.
    pub delays: Vec<Delays>,
    /// For each output bit, the input bits whose movement reaches it as a level after a time that the sheet gives.
    pub launches: Vec<u64>,
    /// Input bits whose movement leaves outputs unknown until the delay has passed, as memories do.
    pub unsettled: u64,
    /// How long outputs stay good after such a movement, at `from * outputs + to`; empty without such inputs.
    pub output_hold: Vec<u32>,
    /// Requirements.
    pub requirements: Vec<Requirement>,
    /// Time to the first swing of an oscillator.
    pub start_up: Time,
    /// Rules that filled gaps.
    pub rules: BTreeSet<Rule>,
}

impl DelayTable {
    /// The table of a part. A random corner gives the slowest one here; see [`DelayTable::between`].
    pub fn new(part: &Part, sheet: Option<&Sheet>, supply: Voltage, corner: Corner) -> DelayTable {
        let outputs = part.function.outputs.len();
        let inputs = part.function.inputs.len();
        let mut table = DelayTable {
            outputs,
            delays: vec![Delays::default(); inputs * outputs],
            launches: vec![0; outputs],
            ..DelayTable::default()
        };
        let Some(sheet) = sheet.filter(|sheet| !sheet.blocks.is_empty()) else {
            table.rules.insert(Rule::NoSheet);
            return table;
        };
        let corner = if matches!(corner, Corner::Random(_)) {
            Corner::Slowest
        } else {
            corner
        };
        let figures = Reading {
            sheet,
            supply,
            corner,
        }
        .arcs(&mut table.rules);
        table.fill_delays(part, &figures);
        let reading = Reading {
            sheet,
            supply,
            corner,
        };
        table.requirements = reading.requirements(&mut table.rules);
        table.start_up = reading.start_up(&mut table.rules);
        table
    }

    /// A table whose every figure lies somewhere between two others; `draw` gives a number in 0..=range.
    #[must_use]
    pub fn between(
        fastest: &DelayTable,
        slowest: &DelayTable,
        draw: &mut dyn FnMut(u32) -> u32,
    ) -> DelayTable {
        let mut table = slowest.clone();
        for (at, delays) in table.delays.iter_mut().enumerate() {
            for (kind, delay) in delays.of.iter_mut().enumerate() {
                let least = fastest.delays[at].of[kind].min(*delay);
                *delay = least + draw(*delay - least);
            }
            // What is unknown begins with the first edge that could be there.
            let [rise, fall, enable_high, enable_low, .., blur, enable_blur] = &mut delays.of;
            *blur = (*blur).min(*rise).min(*fall);
            *enable_blur = (*enable_high).min(*enable_low);
        }
        table
    }

    fn fill_delays(&mut self, part: &Part, figures: &BTreeMap<(usize, usize, ArcKind), Time>) {
        let to_ps = |time: &Time| u32::try_from(time.ps().max(0)).unwrap_or(u32::MAX);
        for (to, &arc) in part.function.arcs.iter().enumerate() {
            let slowest_to = |kind: ArcKind| {
                let others = figures
                    .iter()
                    .filter(|((_, other, k), _)| *other == to && *k == kind);
                others.map(|(_, time)| to_ps(time)).max()
            };
            for from in (0..part.function.inputs.len()).filter(|from| arc >> from & 1 == 1) {
                let own = |kind: ArcKind| figures.get(&(from, to, kind)).map(to_ps);
                let timed = ArcKind::all_moves().iter().any(|&kind| own(kind).is_some());
                let open_drain =
                    part.pins[part.function.outputs[to]].kind == crate::part::PinKind::OpenDrain;
                let first = |kinds: &[ArcKind]| {
                    let own = kinds.iter().find_map(|&kind| own(kind));
                    own.or_else(|| kinds.iter().find_map(|&kind| slowest_to(kind)))
                };
                // A move that the sheet does not give from this input borrows from its nearest kin.
                let rise = first(&[ArcKind::Rise, ArcKind::EnableHigh, ArcKind::Fall]);
                let fall = first(&[ArcKind::Fall, ArcKind::EnableLow, ArcKind::Rise]);
                let (let_go, pull) = if open_drain {
                    (rise, fall)
                } else {
                    (None, None)
                };
                let enable_high = first(&[ArcKind::EnableHigh]).or(rise);
                let enable_low = pull.or_else(|| first(&[ArcKind::EnableLow])).or(fall);
                let disable_high = let_go
                    .or_else(|| first(&[ArcKind::DisableHigh, ArcKind::DisableLow]))
                    .or(rise);
                let disable_low = let_go
                    .or_else(|| first(&[ArcKind::DisableLow, ArcKind::DisableHigh]))
                    .or(fall);
                let least =
                    |delays: &[Option<u32>]| delays.iter().flatten().min().copied().unwrap_or(0);
                // An input that can make the output let go may do so first.
                let lets_go = [own(ArcKind::DisableHigh), own(ArcKind::DisableLow)]
                    .into_iter()
                    .flatten()
                    .min();
                let of = |delay: Option<u32>| delay.unwrap_or(0);
                if !timed {
                    self.rules.insert(Rule::OtherPath);
                }
                let to_level = [
                    ArcKind::Rise,
                    ArcKind::Fall,
                    ArcKind::EnableHigh,
                    ArcKind::EnableLow,
                ];
                if to_level.iter().any(|&kind| own(kind).is_some()) {
                    self.launches[to] |= 1 << from;
                }
                self.delays[from * self.outputs + to] = Delays {
                    of: [
                        of(rise),
                        of(fall),
                        of(enable_high),
                        of(enable_low),
                        of(disable_high),
                        of(disable_low),
                        least(&[rise, fall, lets_go]),
                        least(&[enable_high, enable_low]),
                    ],
                };
                let reads = !part.function.memories.is_empty() && own(ArcKind::Rise).is_some();
                if reads && own(ArcKind::OutputHold).is_none() {
                    self.rules.insert(Rule::NoOutputHold);
                }
                if let Some(hold) = own(ArcKind::OutputHold).or(reads.then_some(0)) {
                    self.unsettled |= 1 << from;
                    self.output_hold.resize(self.delays.len(), 0);
                    self.output_hold[from * self.outputs + to] = hold;
                }
            }
        }
    }

    /// The delay of one path and transition, in picoseconds.
    #[inline]
    pub fn delay(&self, from: usize, to: usize, transition: Transition) -> u32 {
        self.delays[from * self.outputs + to].of[transition as usize]
    }
}

impl ArcKind {
    fn all_moves() -> &'static [ArcKind] {
        &[
            ArcKind::Rise,
            ArcKind::Fall,
            ArcKind::EnableHigh,
            ArcKind::EnableLow,
            ArcKind::DisableHigh,
            ArcKind::DisableLow,
        ]
    }
}

/// A sheet read at one voltage and corner.
struct Reading<'a> {
    sheet: &'a Sheet,
    supply: Voltage,
    corner: Corner,
}

impl Reading<'_> {
    /// The figure of each arc at the supply voltage.
    fn arcs(&self, rules: &mut BTreeSet<Rule>) -> BTreeMap<(usize, usize, ArcKind), Time> {
        let mut points: BTreeMap<(usize, usize, ArcKind), Points> = BTreeMap::new();
        for block in self.blocks() {
            for arc in &block.arcs {
                let need = if arc.kind == ArcKind::OutputHold {
                    Need::Requirement
                } else {
                    Need::Delay
                };
                if let Some(time) =
                    pick(&self.sheet.columns, &arc.figures, self.corner, need, rules)
                {
                    points
                        .entry(key(arc))
                        .or_default()
                        .push(block.voltage, time);
                }
            }
        }
        points
            .into_iter()
            .map(|(key, points)| (key, points.at(self.supply, rules)))
            .collect()
    }

    fn requirements(&self, rules: &mut BTreeSet<Rule>) -> Vec<Requirement> {
        let mut points: BTreeMap<(Signal, CheckKind), (Points, Span)> = BTreeMap::new();
        for block in self.blocks() {
            for check in &block.checks {
                let time = match check.kind {
                    CheckKind::Stable(_) => Some(Time::ZERO),
                    _ => pick(
                        &self.sheet.columns,
                        &check.figures,
                        self.corner,
                        Need::Requirement,
                        rules,
                    ),
                };
                if let Some(time) = time {
                    let entry = points.entry((check.signal, check.kind));
                    entry
                        .or_insert_with(|| (Points::default(), check.span))
                        .0
                        .push(block.voltage, time);
                }
            }
        }
        points
            .into_iter()
            .map(|((signal, kind), (points, span))| {
                let least = points.at(self.supply, rules);
                Requirement {
                    kind,
                    signal,
                    least,
                    span,
                }
            })
            .collect()
    }

    fn start_up(&self, rules: &mut BTreeSet<Rule>) -> Time {
        let mut points = Points::default();
        for block in self.blocks() {
            let figures = block.start_up.as_ref();
            if let Some(time) = figures.and_then(|figures| {
                pick(
                    &self.sheet.columns,
                    figures,
                    self.corner,
                    Need::Delay,
                    rules,
                )
            }) {
                points.push(block.voltage, time);
            }
        }
        if points.points.is_empty() {
            Time::ZERO
        } else {
            points.at(self.supply, rules)
        }
    }

    /// Where several blocks share a voltage, the load nearest to 50 pF counts, the test load of most sheets; others
    /// fill what it leaves out.
    fn blocks(&self) -> impl Iterator<Item = &Block> {
        let mut blocks: Vec<&Block> = self.sheet.blocks.iter().collect();
        const TEST_LOAD: i64 = 50_000;
        blocks.sort_by_key(|block| {
            (
                block.voltage,
                block.load.map_or(0, |load| (load.raw() - TEST_LOAD).abs()),
            )
        });
        blocks.into_iter()
    }
}

fn key(arc: &Arc) -> (usize, usize, ArcKind) {
    (arc.from, arc.to, arc.kind)
}

/// A figure at several supply voltages.
#[derive(Default)]
struct Points {
    points: Vec<(Voltage, Time)>,
}

impl Points {
    /// The first figure of a voltage stands.
    fn push(&mut self, voltage: Voltage, time: Time) {
        if self.points.last().is_none_or(|&(last, _)| last != voltage) {
            self.points.push((voltage, time));
        }
    }

    /// On straight lines between the sheet's voltages.
    fn at(&self, supply: Voltage, rules: &mut BTreeSet<Rule>) -> Time {
        let after = self
            .points
            .partition_point(|&(voltage, _)| voltage < supply);
        match (
            after.checked_sub(1).map(|before| self.points[before]),
            self.points.get(after),
        ) {
            (_, Some(&(voltage, time))) if voltage == supply => time,
            (Some((low, slow)), Some(&(high, fast))) => {
                let share = i128::from(supply.raw() - low.raw());
                let whole = i128::from(high.raw() - low.raw());
                let change = i128::from(fast.ps() - slow.ps()) * share;
                Time::from_ps(slow.ps() + (change / whole) as i64)
            }
            (Some((only, time)), None) | (None, Some(&(only, time))) => {
                // Sheets speak of 5 V plus or minus a tenth.
                if (supply.raw() - only.raw()).abs() * 10 > supply.max(only).raw() {
                    rules.insert(Rule::NearestVoltage);
                }
                time
            }
            (None, None) => Time::ZERO,
        }
    }
}

/// True for columns that say the longest or the least needed.
fn is_limit(kind: ColumnKind) -> bool {
    kind == ColumnKind::Limit
}

/// The opposite edge.
pub fn opposite(edge: Edge) -> Edge {
    match edge {
        Edge::Rise => Edge::Fall,
        Edge::Fall => Edge::Rise,
    }
}
