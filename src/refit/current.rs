//! The supply current at rest, from the sheets of the families.

use super::result::AtRest;
use crate::circuit::{Chip, Circuit};
use crate::part::{ColumnKind, LevelName};
use crate::quantity::Current;
use std::collections::BTreeSet;

/// The sum over all chips that are fed. What switching adds is not in it.
pub(super) fn at_rest(circuit: &Circuit) -> AtRest {
    let mut sum = Current::ZERO;
    let mut found = AtRest::default();
    let mut without = BTreeSet::new();
    for chip in circuit.chips.values().filter(|chip| chip.fed) {
        match of(chip) {
            Some(current) => {
                sum = sum.saturating_add(current);
                found.chips += 1;
            }
            None => {
                without.insert(chip.number.clone());
            }
        }
    }
    found.current = sum.to_string();
    found.without = without.into_iter().collect();
    found
}

/// The largest limit that the family's sheet gives at the supply voltage that is nearest; the typical figure without one.
fn of(chip: &Chip) -> Option<Current> {
    let family = chip.electrical.as_ref()?;
    let level = (family.figures(LevelName::SupplyCurrent))
        .min_by_key(|level| (level.supply.raw() - chip.supply.raw()).abs())?;
    let most = |wanted: &dyn Fn(ColumnKind) -> bool| {
        let figures = family.columns.iter().zip(&level.figures);
        figures.filter(|(column, _)| wanted(column.kind)).filter_map(|(_, figure)| (*figure)?.as_current()).max()
    };
    most(&|kind| kind != ColumnKind::Typ).or_else(|| most(&|_| true))
}
