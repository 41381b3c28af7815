//! The published timing of one part in one family, figure by figure.

use super::family::Level;
use super::{ColumnKind, Edge, PinIndex, Share};
use crate::quantity::{Capacitance, Quantity, Resistance, Temperature, Time, Voltage};
use crate::text::Span;
use std::collections::BTreeSet;

/// One data sheet.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// `HC`, or a grade such as `70`.
    pub name: String,
    /// True for a grade.
    pub grade: bool,
    /// Publisher, document and date.
    pub sources: Vec<String>,
    /// What the figures of each row are.
    pub columns: Vec<Column>,
    /// Rows by supply voltage and load, by rising voltage.
    pub blocks: Vec<Block>,
    /// Electrical figures of this part that take the place of those of its family.
    pub levels: Vec<Level>,
    pub notes: Vec<String>,
    /// Where its name was written.
    pub span: Span,
}

/// What one figure of each row is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Column {
    /// Least, typical or guaranteed.
    pub kind: ColumnKind,
    /// Coldest temperature that it holds for.
    pub coldest: Temperature,
    /// Hottest temperature that it holds for.
    pub hottest: Temperature,
}

/// The rows at one supply voltage and load.
#[derive(Clone, Debug)]
pub struct Block {
    pub voltage: Voltage,
    /// Load, where the figures depend on it.
    pub load: Option<Capacitance>,
    pub arcs: Vec<Arc>,
    pub checks: Vec<Check>,
    /// Thresholds of Schmitt inputs.
    pub thresholds: Vec<Threshold>,
    /// Time to the first swing of an oscillator.
    pub start_up: Option<Figures<Time>>,
    /// What switching costs.
    pub power: Vec<PowerCapacitance>,
    /// How long timers run.
    pub durations: Vec<Duration>,
    /// What inputs add to the supply current.
    pub extra_currents: Vec<ExtraCurrent>,
}

/// One figure a column; `None` where the sheet gives none.
pub type Figures<T> = Vec<Option<T>>;

/// A delay from an input to an output.
#[derive(Clone, Debug)]
pub struct Arc {
    /// Bit of the input word.
    pub from: usize,
    /// Bit of the output word.
    pub to: usize,
    /// Which transitions of the output it covers.
    pub kind: ArcKind,
    pub figures: Figures<Time>,
    /// A source of its own.
    pub source: Option<String>,
    pub span: Span,
}

/// Which transitions of the output an arc covers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ArcKind {
    /// Low to high.
    Rise,
    /// High to low.
    Fall,
    /// Off to high.
    EnableHigh,
    /// Off to low.
    EnableLow,
    /// High to off.
    DisableHigh,
    /// Low to off.
    DisableLow,
    /// Old value still good.
    OutputHold,
}

/// A signal that a check speaks of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Signal {
    /// Bit of the input word.
    Input(usize),
    /// Bit of the node word.
    Node(usize),
}

/// A requirement of the sheet.
#[derive(Clone, Debug)]
pub struct Check {
    /// What must hold.
    pub kind: CheckKind,
    /// The signal that must be steady, or wide, or slow enough.
    pub signal: Signal,
    /// Least time, one figure a column: setup, hold, recovery, width, or the shortest period. Empty for `Stable`.
    pub figures: Figures<Time>,
    /// A source of its own.
    pub source: Option<String>,
    pub span: Span,
}

/// The kinds of requirements.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum CheckKind {
    /// Steady before an edge of the reference.
    Setup(Signal, Edge),
    /// Steady after an edge of the reference.
    Hold(Signal, Edge),
    /// Inactive before an edge of the reference.
    Recovery(Signal, Edge),
    /// Active before an edge of the reference, which it may make itself.
    Select(Signal, Edge),
    /// Least width of high (true) or low pulses.
    Width(bool),
    /// Least time from one rise to the next.
    Period,
    /// Steady while the reference is true.
    Stable(Signal),
}

impl CheckKind {
    /// The signal that it is measured from.
    pub fn reference(self) -> Option<Signal> {
        match self {
            CheckKind::Setup(reference, _)
            | CheckKind::Hold(reference, _)
            | CheckKind::Recovery(reference, _)
            | CheckKind::Select(reference, _)
            | CheckKind::Stable(reference) => Some(reference),
            CheckKind::Width(_) | CheckKind::Period => None,
        }
    }

    /// The word that data sheets use.
    pub fn word(self) -> &'static str {
        match self {
            CheckKind::Setup(..) => "setup",
            CheckKind::Hold(..) => "hold",
            CheckKind::Recovery(..) => "recovery",
            CheckKind::Select(..) => "selection",
            CheckKind::Width(_) => "pulse width",
            CheckKind::Period => "rate",
            CheckKind::Stable(_) => "stability",
        }
    }
}

/// A switching threshold.
#[derive(Clone, Debug)]
pub struct Threshold {
    /// Bit of the input word.
    pub input: usize,
    /// The direction that it switches in.
    pub edge: Edge,
    /// The figures: least, typical, most.
    pub figures: Figures<Voltage>,
}

/// The power dissipation capacitance: a part that switches at a frequency takes the current of a capacitor of this size
/// between its supply pins that is charged and emptied once a cycle, besides that of its loads.
#[derive(Clone, Debug)]
pub struct PowerCapacitance {
    /// What it stands for; a part with several of these takes it as often.
    pub per: Share,
    pub figures: Figures<Capacitance>,
    /// A source of its own.
    pub source: Option<String>,
}

/// What an input adds to the supply current at a TTL high level, in place of the figure of its family.
#[derive(Clone, Debug)]
pub struct ExtraCurrent {
    pub pin: PinIndex,
    pub figures: Figures<Quantity>,
    /// A source of its own.
    pub source: Option<String>,
}

/// How long a timer runs, or the period of an input that swings by itself.
#[derive(Clone, Debug)]
pub struct Duration {
    /// The row of [`super::Function::timers`]; behind the last of them stands [`super::Function::rc_oscillator`].
    pub timer: usize,
    /// The resistors that it holds for; no end where the most is `None`.
    pub resistors: (Resistance, Option<Resistance>),
    /// The capacitors that it holds for.
    pub capacitors: (Capacitance, Option<Capacitance>),
    /// Added to the resistor.
    pub plus: Resistance,
    /// Times; or shares of resistance times capacitance; or resistances, to be multiplied with the capacitance alone.
    pub figures: Figures<Quantity>,
    /// A source of its own.
    pub source: Option<String>,
    pub span: Span,
}

/// The resistor and the capacitor that give a time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Pair {
    pub resistance: Resistance,
    pub capacitance: Capacitance,
}

impl Duration {
    /// True when the row holds for a resistor and a capacitor.
    pub fn covers(&self, pair: Pair) -> bool {
        let within =
            |value: i64, least: i64, most: Option<i64>| value >= least && most.is_none_or(|most| value <= most);
        let (least, most) = self.resistors;
        let (low, high) = self.capacitors;
        within(pair.resistance.raw(), least.raw(), most.map(Resistance::raw))
            && within(pair.capacitance.raw(), low.raw(), high.map(Capacitance::raw))
    }

    /// The figures as times; nothing where they ask for parts that are not there.
    pub fn times(&self, pair: Option<Pair>) -> Figures<Time> {
        // Milliohms times femtofarads are millionths of a picosecond.
        let time = |resistance: i64, percent: i64, capacitance: i64| {
            let millionths = i128::from(resistance) * i128::from(capacitance) * i128::from(percent);
            i64::try_from(millionths / (1_000_000 * WHOLE)).map_or(Time::MAX, Time::from_ps)
        };
        // A hundred percent, in thousandths.
        const WHOLE: i128 = 100_000;
        let one = |figure: Quantity| match (figure, pair) {
            (Quantity::Time(time), _) => Some(time),
            (Quantity::Percent(share), Some(Pair { resistance, capacitance })) => {
                let resistance = resistance.saturating_add(self.plus);
                Some(time(resistance.raw(), share, capacitance.raw()))
            }
            (Quantity::Resistance(resistance), Some(Pair { capacitance, .. })) => {
                Some(time(resistance.raw(), WHOLE as i64, capacitance.raw()))
            }
            _ => None,
        };
        self.figures.iter().map(|figure| figure.and_then(one)).collect()
    }
}

impl Sheet {
    /// The supply voltages that its delays stand at, rising. Where it guarantees some of them, those at which it gives
    /// but a typical figure do not count: it is an aside of the sheet.
    pub fn delay_voltages(&self) -> BTreeSet<Voltage> {
        let at = |wanted: &dyn Fn(&Column) -> bool| -> BTreeSet<Voltage> {
            let gives = |arc: &Arc| {
                let mut given = self.columns.iter().zip(&arc.figures);
                arc.kind != ArcKind::OutputHold && given.any(|(column, figure)| figure.is_some() && wanted(column))
            };
            let blocks = self.blocks.iter();
            let blocks = blocks.filter(|block| block.arcs.iter().any(gives));
            blocks.map(|block| block.voltage).collect()
        };
        let guaranteed = at(&|column| column.kind != ColumnKind::Typ);
        if guaranteed.is_empty() { at(&|_| true) } else { guaranteed }
    }

    /// The sources in one line.
    pub fn source_line(&self) -> String {
        if self.sources.is_empty() { "no source named".to_owned() } else { self.sources.join("; ") }
    }
}
