//! Rules for what no sheet gives.

/// How a figure that no sheet gives was taken. Every result that rests on one names it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Rule {
    /// No shortest delay is published: a quarter of the typical one.
    FastestIsQuarterTypical,
    /// No shortest and no typical delay is published: an eighth of the limit.
    FastestIsEighthLimit,
    /// No typical delay is published: the limit.
    TypicalIsLimit,
    /// No limit is published: twice the typical delay.
    SlowestIsTwiceTypical,
    /// No limit over 0 to 70 C, or at the temperature asked for, is published: the widest range that is.
    LimitOfOtherTemperature,
    /// Between the temperatures of the sheet: a straight line.
    BetweenTemperatures,
    /// The typical delay at 25 C, longer or shorter by as much as the limits are.
    TypicalWithTemperature,
    /// Typical delays are published at 25 C only, and no limits tell what another temperature does.
    TypicalAtRoom,
    /// This path has no figure of its own: the longest of the other paths to that output.
    OtherPath,
    /// No output hold time of a memory is published: none at all.
    NoOutputHold,
    /// The part has no sheet: no delay at all.
    NoSheet,
    /// The supply is outside the sheet's voltages: the nearest one.
    NearestVoltage,
    /// The sheet gives one load: what a heavier one adds is that of the family.
    LoadOfFamily,
    /// The sheet gives one load, and the family tells nothing of others: the delay at that load.
    LoadNotCounted,
    /// The capacitance of the pins on a net is not published: 10 pF each.
    PinCapacitance,
    /// The family has no sheet of this part, and the design allows an estimate.
    FamilyEstimate,
    /// The sheet measures an open drain with a pull-up of its own: the time that the resistor of the design takes is added.
    PullUp,
}

impl Rule {
    /// The rule as a sentence for a report, with its source.
    pub fn sentence(self) -> &'static str {
        match self {
            Rule::FastestIsQuarterTypical => {
                "no shortest delay published: a quarter of the typical one (J. F. Wakerly, Digital Design: Principles and \
                 Practices, on estimating minimum delays; from memory)"
            }
            Rule::FastestIsEighthLimit => {
                "no shortest or typical delay published: an eighth of the limit, typical taken as half of it (after \
                 J. F. Wakerly, Digital Design: Principles and Practices; from memory)"
            }
            Rule::TypicalIsLimit => "no typical figure published: the limit",
            Rule::SlowestIsTwiceTypical => {
                "no limit published: twice the typical delay (common practice; not guaranteed)"
            }
            Rule::LimitOfOtherTemperature => "no limit for these temperatures published: the widest range that is",
            Rule::BetweenTemperatures => "between the temperatures of the sheet: a straight line",
            Rule::TypicalWithTemperature => {
                "typical delays published at 25 C: as much longer or shorter as the limits are"
            }
            Rule::TypicalAtRoom => "typical delays published at 25 C only: as at 25 C",
            Rule::OtherPath => "no figure for this path: the longest of the other paths to the same output",
            Rule::NoOutputHold => {
                "no output hold time published: a memory's output is unknown as soon as its address moves"
            }
            Rule::NoSheet => "no sheet: no delay",
            Rule::NearestVoltage => "supply outside the sheet's voltages: the nearest one",
            Rule::LoadOfFamily => "one load published: a heavier one adds what the sheet of the family tells",
            Rule::LoadNotCounted => "one load published, and none for the family: a heavier load is not counted",
            Rule::PinCapacitance => "no pin capacitance published: 10 pF each (common practice)",
            Rule::FamilyEstimate => {
                "no sheet in this family: estimated from another family's sheet, as the design allows"
            }
            Rule::PullUp => {
                "no delay published with this pull-up: the time that the resistor takes to lift the net is added (RC ln, \
                 every handbook)"
            }
        }
    }
}
