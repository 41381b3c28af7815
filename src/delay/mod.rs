//! From sheet to picoseconds: the delays and requirements of one part, in one family, under given [`Conditions`].
//!
//! A sheet gives figures at a few voltages, temperatures and loads. [`DelayTable::new`] takes those that the corner asks
//! for; between the voltages, temperatures and loads of the sheet it goes along straight lines. A load heavier than the
//! sheet's goes on along the line of its two loads, or adds what the family's sheet tells; a lighter one counts only in
//! the fastest corner, where a short delay is the danger. Where a sheet gives no figure, a stated [`Rule`] fills the gap,
//! and the table says which rules it rests on. [`ChipDelays`] has the tables of a whole circuit.

mod chips;
mod duration;
mod pick;
mod points;
mod pull_up_rise;
pub mod random;
pub mod rc_delay;
mod rules;
pub mod threshold;
pub mod wire;

pub use crate::part::rule::Rule;
pub use chips::ChipDelays;
pub(crate) use chips::CornerTables;
pub use duration::durations;

use crate::language::ast::Corner;
use crate::part::family::Estimate;
use crate::part::sheet::{Arc, ArcKind, Block, CheckKind, Sheet, Signal};
use crate::part::{ColumnKind, Edge, Family, LevelName, Part, PinKind};
use crate::quantity::{Capacitance, Temperature, Time, Voltage};
use crate::text::Span;
use pick::{FigureUse, pick};
use points::{Figure, Place, Points};
use std::collections::{BTreeMap, BTreeSet};

/// Under which conditions a part works.
#[derive(Clone, Copy, Debug)]
pub struct Conditions<'a> {
    /// Voltage between its supply pins.
    pub supply: Voltage,
    /// Which of its possible delays it takes; a random corner stands for the slowest one.
    pub corner: Corner,
    /// Its temperature; a bench, 0 to 70 C, when none is given.
    pub temperature: Option<Temperature>,
    /// What each output drives; the load that its sheet measures with when none are given.
    pub loads: Option<&'a [Capacitance]>,
    /// The electrical sheet of its family.
    pub family: Option<&'a Family>,
    /// How the sheet's figures become those of its family, when that has no sheet of the part.
    pub estimate: Option<&'a Estimate>,
}

impl Conditions<'_> {
    /// At a supply voltage, in a corner, with nothing else asked.
    pub fn at(supply: Voltage, corner: Corner) -> Self {
        Conditions { supply, corner, temperature: None, loads: None, family: None, estimate: None }
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
    ToUnknown = 6,
    /// Off to unknown.
    EnableToUnknown = 7,
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
    pub requirements: Vec<Requirement>,
    /// Time to the first swing of an oscillator.
    pub start_up: Time,
    /// Rules that filled gaps.
    pub rules: BTreeSet<Rule>,
}

impl DelayTable {
    /// The table of a part. A random corner gives the slowest one here; see [`DelayTable::between`].
    pub fn new(part: &Part, sheet: Option<&Sheet>, conditions: &Conditions<'_>) -> DelayTable {
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
        let reading = Reading { part, sheet, conditions };
        let figures = reading.arcs(&mut table.rules);
        table.fill_delays(part, &figures);
        table.requirements = reading.requirements(&mut table.rules);
        table.start_up = reading.start_up(&mut table.rules);
        if let Some(estimate) = conditions.estimate {
            table.scale(estimate, conditions.corner);
        }
        table
    }

    /// Makes the figures of another family those of an estimate.
    fn scale(&mut self, estimate: &Estimate, corner: Corner) {
        let share = match corner {
            Corner::Fastest => estimate.least,
            Corner::Typical => (estimate.least + estimate.most) / 2,
            Corner::Slowest | Corner::Random(_) => estimate.most,
        };
        // Shares are in thousandths of a percent.
        let part = |value: i64, share: i64| {
            let scaled = i128::from(value) * i128::from(share) / 100_000;
            scaled as i64
        };
        let short = |value: &mut u32| {
            *value = u32::try_from(part(i64::from(*value), share)).unwrap_or(u32::MAX);
        };
        self.delays.iter_mut().flat_map(|delays| &mut delays.of).for_each(short);
        self.output_hold.iter_mut().for_each(short);
        for requirement in &mut self.requirements {
            requirement.least = Time::from_ps(part(requirement.least.ps(), estimate.most));
        }
        self.rules.insert(Rule::FamilyEstimate);
    }

    /// Delays that each lie somewhere between those of two tables; `draw` gives a number in 0..=range.
    #[must_use]
    pub fn between(fastest: &DelayTable, slowest: &DelayTable, draw: &mut dyn FnMut(u32) -> u32) -> Vec<Delays> {
        let mut between = slowest.delays.clone();
        for (at, delays) in between.iter_mut().enumerate() {
            for (kind, delay) in delays.of.iter_mut().enumerate() {
                let least = fastest.delays[at].of[kind].min(*delay);
                *delay = least + draw(*delay - least);
            }
            // What is unknown begins with the first edge that could be there.
            let [rise, fall, enable_high, enable_low, .., to_unknown, enable_to_unknown] = &mut delays.of;
            *to_unknown = (*to_unknown).min(*rise).min(*fall);
            *enable_to_unknown = (*enable_high).min(*enable_low);
        }
        between
    }

    fn fill_delays(&mut self, part: &Part, figures: &BTreeMap<(usize, usize, ArcKind), Time>) {
        let to_ps = |time: &Time| u32::try_from(time.ps().max(0)).unwrap_or(u32::MAX);
        let mut slowest: BTreeMap<(usize, ArcKind), u32> = BTreeMap::new();
        for ((_, to, kind), time) in figures {
            let longest = slowest.entry((*to, *kind)).or_default();
            *longest = to_ps(time).max(*longest);
        }
        for (to, &arc) in part.function.arcs.iter().enumerate() {
            let slowest_to = |kind: ArcKind| slowest.get(&(to, kind)).copied();
            for from in (0..part.function.inputs.len()).filter(|from| arc >> from & 1 == 1) {
                let own = |kind: ArcKind| figures.get(&(from, to, kind)).map(to_ps);
                let timed = ArcKind::all_moves().iter().any(|&kind| own(kind).is_some());
                let open_drain = part.is_open_drain(to);
                let first = |kinds: &[ArcKind]| {
                    let own = kinds.iter().find_map(|&kind| own(kind));
                    own.or_else(|| kinds.iter().find_map(|&kind| slowest_to(kind)))
                };
                // A move that the sheet does not give from this input borrows from its nearest kin.
                let rise = first(&[ArcKind::Rise, ArcKind::EnableHigh, ArcKind::Fall]);
                let fall = first(&[ArcKind::Fall, ArcKind::EnableLow, ArcKind::Rise]);
                let (release, pull) = if open_drain { (rise, fall) } else { (None, None) };
                let enable_high = first(&[ArcKind::EnableHigh]).or(rise);
                let enable_low = pull.or_else(|| first(&[ArcKind::EnableLow])).or(fall);
                let disable_high = release.or_else(|| first(&[ArcKind::DisableHigh, ArcKind::DisableLow])).or(rise);
                let disable_low = release.or_else(|| first(&[ArcKind::DisableLow, ArcKind::DisableHigh])).or(fall);
                let least = |delays: &[Option<u32>]| delays.iter().flatten().min().copied().unwrap_or(0);
                // An input that can make the output go high-impedance may do so first.
                let high_impedance = [own(ArcKind::DisableHigh), own(ArcKind::DisableLow)].into_iter().flatten().min();
                let of = |delay: Option<u32>| delay.unwrap_or(0);
                if !timed {
                    self.rules.insert(Rule::OtherPath);
                }
                let to_level = [ArcKind::Rise, ArcKind::Fall, ArcKind::EnableHigh, ArcKind::EnableLow];
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
                        least(&[rise, fall, high_impedance]),
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

    /// Adds the time that pull-ups take to lift what open drains go high-impedance of, in picoseconds for each output. Part of it may
    /// be in the sheet's figure: so the shortest delay is no longer than the longer one of the two.
    fn pull_up_rise(&mut self, part: &Part, corner: Corner, rises: &[u32]) {
        for (to, &pull_up_rise) in rises.iter().enumerate().filter(|(_, pull_up_rise)| **pull_up_rise > 0) {
            self.rules.insert(Rule::PullUp);
            let arcs = part.function.arcs[to];
            for from in (0..part.function.inputs.len()).filter(|from| arcs >> from & 1 == 1) {
                let delays = &mut self.delays[from * self.outputs + to];
                let risen = [Transition::Rise, Transition::DisableHigh, Transition::DisableLow];
                for transition in risen {
                    let delay = &mut delays.of[transition as usize];
                    *delay = if corner == Corner::Fastest {
                        pull_up_rise.max(*delay)
                    } else {
                        delay.saturating_add(pull_up_rise)
                    };
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

/// A sheet read under given conditions.
struct Reading<'a> {
    part: &'a Part,
    sheet: &'a Sheet,
    conditions: &'a Conditions<'a>,
}

impl Reading<'_> {
    fn pick(&self, figures: &[Option<Time>], figure_use: FigureUse) -> Option<Figure> {
        pick(&self.sheet.columns, figures, self.conditions, figure_use)
    }

    /// The figure of each arc.
    fn arcs(&self, rules: &mut BTreeSet<Rule>) -> BTreeMap<(usize, usize, ArcKind), Time> {
        let mut points: BTreeMap<(usize, usize, ArcKind), Points> = BTreeMap::new();
        for block in &self.sheet.blocks {
            for arc in &block.arcs {
                let figure_use =
                    if arc.kind == ArcKind::OutputHold { FigureUse::Requirement } else { FigureUse::Delay };
                if let Some(figure) = self.pick(&arc.figures, figure_use) {
                    let points = points.entry(key(arc)).or_default();
                    points.push(block.voltage, block.load, figure);
                }
            }
        }
        let slope = self.slope();
        let mut at = |((from, to, kind), points): ((usize, usize, ArcKind), Points)| {
            let high_impedance = matches!(kind, ArcKind::DisableHigh | ArcKind::DisableLow | ArcKind::OutputHold);
            let load = self.conditions.loads.and_then(|loads| loads.get(to)).copied();
            // What an output goes high-impedance of is not moved by it; what a pull-up lifts, `pull_up_rise` tells.
            let risen = kind == ArcKind::Rise && self.part.is_open_drain(to);
            let load = load.filter(|_| !high_impedance && !risen);
            let figure = points.at(self.place(load, slope))?;
            rules.extend(figure.rules.iter());
            Some(((from, to, kind), figure.time))
        };
        points.into_iter().filter_map(&mut at).collect()
    }

    fn place(&self, load: Option<Capacitance>, slope: Option<(Capacitance, Figure)>) -> Place {
        Place { supply: self.conditions.supply, load, shortest: self.conditions.corner == Corner::Fastest, slope }
    }

    /// What more load adds, as the sheet of the family tells: a load, and its time. Where it speaks of bus drivers only,
    /// the weaker outputs of other parts take longer by as much as they are weaker.
    fn slope(&self) -> Option<(Capacitance, Figure)> {
        let family = self.conditions.family?;
        let nearest = |name: LevelName| {
            family.figures(name).min_by_key(|level| (level.supply.raw() - self.conditions.supply.raw()).abs())
        };
        let bus = self.part.pins.iter().any(|pin| matches!(pin.kind, PinKind::ThreeState | PinKind::InOut));
        let (wanted, other) = if bus {
            (LevelName::BusLoadDelay, LevelName::LoadDelay)
        } else {
            (LevelName::LoadDelay, LevelName::BusLoadDelay)
        };
        let level = nearest(wanted).or_else(|| nearest(other))?;
        let figures: Vec<Option<Time>> =
            level.figures.iter().map(|figure| figure.and_then(|figure| figure.as_time())).collect();
        let mut figure = pick(&family.columns, &figures, self.conditions, FigureUse::Delay)?;
        if !bus && level.name == LevelName::BusLoadDelay {
            let drive = |name: LevelName| {
                let rows = family.figures(name).filter(|row| row.supply == level.supply);
                rows.filter_map(|row| row.at?.as_current()).max()
            };
            let strong = drive(LevelName::BusOutputLow)?.raw();
            let weak = drive(LevelName::OutputLow)?.raw().max(1);
            figure.time = Time::from_ps((figure.time * strong).ps() / weak);
        }
        Some((level.at?.as_capacitance()?, figure))
    }

    fn requirements(&self, rules: &mut BTreeSet<Rule>) -> Vec<Requirement> {
        let mut points: BTreeMap<(Signal, CheckKind), (Points, Span)> = BTreeMap::new();
        for block in self.blocks() {
            for check in &block.checks {
                let figure = match check.kind {
                    CheckKind::Stable(_) => Some(Figure::new(Time::ZERO)),
                    _ => self.pick(&check.figures, FigureUse::Requirement),
                };
                if let Some(figure) = figure {
                    let entry = points.entry((check.signal, check.kind));
                    let (points, _) = entry.or_insert_with(|| (Points::default(), check.span));
                    points.push(block.voltage, block.load, figure);
                }
            }
        }
        let mut at = |((signal, kind), (points, span)): ((Signal, CheckKind), (Points, Span))| {
            let figure = points.at(self.place(None, None))?;
            rules.extend(figure.rules.iter());
            Some(Requirement { kind, signal, least: figure.time, span })
        };
        points.into_iter().filter_map(&mut at).collect()
    }

    fn start_up(&self, rules: &mut BTreeSet<Rule>) -> Time {
        let mut points = Points::default();
        for block in &self.sheet.blocks {
            let figures = block.start_up.as_ref();
            if let Some(figure) = figures.and_then(|figures| self.pick(figures, FigureUse::Delay)) {
                points.push(block.voltage, block.load, figure);
            }
        }
        let Some(figure) = points.at(self.place(None, None)) else {
            return Time::ZERO;
        };
        rules.extend(figure.rules.iter());
        figure.time
    }

    /// The blocks by voltage and, at one voltage, the load nearest to the usual test load first, so that a message
    /// points at the row that counts.
    fn blocks(&self) -> impl Iterator<Item = &Block> {
        const TEST_LOAD: i64 = 50_000;
        let mut blocks: Vec<&Block> = self.sheet.blocks.iter().collect();
        blocks.sort_by_key(|block| {
            let off = block.load.map_or(0, |load| (load.raw() - TEST_LOAD).abs());
            (block.voltage, off)
        });
        blocks.into_iter()
    }
}

fn key(arc: &Arc) -> (usize, usize, ArcKind) {
    (arc.from, arc.to, arc.kind)
}

/// True for columns that say the longest or the least needed.
fn is_limit(kind: ColumnKind) -> bool {
    kind == ColumnKind::Limit
}

pub fn opposite(edge: Edge) -> Edge {
    match edge {
        Edge::Rise => Edge::Fall,
        Edge::Fall => Edge::Rise,
    }
}
