//! What a run has to say besides the levels: plain data, one row a place.

use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::delay::Rule;
use crate::part::sheet::{CheckKind, Signal};
use crate::part::{Edge, Part};
use crate::quantity::Time;
use crate::text::Span;
use std::collections::{BTreeMap, BTreeSet};

/// A requirement of a sheet that was not met, at one place.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Violation {
    pub chip: ChipKey,
    /// What was to hold.
    pub kind: CheckKind,
    /// The signal that it speaks of, as the sheet names it.
    pub signal: String,
    /// The reference signal, where there is one.
    pub reference: Option<String>,
    /// What the sheet asks for.
    pub least: Time,
    /// How often it was not met.
    pub count: u64,
    /// When first.
    pub first: Time,
    /// The shortest time found.
    pub worst: Time,
    /// When that was.
    pub worst_at: Time,
    /// The row of the sheet.
    pub span: Span,
}

impl Violation {
    /// What happened, in one sentence.
    pub fn sentence(&self, circuit: &Circuit) -> String {
        let chip = &circuit.chips[self.chip];
        let (path, number, signal) = (&chip.path, &chip.number, &self.signal);
        let reference = self.reference.as_deref().unwrap_or("");
        let found = match self.kind {
            CheckKind::Setup(_, edge) => {
                format!("{signal} moved {} before {reference} {}", self.worst, edge_word(edge))
            }
            CheckKind::Hold(_, edge) => format!("{signal} moved {} after {reference} {}", self.worst, edge_word(edge)),
            CheckKind::Recovery(_, edge) => {
                format!("{signal} was released {} before {reference} {}", self.worst, edge_word(edge))
            }
            CheckKind::Select(_, edge) => {
                format!("{signal} became active {} before {reference} {}", self.worst, edge_word(edge))
            }
            // A formula of the part, such as the write of a memory, has no level on a pin.
            CheckKind::Width(active) if chip.part.function.nodes.contains(signal) => {
                let state = if active { "active" } else { "inactive" };
                format!(
                    "{signal} (made of {}) was {state} for {} only",
                    node_pins(&chip.part, signal).join(", "),
                    self.worst
                )
            }
            CheckKind::Width(true) => format!("{signal} was high for {} only", self.worst),
            CheckKind::Width(false) => format!("{signal} was low for {} only", self.worst),
            CheckKind::Period => format!("{signal} rose again after {}", self.worst),
            CheckKind::Stable(_) => format!("{signal} moved while {reference} was active"),
        };
        let needed = match self.kind {
            CheckKind::Stable(_) => String::new(),
            _ => format!(", {} needed", self.least),
        };
        format!("{path} ({number}) {}: {found}{needed}", self.kind.word())
    }
}

/// The pins that a node of a part is made of.
fn node_pins(part: &Part, node: &str) -> Vec<String> {
    let function = &part.function;
    let bit = function.nodes.iter().position(|name| name == node);
    let inputs = bit.map_or(0, |bit| function.reads_of_node(bit).inputs);
    let pins = function.inputs.iter().enumerate();
    pins.filter(|(bit, _)| inputs >> bit & 1 == 1).map(|(_, &pin)| part.pins[pin].name.clone()).collect()
}

fn edge_word(edge: Edge) -> &'static str {
    match edge {
        Edge::Rise => "rose",
        Edge::Fall => "fell",
    }
}

/// The name of a signal of a part.
pub(crate) fn signal_name(part: &Part, signal: Signal) -> String {
    match signal {
        Signal::Input(bit) => part.pins[part.function.inputs[bit]].name.clone(),
        Signal::Node(bit) => part.function.nodes[bit].clone(),
    }
}

/// A synchroniser whose second flip-flop took something by chance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Decision {
    /// The row of [`Circuit::synchronisers`].
    pub synchroniser: usize,
    /// How often.
    pub count: u64,
    /// When first.
    pub first: Time,
}

/// Two outputs that drove one net to different levels.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Contention {
    pub net: NetKey,
    /// Who drove it low, when it happened first.
    pub low: String,
    /// Who drove it high.
    pub high: String,
    /// How often.
    pub count: u64,
    /// When first.
    pub first: Time,
    /// The longest stretch.
    pub longest: Time,
    /// All stretches together.
    pub total: Time,
    /// True when it was still going on at the end.
    pub lasting: bool,
}

/// An overlap that is no longer than this, and ends by itself, is a bus being handed over: enable and disable times
/// of HC and LS parts differ by up to about 40 ns (TI SCLS148F, SDLS165B).
pub const TURNAROUND: Time = Time::from_ps(50_000);

impl Contention {
    /// True for short overlaps when a bus changes hands; false for outputs that really fight.
    pub fn is_turnaround(&self) -> bool {
        !self.lasting && self.longest <= TURNAROUND
    }
}

/// A net that nobody drove while chips listened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Floating {
    pub net: NetKey,
    /// One of the inputs that listened.
    pub listener: String,
    /// Who stopped driving last; `None` when nobody ever drove.
    pub last_driver: Option<String>,
    /// How often.
    pub count: u64,
    /// When first.
    pub first: Time,
    /// The longest stretch.
    pub longest: Time,
    /// True when it was still going on at the end.
    pub lasting: bool,
}

/// A use that a part's sheet forbids, or that its model does not cover.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Forbidden {
    pub chip: ChipKey,
    /// Why.
    pub text: String,
    /// How often.
    pub count: u64,
    /// When first.
    pub first: Time,
}

/// A run that would never come to rest.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Oscillation {
    /// When it was stopped.
    pub time: Time,
    /// True when no time passed: a loop without delay.
    pub without_delay: bool,
    /// The outputs of the loop, in order.
    pub around: Vec<String>,
}

impl Oscillation {
    /// What happened, in one sentence.
    pub fn sentence(&self) -> String {
        let kind = if self.without_delay { "a loop without delay never settles" } else { "a loop oscillates" };
        format!("{kind}: {}", self.around.join(" -> "))
    }
}

/// Why a run without delays cannot go on: what comes next depends on them.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Refusal {
    /// When.
    pub time: Time,
    /// The path of the chip, pin or net.
    pub place: String,
    /// What is there, in one sentence.
    pub sentence: String,
    pub span: Span,
}

/// All that an engine has found, but for what ended the run: each list by net or chip.
#[derive(Clone, Debug, Default)]
pub struct Findings {
    /// Data-sheet limits that were not met.
    pub violations: Vec<Violation>,
    /// The same at first stages of synchronisers, which may become metastable.
    pub metastable: Vec<Violation>,
    /// What second stages of synchronisers took at random.
    pub decisions: Vec<Decision>,
    /// Uses that a sheet forbids.
    pub forbidden: Vec<Forbidden>,
    /// Outputs that drove against each other.
    pub contentions: Vec<Contention>,
    /// Nets that nothing drove.
    pub floating: Vec<Floating>,
    /// Outputs that filtered pulses shorter than their delay, with how many.
    pub filtered: Vec<(String, u64)>,
    /// Rules that filled gaps of the sheets, with the numbers of the parts that they were needed for.
    pub rules: BTreeMap<Rule, BTreeSet<String>>,
}

/// How much work a run was.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Counters {
    /// Output transitions.
    pub events: u64,
    /// Evaluations of chips.
    pub evaluations: u64,
    /// Pulses that were too short for an output to follow.
    #[serde(rename = "swallowed")]
    pub filtered: u64,
}
