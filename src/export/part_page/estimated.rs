//! The figures that a sheet lacks, and the rules that fill the gaps.

use crate::delay::{Conditions, DelayTable, Rule, durations};
use crate::language::ast::Corner;
use crate::part::sheet::Pair;
use crate::part::{Part, Sheet};
use crate::quantity::Voltage;
use serde::{Serialize, Serializer};
use std::collections::BTreeSet;

/// The supply that pages speak of.
pub(crate) const SUPPLY: Voltage = Voltage::from_raw(5_000_000);

/// The rules that a sheet needs, by corner.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Estimated {
    /// Which parts: `fastest`, `typical` or `slowest`.
    pub corner: &'static str,
    /// What fills the gaps.
    pub rules: BTreeSet<Rule>,
}

/// The rules that a sheet needs at 5 V in each corner.
pub fn estimated(part: &Part, sheet: &Sheet) -> Vec<Estimated> {
    let corners = [("fastest", Corner::Fastest), ("typical", Corner::Typical), ("slowest", Corner::Slowest)];
    // The smallest resistor and capacitor that each timer may have stand for all.
    let rows = || sheet.blocks.iter().flat_map(|block| &block.durations);
    let pairs: Vec<Option<Pair>> = (0..part.function.timed())
        .map(|timer| {
            rows()
                .find(|row| row.timer == timer)
                .map(|row| Pair { resistance: row.resistors.0, capacitance: row.capacitors.0 })
        })
        .collect();
    let rules = |corner| {
        let conditions = Conditions::at(SUPPLY, corner);
        let mut rules = DelayTable::new(part, Some(sheet), &conditions).rules;
        durations(part, Some(sheet), &conditions, &pairs, &mut rules);
        rules
    };
    corners.into_iter().map(|(word, corner)| Estimated { corner: word, rules: rules(corner) }).collect()
}

impl Serialize for Estimated {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        #[derive(Serialize)]
        struct View {
            corner: &'static str,
            rules: Vec<&'static str>,
        }
        let rules = self.rules.iter().map(|rule| rule.sentence()).collect();
        View { corner: self.corner, rules }.serialize(serializer)
    }
}
