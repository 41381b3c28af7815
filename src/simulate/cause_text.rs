//! The words of causes: what one change of a net says.

use super::driver::Owner;
use super::machine::Machine;
use super::records::{Reason, Record};
use crate::circuit::{DiscreteKey, DiscreteKind, NetKey};
use crate::key::Key;
use crate::logic::Level;
use crate::quantity::Time;
use crate::run::Step;

impl Machine<'_> {
    /// True for a driver that follows what it hangs on at all times.
    pub(super) fn follows(&self, driver: u32) -> bool {
        match self.owners[driver as usize] {
            Owner::Chip(chip, _) => self.circuit.chips[chip].part.function.is_combinational(),
            Owner::Link(_) => true,
            _ => false,
        }
    }

    /// What one change says, and whether the chain ends with it.
    pub(super) fn cause_text(&self, record: &Record) -> (String, bool) {
        let (text, end) = match self.owners[record.source as usize] {
            Owner::Link(discrete) => self.link_text(discrete, record),
            Owner::Stimulus(_) | Owner::Oscillator(..) | Owner::Timer(..) => (self.owner_path(record.source), true),
            Owner::Chip(..) => self.chip_text(record.source, record),
        };
        match record.moved.map(|moved| (moved, self.owners[moved as usize])) {
            // A pull shows because an output has gone high-impedance: that is what to look behind.
            Some((moved, Owner::Chip(..))) if matches!(self.owners[record.source as usize], Owner::Link(_)) => {
                let (since, end) = self.chip_text(moved, record);
                (format!("{text}; {since}"), end)
            }
            Some((moved, Owner::Stimulus(_))) => (format!("{text}; {} lets go", self.owner_path(moved)), end),
            _ => (text, end),
        }
    }

    fn link_text(&self, discrete: DiscreteKey, record: &Record) -> (String, bool) {
        let path = &self.circuit.discretes[discrete].path;
        let Some(behind) = self.behind_link(discrete, record.net) else {
            return (path.clone(), true);
        };
        let (behind, is_rail) = (&self.circuit.nets[behind].path, self.is_rail(behind));
        let text = match self.circuit.discretes[discrete].kind {
            _ if record.level == Level::Z => format!("{path} opens"),
            DiscreteKind::Resistor(_) | DiscreteKind::Network(..) if is_rail => {
                format!("{path} pulls it to {behind}")
            }
            _ => format!("{path} joins it to {behind}"),
        };
        (text, is_rail || record.level == Level::Z)
    }

    fn chip_text(&self, driver: u32, record: &Record) -> (String, bool) {
        let owner = self.owner_path(driver);
        let Owner::Chip(chip, pin) = self.owners[driver as usize] else {
            return (owner, true);
        };
        let part = &self.circuit.chips[chip].part;
        let function = &part.function;
        let who = format!("{owner} ({})", self.circuit.chips[chip].number);
        let name = |bit: u8| part.pins[function.inputs[usize::from(bit)]].name.as_str();
        let high_impedance = record.level == Level::Z || record.source != driver;
        let who = match record.against {
            Some(other) => format!("{who} drives against {}", self.owner_path(other)),
            None if high_impedance => format!("{who} lets go"),
            None => who,
        };
        let moved = record.cause().moved.map(name);
        let by = moved.map_or(String::new(), |moved| format!(", moved by {moved}"));
        let Some(bit) = function.outputs.iter().position(|&other| other == pin) else {
            return (who, true);
        };
        match record.cause().reason {
            Reason::NeverDefined => (format!("{who}{by}: what it stores has never been defined"), true),
            Reason::Lost(time) => {
                (format!("{who}{by}: what it stores was lost at {time}, when a requirement was not met"), true)
            }
            Reason::Word if record.against.is_some() => (format!("{who} with a memory word{by}"), true),
            Reason::Word if record.level.is_known() => (format!("{who} reads a memory word{by}"), true),
            Reason::Word => (format!("{who} is on its way to a memory word{by}"), false),
            Reason::NoWord => (format!("{who} reads a memory word that nothing has defined{by}"), true),
            Reason::NoWordLost(time) => (
                format!(
                    "{who} reads a memory word{by}: nothing has defined it, or it was lost when a requirement was not met, last at {time}"
                ),
                true,
            ),
            Reason::Over => {
                let by = moved.map_or(String::new(), |moved| format!(", started by {moved}"));
                (format!("{who}: its time is over{by}"), true)
            }
            Reason::Inputs if function.arcs[bit] == 0 => (format!("{who} by itself"), true),
            Reason::Inputs => {
                let from = record.cause().follow.map(name).filter(|from| Some(*from) != moved);
                let from = from.map_or(String::new(), |from| format!(", from {from}"));
                (format!("{who}{by}{from}"), false)
            }
        }
    }

    /// The net that a change came from.
    pub(super) fn net_behind(&self, record: &Record) -> Option<NetKey> {
        match self.owners[self.driver_to_explain(record) as usize] {
            Owner::Chip(chip, _) => {
                let chip = &self.circuit.chips[chip];
                chip.nets[chip.part.function.inputs[usize::from(record.cause().follow?)]]
            }
            Owner::Link(discrete) => self.behind_link(discrete, record.net),
            _ => None,
        }
    }

    /// The pin that the oldest change of a chain came from, when it has no net.
    pub(super) fn pin_behind(&self, record: &Record) -> Option<Step> {
        let Owner::Chip(chip, _) = self.owners[self.driver_to_explain(record) as usize] else {
            return None;
        };
        let chip = &self.circuit.chips[chip];
        let pin = chip.part.function.inputs[usize::from(record.cause().follow?)];
        Some(Step {
            time: Time::ZERO,
            net: format!("{}.{}", chip.path, chip.part.pins[pin].name),
            level: Level::Z,
            text: "not connected".to_owned(),
        })
    }

    fn is_rail(&self, net: NetKey) -> bool {
        let rail = self.circuit.nets[net].rail;
        rail.is_some_and(|rail| rail.fed.is_some())
    }

    /// A net that has had this level from the beginning.
    pub(super) fn never_changed(&self, net: NetKey, level: Level) -> Step {
        let text = match (level, self.nets[net.index()].drivers.1) {
            _ if self.is_rail(net) => "a rail",
            (_, 0) => "nobody drives it",
            (Level::Z, _) => "everybody who could drive it has let go since power-up",
            (Level::U | Level::X, _) => "unknown since power-up",
            _ => "so since power-up",
        };
        Step { time: Time::ZERO, net: self.circuit.nets[net].path.clone(), level, text: text.to_owned() }
    }
}
