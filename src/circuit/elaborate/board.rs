//! The plan of one board: flat lists with local net numbers, made once however often the board is put in place.

use super::discrete::PinNames;
use super::feed::{Decoupling, Feeding};
use super::ways::{Named, Said};
use super::{MOST_PINS, Problems, Shelf};
use crate::circuit::{Acceptance, DiscreteKind, Holds};
use crate::contents::Contents;
use crate::diagnostic::Diagnostic;
use crate::key::{Finder, KeyVec};
use crate::language::ast::{self, BoardStatement, Template};
use crate::language::expand::Scope;
use crate::part::family::Estimate;
use crate::part::{Family, Library, Part};
use crate::quantity::{Frequency, Length, Power, Voltage};
use crate::text::Span;
use rustc_hash::{FxHashMap, FxHashSet};
use std::sync::Arc;

crate::key_type!(
    /// A net of a plan.
    #[expect(unreachable_pub, reason = "the macro makes public types")]
    NetNumber, "net"
);

/// One board, laid out.
#[derive(Default)]
pub(super) struct Plan {
    pub(super) design: String,
    pub(super) title: String,
    pub(super) trace: Option<Length>,
    pub(super) nets: KeyVec<NetNumber, PlanNet>,
    pub(super) chips: Vec<PlanChip>,
    pub(super) discretes: Vec<PlanDiscrete>,
    pub(super) connectors: Vec<PlanConnector>,
    pub(super) ways: Vec<Named>,
    pub(super) accepted: Vec<Acceptance>,
    /// Pins of all of these together; rails, and chips at a capacitor, count as pins, because they take as much room.
    pub(super) pins: usize,
}

pub(super) struct PlanNet {
    pub(super) name: String,
    pub(super) rail: Option<(Voltage, Span)>,
    pub(super) span: Span,
}

pub(super) struct PlanChip {
    pub(super) reference: String,
    pub(super) number: String,
    pub(super) part: Arc<Part>,
    pub(super) sheet: Option<usize>,
    pub(super) family: Option<String>,
    pub(super) electrical: Option<Arc<Family>>,
    pub(super) estimate: Option<Estimate>,
    pub(super) frequency: Option<Frequency>,
    pub(super) holds: Option<Holds>,
    pub(super) pins: Vec<Joint>,
    pub(super) span: Span,
}

pub(super) struct PlanDiscrete {
    pub(super) reference: String,
    pub(super) kind: DiscreteKind,
    pub(super) rating: Option<Power>,
    pub(super) pins: Vec<Joint>,
    /// Chips that a capacitor stands at.
    pub(super) chips: Vec<usize>,
    pub(super) span: Span,
}

pub(super) struct PlanConnector {
    pub(super) name: String,
    pub(super) kind: String,
    pub(super) pins: Vec<PlanConnectorPin>,
    pub(super) span: Span,
}

#[derive(Clone)]
pub(super) struct PlanConnectorPin {
    pub(super) label: Option<String>,
    pub(super) remark: Option<String>,
    pub(super) joint: Joint,
}

/// What a pin is connected to, and where that is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Joint {
    Free,
    Net(NetNumber, Span),
    /// Open on purpose.
    Open(Span),
}

impl Joint {
    pub(super) fn net(self) -> Option<NetNumber> {
        match self {
            Joint::Net(net, _) => Some(net),
            _ => None,
        }
    }
}

/// What a statement accepts, for each place that it names.
pub(super) fn accepted(tree: &ast::Acceptance, paths: Vec<String>) -> Vec<Acceptance> {
    let at = |place: String| Acceptance {
        rule: tree.rule.node.clone(),
        place,
        reason: tree.reason.node.clone(),
        board: None,
        span: tree.rule.span.to(tree.place.span),
    };
    paths.into_iter().map(at).collect()
}

/// Makes a plan.
pub(super) struct Planner<'a> {
    pub(super) library: &'a Library,
    pub(super) contents: &'a Contents,
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
    pub(super) fn new(shelf: Shelf<'a>, problems: &'a mut Problems) -> Self {
        Planner {
            library: shelf.library,
            contents: shelf.contents,
            problems,
            plan: Plan::default(),
            net_numbers: Finder::default(),
            chips_called: FxHashMap::default(),
            feedings: Vec::new(),
            decouplings: Vec::new(),
            unknown_kinds: FxHashSet::default(),
        }
    }

    pub(super) fn plan(mut self, board: &ast::Board) -> Plan {
        self.plan.design.clone_from(&board.name.node);
        self.plan.title.clone_from(&board.title);
        self.statements(&mut Scope::default(), &board.body);
        self.feed_chips();
        self.decouple_chips();
        self.plan
    }

    fn statements(&mut self, scope: &mut Scope, body: &[BoardStatement]) {
        for statement in body {
            if self.problems.stop() {
                return;
            }
            match statement {
                BoardStatement::Rail(rail) => self.rail(scope, rail),
                BoardStatement::Trace(length) => self.plan.trace = Some(*length),
                BoardStatement::Feed(feed) => self.feed(scope, feed),
                BoardStatement::Connector(connector) => self.connector(scope, connector),
                BoardStatement::Component(component) => self.component(scope, component),
                BoardStatement::Each(each) => {
                    let done = scope.each(each, |scope, body| {
                        if self.problems.spend(1) {
                            self.statements(scope, body);
                        }
                    });
                    self.problems.take(done);
                }
                BoardStatement::Unused(way) => self.way(scope, Said::Unused, way),
                BoardStatement::Synchroniser(way) => {
                    self.way(scope, Said::Synchroniser, way);
                }
                BoardStatement::Note(_) => {}
                BoardStatement::Accept(tree) => {
                    if let Some(paths) = self.problems.take(scope.paths(&tree.place))
                        && self.problems.spend(paths.len())
                    {
                        self.plan.accepted.extend(accepted(tree, paths));
                    }
                }
            }
        }
    }

    fn way(&mut self, scope: &Scope, said: Said, way: &ast::Way) {
        let found = Named::of(scope, said, way);
        if let Some(way) = self.problems.take(found)
            && self.problems.spend(way.size())
        {
            self.plan.ways.push(way);
        }
    }

    fn rail(&mut self, scope: &Scope, rail: &ast::Rail) {
        let names = self.names(scope, &rail.name).unwrap_or_default();
        if !self.room_for(names.len(), rail.name.span) {
            return;
        }
        for name in names {
            let net = self.net(&name, rail.name.span);
            match self.plan.nets[net].rail {
                None => self.plan.nets[net].rail = Some((rail.voltage, rail.name.span)),
                Some((voltage, _)) if voltage == rail.voltage => {}
                Some((voltage, first)) => self.problems.unclear(
                    Diagnostic::error("rail-twice", format!("the rail {name} has two voltages"))
                        .at(rail.name.span, format!("{} here", rail.voltage))
                        .at(first, format!("{voltage} here"))
                        .help("keep one of the two lines, or give the second rail another name"),
                ),
            }
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
        if let Some(net) = (self.net_numbers).find(name, |net| nets[net].name == name) {
            return net;
        }
        let net = nets.push(PlanNet {
            name: name.to_owned(),
            rail: None,
            span,
        });
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

    /// Connects a pin. `pin` tells in words which one it is.
    pub(super) fn join(&mut self, joint: &mut Joint, new: Joint, pin: impl FnOnce() -> String) {
        let (first, second) = match (*joint, new) {
            (Joint::Free, _) => {
                *joint = new;
                return;
            }
            (Joint::Net(a, _), Joint::Net(b, _)) if a == b => return,
            (Joint::Net(_, first), Joint::Net(_, second)) => (first, second),
            (Joint::Net(_, first), Joint::Open(second)) => (first, second),
            (Joint::Open(first), Joint::Net(_, second)) => (first, second),
            (_, Joint::Free) | (Joint::Open(_), Joint::Open(_)) => return,
        };
        let words = |joint: Joint| match joint.net() {
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

/// The refusal of a design with more pins than [`MOST_PINS`].
pub(super) fn too_many_pins(span: Span) -> Diagnostic {
    Diagnostic::error(
        "too-large",
        format!("the design has more than {MOST_PINS} pins"),
    )
    .at(span, "this is one too many")
    .help("split it into several assemblies")
}

/// A pin in words: `pin 11 (CLK) of U1`.
pub(super) fn pin_in_words(names: &PinNames<'_>, index: usize, reference: &str) -> String {
    format!("{} of {reference}", names.title(index))
}
