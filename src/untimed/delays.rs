//! Delays of the chips that the engine without them asks for: those before clocks, for skew, and of oscillators.

use crate::circuit::{ChipKey, Circuit};
use crate::delay::{CornerTables, Transition};
use crate::language::ast::Corner;
use crate::quantity::Time;
use crate::run::Settings;

/// The delays of the chips that somebody asks for.
pub(super) struct Delays<'c> {
    /// Those in the fastest corner, where the corner is random.
    fastest: Option<CornerTables<'c>>,
    slowest: CornerTables<'c>,
}

impl<'c> Delays<'c> {
    pub(super) fn new(circuit: &'c Circuit, settings: Settings) -> Delays<'c> {
        let tables = |corner| CornerTables::new(circuit, corner, settings.temperature);
        match settings.corner {
            Corner::Random(_) => Delays { fastest: Some(tables(Corner::Fastest)), slowest: tables(Corner::Slowest) },
            corner => Delays { fastest: None, slowest: tables(corner) },
        }
    }

    /// After how long an oscillator starts at the latest.
    pub(super) fn start_up(&mut self, chip: ChipKey) -> Time {
        self.slowest.table(chip).start_up
    }

    /// The least and the most from an input to an output, in picoseconds.
    pub(super) fn range(&mut self, chip: ChipKey, input: u32, output: u32) -> (i64, i64) {
        let of = |tables: &mut CornerTables<'_>| {
            let table = tables.table(chip);
            let both = [Transition::Rise, Transition::Fall]
                .map(|how| i64::from(table.delay(input as usize, output as usize, how)));
            (both[0].min(both[1]), both[0].max(both[1]))
        };
        let slow = of(&mut self.slowest);
        let fast = self.fastest.as_mut().map_or(slow, of);
        (fast.0, slow.1)
    }
}
