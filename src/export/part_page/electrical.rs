//! The electrical figures of a part's families.

use super::rows::{Conditions, Figures, Range, distance, figures, over};
use crate::part::{Family, LevelName, Part, PinKind};
use crate::quantity::{Quantity, Voltage};
use serde::Serialize;

/// The electrical figures of one family.
#[derive(Clone, Debug, Serialize)]
pub struct ElectricalPage {
    /// `HC`.
    pub name: String,
    pub title: String,
    /// Least and most supply voltage.
    pub supply: Option<(Voltage, Voltage)>,
    /// Publisher, document and date.
    pub sources: Vec<String>,
    pub notes: Vec<String>,
    /// The supply nearest to 5 V.
    pub at: Option<Conditions>,
    /// The temperatures of the third figure.
    pub over: Option<Range>,
    /// The figures, those of one name by rising current.
    pub levels: Vec<LevelRow>,
}

/// One electrical figure.
#[derive(Clone, Debug, Serialize)]
pub struct LevelRow {
    pub name: LevelName,
    /// The output current that it holds at.
    pub current: Option<Quantity>,
    pub figures: Figures,
    /// Where they hold.
    pub at: Conditions,
    /// A source of its own.
    pub source: Option<String>,
}

/// The electrical figures, in the order of a page, with the words that part files have for them.
pub const LEVELS: &[(LevelName, &str)] = &[
    (LevelName::InputHigh, "input-high"),
    (LevelName::InputLow, "input-low"),
    (LevelName::OutputHigh, "output-high"),
    (LevelName::OutputLow, "output-low"),
    (LevelName::BusOutputHigh, "bus-output-high"),
    (LevelName::BusOutputLow, "bus-output-low"),
    (LevelName::InputCurrentHigh, "input-current-high"),
    (LevelName::InputCurrentLow, "input-current-low"),
    (LevelName::OffCurrent, "off-current"),
    (LevelName::SupplyCurrent, "supply-current"),
    (LevelName::InputCapacitance, "input-capacitance"),
    (LevelName::OutputCurrentLimit, "output-current-limit"),
    (LevelName::BusOutputCurrentLimit, "bus-output-current-limit"),
    (LevelName::SupplyPinCurrentLimit, "supply-pin-current-limit"),
    (LevelName::BusSupplyPinCurrentLimit, "bus-supply-pin-current-limit"),
    (LevelName::ExtraSupplyCurrent, "extra-supply-current"),
    (LevelName::ShortCircuitCurrent, "short-circuit-current"),
    (LevelName::BusShortCircuitCurrent, "bus-short-circuit-current"),
    (LevelName::LoadDelay, "load-delay"),
    (LevelName::BusLoadDelay, "bus-load-delay"),
    (LevelName::InputVoltageLimit, "input-voltage-limit"),
    (LevelName::OutputVoltageLimit, "output-voltage-limit"),
    (LevelName::InputClampLimit, "input-clamp-limit"),
    (LevelName::InputTransition, "input-transition"),
];

impl ElectricalPage {
    /// The figures of a family that matter for a part, at the supply nearest to 5 V.
    pub fn new(family: &Family, part: &Part) -> ElectricalPage {
        let over = over(&family.columns);
        let nearest =
            |voltages: &mut dyn Iterator<Item = Voltage>| voltages.min_by_key(|&voltage| (distance(voltage), voltage));
        let conditions = |voltage| Conditions { voltage, load: None };
        let mut levels = Vec::new();
        // A part that always drives has neither bus outputs nor an off-state.
        let lets_go =
            part.pins.iter().any(|pin| matches!(pin.kind, PinKind::ThreeState | PinKind::OpenDrain | PinKind::InOut));
        let of_bus = |name: LevelName| {
            matches!(
                name,
                LevelName::BusOutputHigh
                    | LevelName::BusOutputLow
                    | LevelName::OffCurrent
                    | LevelName::OutputVoltageLimit
                    | LevelName::BusOutputCurrentLimit
                    | LevelName::BusSupplyPinCurrentLimit
                    | LevelName::BusShortCircuitCurrent
            )
        };
        let names = LEVELS.iter().map(|&(name, _)| name);
        for name in names.filter(|&name| lets_go || !of_bus(name)) {
            let Some(supply) = nearest(&mut family.figures(name).map(|level| level.supply)) else {
                continue;
            };
            let mut found: Vec<_> = family.figures(name).filter(|level| level.supply == supply).collect();
            found.sort_by_key(|level| level.at);
            levels.extend(found.into_iter().map(|level| LevelRow {
                name,
                current: level.at,
                figures: figures(&family.columns, &level.figures, over),
                at: conditions(supply),
                source: level.source.clone(),
            }));
        }
        ElectricalPage {
            name: family.name.clone(),
            title: family.title.clone(),
            supply: family.supply,
            sources: family.sources.clone(),
            notes: family.notes.clone(),
            at: nearest(&mut family.levels.iter().map(|level| level.supply)).map(conditions),
            over,
            levels,
        }
    }
}
