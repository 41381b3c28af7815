//! Edits of supplies and rails.

use super::refusal::{Edited, gone, refuse};
use crate::model::things::{Model, SegmentId, SupplyId};
use crate::quantity::Voltage;

impl Model {
    /// Sets a bench supply to another voltage.
    ///
    /// # Errors
    /// When it is gone, or the voltage is not above zero.
    pub fn set_voltage(&mut self, supply: SupplyId, voltage: Voltage) -> Edited {
        let supply = self.supplies.get_mut(supply).ok_or_else(|| gone("supply"))?;
        if voltage <= Voltage::ZERO {
            let message = format!("{} needs a voltage above zero", supply.name);
            return Err(refuse(message, "write it as in `5 V`"));
        }
        supply.voltage = voltage;
        Ok(())
    }

    /// Takes a bench supply away.
    ///
    /// # Errors
    /// When it is gone.
    pub fn remove_supply(&mut self, supply: SupplyId) -> Edited {
        let supply = self.supplies.remove(supply).ok_or_else(|| gone("supply"))?;
        self.supply_names.shift_remove(&supply.name);
        Ok(())
    }

    /// Lets the bench give a rail of a board that stands alone another voltage than the declared one.
    ///
    /// # Errors
    /// When it is no rail, or the design is an assembly.
    pub fn set_bench_voltage(&mut self, rail: SegmentId, voltage: Voltage) -> Edited {
        self.check_rail(rail)?;
        if self.assembly {
            let message = "the rails of an assembly are fed by its supplies".to_owned();
            return Err(refuse(message, "change the voltage of a supply"));
        }
        self.bench.insert(rail, voltage);
        Ok(())
    }

    /// Leaves a rail without a supply, whatever leads to it.
    ///
    /// # Errors
    /// When it is no rail.
    pub fn unfeed(&mut self, rail: SegmentId) -> Edited {
        self.check_rail(rail)?;
        self.unfed.insert(rail, ());
        Ok(())
    }

    fn check_rail(&self, segment: SegmentId) -> Edited {
        let row = self.segments.get(segment).ok_or_else(|| gone("copper"))?;
        if row.rail.is_none() {
            let message = format!("{} is no rail", self.segment_path(segment));
            return Err(refuse(message, "name copper that its board declares as a rail"));
        }
        Ok(())
    }
}
