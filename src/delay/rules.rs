//! A small set of rules.

use crate::part::rule::Rule;

/// Rules that a figure rests on: a bit for each.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(super) struct Rules(u32);

/// All rules, in their order.
const ALL: [Rule; 17] = [
    Rule::FastestIsQuarterTypical,
    Rule::FastestIsEighthLimit,
    Rule::TypicalIsLimit,
    Rule::SlowestIsTwiceTypical,
    Rule::LimitOfOtherTemperature,
    Rule::BetweenTemperatures,
    Rule::TypicalWithTemperature,
    Rule::TypicalAtRoom,
    Rule::OtherPath,
    Rule::NoOutputHold,
    Rule::NoSheet,
    Rule::NearestVoltage,
    Rule::LoadOfFamily,
    Rule::LoadNotCounted,
    Rule::PinCapacitance,
    Rule::FamilyEstimate,
    Rule::PullUp,
];

impl Rules {
    pub(super) fn with(self, rule: Rule) -> Rules {
        Rules(self.0 | 1 << rule as u32)
    }

    pub(super) fn and(self, other: Rules) -> Rules {
        Rules(self.0 | other.0)
    }

    pub(super) fn iter(self) -> impl Iterator<Item = Rule> {
        ALL.into_iter().filter(move |&rule| self.0 >> rule as u32 & 1 == 1)
    }

    /// How far from the sheet: 0 is what it says, 1 what it says at other temperatures, 2 is taken from another figure.
    pub(super) fn rank(self) -> u8 {
        let near = Rules::default()
            .with(Rule::LimitOfOtherTemperature)
            .with(Rule::BetweenTemperatures)
            .with(Rule::TypicalWithTemperature)
            .with(Rule::TypicalAtRoom);
        match self.0 {
            0 => 0,
            set if set & !near.0 == 0 => 1,
            _ => 2,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rule_has_its_bit() {
        for (at, rule) in ALL.into_iter().enumerate() {
            assert_eq!(rule as usize, at);
            assert!(Rules::default().with(rule).iter().eq([rule]));
        }
    }
}
