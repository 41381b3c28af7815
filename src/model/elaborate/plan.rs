//! The plan of one board: flat lists with local net numbers, made once however often the board is put in place.

use crate::contents::Contents;
use crate::diagnostic::Diagnostic;
use crate::key::{Finder, KeyVec};
use crate::language::ast::{self, Template};
use crate::language::expand::Scope;
use crate::model::problems::{MOST_PINS, Problems};
use crate::model::things::{Device, DiscreteKind, InitialContents, PathKind, TimingPath, Waiver};
use crate::part::Library;
use crate::quantity::{Frequency, Length, Power, Voltage};
use crate::text::Span;
use rustc_hash::{FxHashMap, FxHashSet};
use std::ops::Range;
use std::sync::Arc;

crate::key_type!(
    /// A net of a plan.
    #[expect(unreachable_pub, reason = "the macro makes public types")]
    NetNumber, "net"
);

/// What boards are made from.
#[derive(Clone, Copy)]
pub(super) struct Context<'a> {
    /// Parts and families.
    pub(super) library: &'a Library,
    /// What memories may hold.
    pub(super) contents: &'a Contents,
}

/// One board, laid out.
#[derive(Default)]
pub(super) struct Plan {
    pub(super) design: Arc<str>,
    pub(super) title: Arc<str>,
    pub(super) trace: Option<Length>,
    pub(super) nets: KeyVec<NetNumber, PlanNet>,
    pub(super) chips: Vec<PlanChip>,
    pub(super) discretes: Vec<PlanDiscrete>,
    pub(super) connectors: Vec<PlanConnector>,
    /// All of these in order of writing.
    pub(super) written: Vec<Written>,
    pub(super) paths: Vec<TimingPath>,
    pub(super) waivers: Vec<Waiver>,
    /// Pins of all of these together; rails, and chips at a capacitor, count as pins, because they take as much room.
    pub(super) pins: usize,
}

/// A row of a plan.
#[derive(Clone, Copy)]
pub(super) enum Written {
    Chip(usize),
    Discrete(usize),
    Connector(usize),
}

pub(super) struct PlanNet {
    pub(super) name: Arc<str>,
    pub(super) rail: Option<(Voltage, Span)>,
    pub(super) span: Span,
}

pub(super) struct PlanChip {
    pub(super) reference: Arc<str>,
    pub(super) device: Arc<Device>,
    pub(super) frequency: Option<Frequency>,
    pub(super) contents: Option<InitialContents>,
    pub(super) pins: Vec<PlanJoint>,
    pub(super) span: Span,
}

pub(super) struct PlanDiscrete {
    pub(super) reference: Arc<str>,
    pub(super) kind: DiscreteKind,
    pub(super) rating: Option<Power>,
    pub(super) pins: Vec<PlanJoint>,
    /// Chips that a capacitor stands at.
    pub(super) chips: Vec<usize>,
    pub(super) span: Span,
}

#[derive(Clone)]
pub(super) struct PlanConnector {
    pub(super) name: Arc<str>,
    pub(super) kind: Arc<str>,
    pub(super) contacts: Vec<PlanContact>,
    pub(super) span: Span,
}

#[derive(Clone)]
pub(super) struct PlanContact {
    pub(super) label: Option<Arc<str>>,
    pub(super) remark: Option<Arc<str>>,
    pub(super) joint: PlanJoint,
}

/// What a pin is connected to, and where that is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum PlanJoint {
    Free,
    Net(NetNumber, Span),
    /// Open on purpose.
    Open(Span),
}

impl PlanJoint {
    pub(super) fn net(self) -> Option<NetNumber> {
        match self {
            PlanJoint::Net(net, _) => Some(net),
            _ => None,
        }
    }
}

/// A `feed` line, kept until all chips are known.
pub(super) struct Feeding {
    pub(super) chips: Vec<(String, Span)>,
    pub(super) power: (NetNumber, Span),
    pub(super) ground: (NetNumber, Span),
}

/// A `decouples`, kept until all chips are fed.
pub(super) struct Decoupling {
    /// Rows of the plan's discretes.
    pub(super) capacitors: Range<usize>,
    pub(super) chips: Vec<(String, Span)>,
}

/// Makes a plan.
pub(super) struct Planner<'a> {
    pub(super) context: Context<'a>,
    pub(super) problems: &'a mut Problems,
    pub(super) plan: Plan,
    net_numbers: Finder<NetNumber>,
    /// Chips by reference designator; several when it is written twice.
    pub(super) chips_called: FxHashMap<String, Vec<usize>>,
    pub(super) feedings: Vec<Feeding>,
    pub(super) decouplings: Vec<Decoupling>,
    /// Kinds that were reported as unknown.
    pub(super) unknown_kinds: FxHashSet<Span>,
}

impl<'a> Planner<'a> {
    pub(super) fn new(context: Context<'a>, problems: &'a mut Problems) -> Self {
        Planner {
            context,
            problems,
            plan: Plan::default(),
            net_numbers: Finder::default(),
            chips_called: FxHashMap::default(),
            feedings: Vec::new(),
            decouplings: Vec::new(),
            unknown_kinds: FxHashSet::default(),
        }
    }

    /// The flat names of a template.
    pub(super) fn names(&mut self, scope: &Scope, template: &Template) -> Option<Vec<String>> {
        let names = self.problems.take(scope.names(template))?;
        self.problems.spend(names.len()).then_some(names)
    }

    /// The net of a name, which comes into being by being named.
    pub(super) fn net(&mut self, name: &str, span: Span) -> NetNumber {
        let nets = &mut self.plan.nets;
        if let Some(net) = (self.net_numbers).find(name, |net| *nets[net].name == *name) {
            return net;
        }
        let net = nets.push(PlanNet { name: name.into(), rail: None, span });
        self.net_numbers.insert(name, net, |_| false);
        net
    }

    /// Counts new pins; false when the board would get too large.
    pub(super) fn room_for(&mut self, pins: usize, span: Span) -> bool {
        let before = self.plan.pins;
        self.plan.pins = before.saturating_add(pins);
        let fits = self.plan.pins <= MOST_PINS;
        if !fits && before <= MOST_PINS {
            self.problems.unclear(too_many_pins(span));
        }
        fits
    }

    /// Connects a pin. `pin` says in words which one it is.
    pub(super) fn join(&mut self, joint: &mut PlanJoint, new: PlanJoint, pin: impl FnOnce() -> String) {
        use PlanJoint::{Free, Net, Open};
        let (first, second) = match (*joint, new) {
            (Free, _) => {
                *joint = new;
                return;
            }
            (Net(a, _), Net(b, _)) if a == b => return,
            (Net(_, first) | Open(first), Net(_, second)) => (first, second),
            (Net(_, first), Open(second)) => (first, second),
            (_, Free) | (Open(_), Open(_)) => return,
        };
        let words = |joint: PlanJoint| match joint.net() {
            Some(net) => format!("to {}", self.plan.nets[net].name),
            None => "open".to_owned(),
        };
        let message = format!("{} is wired twice", pin());
        self.problems.unclear(
            Diagnostic::error("wired-twice", message)
                .at(second, format!("{} here", words(new)))
                .at(first, format!("{} here", words(*joint)))
                .help("keep one of the two, or give both nets the same name"),
        );
    }
}

/// What a statement waives, for each place that it names.
pub(super) fn waivers(tree: &ast::Acceptance, paths: Vec<String>) -> Vec<Waiver> {
    let at = |place: String| Waiver {
        rule: tree.rule.node.clone(),
        place,
        reason: tree.reason.node.clone(),
        board: None,
        span: tree.rule.span.to(tree.place.span),
    };
    paths.into_iter().map(at).collect()
}

/// A timing path with its names laid out.
pub(super) fn timing_path(
    scope: &Scope,
    kind: PathKind,
    tree: &ast::Way,
    problems: &mut Problems,
) -> Option<TimingPath> {
    let ends = scope.paths(&tree.from).and_then(|from| Ok((from, scope.paths(&tree.to)?)));
    let (from, to) = problems.take(ends)?;
    let names = from.len() + to.len();
    problems.spend(names).then(|| TimingPath {
        kind,
        board: Arc::default(),
        from: (from, tree.from.span),
        to: (to, tree.to.span),
        reason: tree.reason.clone(),
        span: tree.span,
    })
}

/// The refusal of a design with more pins than [`MOST_PINS`].
pub(super) fn too_many_pins(span: Span) -> Diagnostic {
    Diagnostic::error("too-large", format!("the design has more than {MOST_PINS} pins"))
        .at(span, "this is one too many")
        .help("split it into several assemblies")
}
