//! Families: the electrical sheets of a logic family.

use super::{Column, Word};
use crate::quantity::{Quantity, Voltage};
use crate::text::Spanned;

/// The electrical sheet of a logic family.
#[derive(Clone, Debug)]
pub struct Family {
    /// `HC`.
    pub name: Word,
    /// In words.
    pub title: String,
    /// Publisher, document and date.
    pub sources: Vec<Spanned<String>>,
    /// What the numbers of each row are.
    pub columns: Vec<Column>,
    /// The supply range.
    pub supply: Option<(Voltage, Voltage)>,
    /// How its delays compare with those of other families.
    pub estimates: Vec<Estimate>,
    /// Rows by supply voltage.
    pub blocks: Vec<LevelBlock>,
    /// Remarks.
    pub notes: Vec<Spanned<String>>,
}

/// `estimate from HC 40..70 %`: how long the delays of a family are, compared with those of another one.
#[derive(Clone, Debug)]
pub struct Estimate {
    /// The family whose sheets stand in.
    pub base: Word,
    /// Least share, in thousandths of a percent.
    pub least: i64,
    /// Most share, in thousandths of a percent.
    pub most: i64,
    /// Where the shares come from.
    pub source: Option<Spanned<String>>,
}

/// `at 4.5 V { ... }` of a family.
#[derive(Clone, Debug)]
pub struct LevelBlock {
    /// Supply voltage.
    pub voltage: Voltage,
    /// The rows.
    pub rows: Vec<LevelRow>,
}

/// One electrical figure.
#[derive(Clone, Debug)]
pub struct LevelRow {
    /// `input-high`, `output-low`, ...
    pub name: Spanned<LevelName>,
    /// The current at which an output level holds.
    pub at: Option<Quantity>,
    /// One figure a column.
    pub figures: Vec<Option<Quantity>>,
    /// A source of its own, where it differs from the sheet's.
    pub source: Option<Spanned<String>>,
}

/// The electrical figures of a family.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, serde::Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum LevelName {
    /// Least voltage that counts as high.
    InputHigh,
    /// Most voltage that counts as low.
    InputLow,
    /// High output voltage.
    OutputHigh,
    /// Low output voltage.
    OutputLow,
    /// High voltage of a bus output.
    BusOutputHigh,
    /// Low voltage of a bus output.
    BusOutputLow,
    /// Current into an input at high.
    InputCurrentHigh,
    /// Current out of an input at low.
    InputCurrentLow,
    /// Leakage of an output that is off.
    OffCurrent,
    /// Quiescent supply current of a package.
    SupplyCurrent,
    /// Capacitance of an input.
    InputCapacitance,
    /// Absolute maximum of the current through an output.
    OutputCurrentLimit,
    /// The same of a bus output.
    BusOutputCurrentLimit,
    /// Absolute maximum of the current through the power or the ground pin.
    SupplyPinCurrentLimit,
    /// The same of a part with bus outputs.
    BusSupplyPinCurrentLimit,
    /// Supply current that an input at a TTL high level adds.
    ExtraSupplyCurrent,
    /// Current of an output at high that is held at ground.
    ShortCircuitCurrent,
    /// The same of a bus output.
    BusShortCircuitCurrent,
    /// How much longer a delay is for so much more load at the output.
    LoadDelay,
    /// The same for the stronger outputs of bus drivers.
    BusLoadDelay,
    /// Absolute maximum of the voltage at an input, whatever the supply.
    InputVoltageLimit,
    /// Absolute maximum of the voltage at an output that is off, whatever the supply.
    OutputVoltageLimit,
    /// Absolute maximum of the current through the clamp of an input.
    InputClampLimit,
    /// The slowest edge that an input is made for: from 10 % to 90 %, or for each volt.
    InputTransition,
}
