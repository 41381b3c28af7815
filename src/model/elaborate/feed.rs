//! What stands at the supply pins of chips: the rails that feed them, and the capacitors that decouple them.

use super::plan::{Feeding, NetNumber, PlanChip, PlanJoint, Planner};
use crate::diagnostic::{Diagnostic, did_you_mean};
use crate::language::ast;
use crate::language::expand::Scope;
use crate::part::PinKind;
use crate::text::Span;

impl Planner<'_> {
    pub(super) fn feed(&mut self, scope: &Scope, feed: &ast::Feed) {
        let mut chips = Vec::new();
        for refs in &feed.refs {
            let names = self.problems.take(scope.references(refs)).unwrap_or_default();
            chips.extend(names.into_iter().map(|name| (name, refs.from.span)));
        }
        if !self.problems.spend(chips.len()) {
            return;
        }
        let mut rail = |template: &ast::Template| {
            let name = self.problems.take(scope.name(template))?;
            Some((self.net(&name, template.span), template.span))
        };
        if let (Some(power), Some(ground)) = (rail(&feed.power), rail(&feed.ground)) {
            self.feedings.push(Feeding { chips, power, ground });
        }
    }

    /// Connects the supply pins of chips as the `feed` lines say.
    pub(super) fn feed_chips(&mut self) {
        for feeding in std::mem::take(&mut self.feedings) {
            if !self.are_rails(&feeding) {
                continue;
            }
            for (reference, span) in &feeding.chips {
                if self.problems.stop() {
                    return;
                }
                for chip in self.chips_named(reference, *span) {
                    self.feed_chip(chip, reference, &feeding);
                }
            }
        }
    }

    fn feed_chip(&mut self, chip: usize, reference: &str, feeding: &Feeding) {
        let part = self.plan.chips[chip].device.part.clone();
        let mut pins = std::mem::take(&mut self.plan.chips[chip].pins);
        for (pin, joint) in part.pins.iter().zip(&mut pins) {
            let (net, span) = match pin.kind {
                PinKind::Power => feeding.power,
                PinKind::Ground => feeding.ground,
                _ => continue,
            };
            self.join(joint, PlanJoint::Net(net, span), || format!("pin {} ({}) of {reference}", pin.number, pin.name));
        }
        self.plan.chips[chip].pins = pins;
    }

    /// True when a `feed` line names two rails, the higher one first.
    fn are_rails(&mut self, feeding: &Feeding) -> bool {
        let mut voltage = |(net, span): (NetNumber, Span)| {
            let found = &self.plan.nets[net];
            if found.rail.is_none() {
                let message = format!("{} is not a rail of this board", found.name);
                let rails = self.plan.nets.values().filter(|net| net.rail.is_some());
                let near = did_you_mean(&found.name, rails.map(|net| &*net.name));
                let help = near.unwrap_or_else(|| {
                    format!("declare it: `rail {} 5 V`, or without a voltage for ground", found.name)
                });
                self.problems.unclear(Diagnostic::error("unknown-rail", message).at(span, "used as a rail").help(help));
            }
            found.rail.map(|(voltage, _)| voltage)
        };
        let (Some(power), Some(ground)) = (voltage(feeding.power), voltage(feeding.ground)) else {
            return false;
        };
        if power > ground {
            return true;
        }
        let message = format!("this feeds chips with {power} over {ground}");
        self.problems.unclear(
            Diagnostic::error("unknown-rail", message)
                .at(feeding.power.1, "the rail for the power pins")
                .at(feeding.ground.1, "the rail for the ground pins")
                .help("name the positive rail first, then ground"),
        );
        false
    }

    /// The chips of a reference designator; reports when there is none.
    fn chips_named(&mut self, reference: &str, span: Span) -> Vec<usize> {
        if let Some(chips) = self.chips_called.get(reference) {
            return chips.clone();
        }
        let mut discretes = self.plan.discretes.iter();
        let message = match discretes.find(|discrete| *discrete.reference == *reference) {
            Some(discrete) => format!("{reference} ({}) is not a chip", discrete.kind.word()),
            None => format!("there is no chip {reference} on this board"),
        };
        let names = self.chips_called.keys().map(String::as_str);
        let help = did_you_mean(reference, names).unwrap_or_else(|| "name chips that stand on this board".to_owned());
        self.problems.unclear(Diagnostic::error("unknown-reference", message).at(span, "no such chip").help(help));
        Vec::new()
    }

    /// Puts each capacitor at its chips: one each when their numbers match, otherwise each at the whole list. One
    /// without a block stands between the supply pins of its first chip.
    pub(super) fn decouple_chips(&mut self) {
        for decoupling in std::mem::take(&mut self.decouplings) {
            let mut chips = Vec::new();
            for (reference, span) in &decoupling.chips {
                if self.problems.stop() {
                    return;
                }
                chips.push(self.chips_named(reference, *span));
            }
            let one_each = chips.len() == decoupling.capacitors.len();
            for (at, capacitor) in decoupling.capacitors.enumerate() {
                let mine = if one_each { chips[at].clone() } else { chips.concat() };
                let span = self.plan.discretes[capacitor].span;
                if !self.room_for(mine.len(), span) {
                    return;
                }
                let capacitor = &mut self.plan.discretes[capacitor];
                if let Some(&first) = mine.first()
                    && capacitor.pins.iter().all(|pin| *pin == PlanJoint::Free)
                {
                    let chip = &self.plan.chips[first];
                    let ends = [PinKind::Power, PinKind::Ground];
                    capacitor.pins = ends.iter().map(|kind| supply_pin(chip, *kind)).collect();
                }
                capacitor.chips = mine;
            }
        }
    }
}

/// What the first supply pin of a kind is connected to.
fn supply_pin(chip: &PlanChip, kind: PinKind) -> PlanJoint {
    let pins = chip.device.part.pins_of(kind).map(|pin| chip.pins[pin]);
    pins.into_iter().find(|joint| joint.net().is_some()).unwrap_or(PlanJoint::Free)
}
