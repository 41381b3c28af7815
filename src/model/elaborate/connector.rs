//! Connectors of a board: how many pins a kind has, and what stands behind each.

use super::plan::{PlanConnector, PlanContact, PlanJoint, Planner, Written};
use crate::diagnostic::{Diagnostic, count};
use crate::language::ast::{self, Nets};
use crate::language::expand::Scope;
use crate::model::problems::several;
use crate::text::Span;
use std::sync::Arc;

/// The most pins of one connector.
const MOST: usize = 1000;

impl Planner<'_> {
    pub(super) fn connector(&mut self, scope: &Scope, connector: &ast::Connector) {
        let Some(names) = self.names(scope, &connector.name) else {
            return;
        };
        let span = connector.name.span.to(connector.kind.span);
        let numbers = connector.pins.iter().flat_map(|line| &line.numbers.numbers);
        let highest = numbers.copied().max().unwrap_or(0) as usize;
        let pins = match pins_of_kind(&connector.kind.node) {
            None => highest,
            Some(pins) if (1..=MOST).contains(&pins) => pins,
            Some(_) => {
                let message = format!("a connector has from 1 to {MOST} pins");
                return self.problems.unclear(
                    Diagnostic::error("connector", message)
                        .at(connector.kind.span, "rows and columns")
                        .help("write the kind as in `header-2x5`"),
                );
            }
        };
        if !self.room_for(pins.saturating_mul(names.len()), span) {
            return;
        }
        let pin = PlanContact { label: None, remark: None, joint: PlanJoint::Free };
        let mut plan = PlanConnector {
            // Of several alike the first stands for all in what is wrong with them.
            name: names.first().map_or_else(Arc::default, |name| name.as_str().into()),
            kind: connector.kind.node.as_str().into(),
            contacts: vec![pin; pins],
            span,
        };
        for line in &connector.pins {
            self.connector_line(scope, line, &mut plan);
        }
        for name in names {
            self.plan.written.push(Written::Connector(self.plan.connectors.len()));
            self.plan.connectors.push(PlanConnector { name: name.into(), ..plan.clone() });
        }
    }

    fn connector_line(&mut self, scope: &Scope, line: &ast::ConnectorPin, connector: &mut PlanConnector) -> Option<()> {
        let numbers = &line.numbers.numbers;
        let labels = match &line.label {
            Some(template) => self.names(scope, template)?,
            None => Vec::new(),
        };
        let place = line.label.as_ref().map_or(line.numbers.span, |template| template.span);
        let joints: Vec<PlanJoint> = match (&line.label, &line.nets) {
            (None, _) => vec![PlanJoint::Open(line.numbers.span)],
            (Some(_), Some(Nets::Open(span))) => vec![PlanJoint::Open(*span)],
            (Some(_), nets) => {
                let names = match nets {
                    Some(nets) => self.listed(scope, nets)?,
                    None => labels.iter().map(|label| (label.clone(), place)).collect(),
                };
                if !fits(names.len(), numbers.len()) || !fits(labels.len(), numbers.len()) {
                    let nets: Vec<&str> = names.iter().map(|(name, _)| name.as_str()).collect();
                    self.problems.unclear(miscounted(line, place, &labels, &nets));
                    return None;
                }
                let net = |(name, span): &(String, Span)| PlanJoint::Net(self.net(name, *span), *span);
                names.iter().map(net).collect()
            }
        };
        if line.label.is_some() && !fits(labels.len(), numbers.len()) {
            self.problems.unclear(miscounted(line, place, &labels, &["open"]));
            return None;
        }
        let labels: Vec<Arc<str>> = labels.into_iter().map(Arc::from).collect();
        let remark: Option<Arc<str>> = line.remark.as_ref().map(|remark| remark.node.as_str().into());
        for (at, &number) in numbers.iter().enumerate() {
            let pins = connector.contacts.len();
            let Some(pin) = (number as usize).checked_sub(1).and_then(|n| connector.contacts.get_mut(n)) else {
                let message = format!("{} has no pin {number}", connector.name);
                self.problems.unclear(
                    Diagnostic::error("unknown-pin", message)
                        .at(line.numbers.span, "no such pin")
                        .help(format!("{} has pins 1 to {pins}", connector.kind)),
                );
                continue;
            };
            if pin.joint != PlanJoint::Free {
                let message = format!("pin {number} of {} is described twice", connector.name);
                self.problems.unclear(
                    Diagnostic::error("wired-twice", message)
                        .at(line.numbers.span, "again here")
                        .help("take one of the two lines away"),
                );
                continue;
            }
            pin.label = labels.get(at).or(labels.first()).cloned();
            pin.remark.clone_from(&remark);
            pin.joint = joints[at.min(joints.len() - 1)];
        }
        Some(())
    }
}

/// True when names can be dealt out to pins: one for each, or one for all.
fn fits(names: usize, pins: usize) -> bool {
    names == pins || names == 1
}

fn miscounted(line: &ast::ConnectorPin, place: Span, labels: &[String], nets: &[&str]) -> Diagnostic {
    let pins: Vec<String> = line.numbers.numbers.iter().map(u32::to_string).collect();
    let message =
        format!("{}, {}, {}", count(pins.len(), "pin"), count(labels.len(), "label"), count(nets.len(), "net"));
    let mut problem = Diagnostic::error("count", message)
        .at(line.numbers.span, "these pins")
        .at(place, "these labels")
        .note(format!("pins: {}", several(&pins)))
        .note(format!("labels: {}", several(labels)));
    if nets != labels {
        problem = problem.note(format!("nets: {}", several(nets)));
    }
    problem.help("write one label for each pin, or one for all")
}

/// The pins of a kind such as `header-2x5`; `None` when it does not say.
fn pins_of_kind(kind: &str) -> Option<usize> {
    kind.split('-').find_map(|piece| {
        let (rows, columns) = piece.split_once('x')?;
        Some(rows.parse::<usize>().ok()?.saturating_mul(columns.parse().ok()?))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_kind_tells_its_pins() {
        assert_eq!(pins_of_kind("header-2x5"), Some(10));
        assert_eq!(pins_of_kind("idc-2x13-latched"), Some(26));
        assert_eq!(pins_of_kind("barrel"), None);
        assert_eq!(pins_of_kind("box-x5"), None);
        assert_eq!(pins_of_kind("header-99999999999999999999x2"), None);
    }
}
