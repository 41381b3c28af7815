//! The delay tables of all chips of a circuit.

use super::pull_up_rise::pull_up_rise;
use super::random::generator;
use super::{Conditions, DelayTable, Delays, Rule};
use crate::circuit::{Chip, ChipKey, Circuit};
use crate::electrical::Capacitances;
use crate::key::{Key, KeyVec};
use crate::language::ast::Corner;
use crate::part::Part;
use crate::quantity::{Capacitance, Temperature, Voltage};
use rand_core::Rng;
use rustc_hash::FxHashMap;
use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

/// Delay tables: one for all chips that are alike and drive the same loads. In a random corner these are the slowest
/// ones, and each chip has delays of its own besides.
#[derive(Clone, Debug, Default)]
pub struct ChipDelays {
    /// The tables, in the order of the first chip that has each.
    pub tables: Vec<DelayTable>,
    /// The row of `tables` of each chip.
    pub of: KeyVec<ChipKey, u32>,
    /// In a random corner, the delays of each chip, laid out as in [`DelayTable::delays`].
    pub own: Option<KeyVec<ChipKey, Vec<Delays>>>,
    /// Rules that filled gaps, with the numbers of the parts that are fed and rest on them.
    pub rules: BTreeMap<Rule, BTreeSet<String>>,
}

/// What makes two chips alike.
type Kind = (*const Part, Option<usize>, Voltage, Option<String>, Vec<Capacitance>, Vec<u32>);

/// The tables of one corner, each made when it is asked for.
pub(crate) struct CornerTables<'a> {
    circuit: &'a Circuit,
    corner: Corner,
    temperature: Option<Temperature>,
    capacitances: Capacitances,
    known: FxHashMap<Kind, usize>,
    of: KeyVec<ChipKey, Option<usize>>,
    tables: Vec<DelayTable>,
}

impl ChipDelays {
    /// The tables of a circuit in a corner, at a temperature if one is asked for.
    pub fn new(circuit: &Circuit, corner: Corner, temperature: Option<Temperature>) -> ChipDelays {
        let in_corner = |corner| CornerTables::new(circuit, corner, temperature);
        let mut found = ChipDelays::default();
        let widest = match corner {
            Corner::Random(_) => Corner::Slowest,
            corner => corner,
        };
        let mut shared = in_corner(widest);
        found.of = circuit.chips.keys().map(|key| shared.of(key) as u32).collect();
        if let Corner::Random(seed) = corner {
            let mut fastest = in_corner(Corner::Fastest);
            let own = circuit.chips.keys().map(|key| {
                let fast = fastest.of(key);
                let mut random = generator(seed, key.index() as u64 + 2);
                let mut draw = |range: u32| ((u64::from(random.next_u32()) * (u64::from(range) + 1)) >> 32) as u32;
                let slow = &shared.tables[found.of[key] as usize];
                DelayTable::between(&fastest.tables[fast], slow, &mut draw)
            });
            found.own = Some(own.collect());
        }
        found.tables = std::mem::take(&mut shared.tables);
        found.note(circuit, &shared.capacitances);
        found
    }

    /// The table of a chip.
    pub fn table(&self, chip: ChipKey) -> &DelayTable {
        &self.tables[self.of[chip] as usize]
    }

    fn note(&mut self, circuit: &Circuit, capacitances: &Capacitances) {
        self.rules = capacitances.rules.clone();
        for (key, chip) in circuit.chips.iter().filter(|(_, chip)| chip.fed) {
            for &rule in &self.tables[self.of[key] as usize].rules {
                let numbers = self.rules.entry(rule).or_default();
                numbers.insert(chip.number.clone());
            }
        }
    }
}

impl<'a> CornerTables<'a> {
    /// The tables of a circuit in a corner that is not random, at a temperature if one is asked for.
    pub(crate) fn new(circuit: &'a Circuit, corner: Corner, temperature: Option<Temperature>) -> CornerTables<'a> {
        CornerTables {
            circuit,
            corner,
            temperature,
            capacitances: Capacitances::new(circuit, corner == Corner::Slowest),
            known: FxHashMap::default(),
            of: KeyVec::filled(circuit.chips.len(), None),
            tables: Vec::new(),
        }
    }

    /// The table of a chip.
    pub(crate) fn table(&mut self, chip: ChipKey) -> &DelayTable {
        let row = match self.of[chip] {
            Some(row) => row,
            None => {
                let row = self.of(chip);
                self.of[chip] = Some(row);
                row
            }
        };
        &self.tables[row]
    }

    fn of(&mut self, key: ChipKey) -> usize {
        let chip: &Chip = &self.circuit.chips[key];
        let pins = chip.part.function.outputs.iter();
        let loads: Vec<Capacitance> = pins.map(|&pin| self.capacitances.load(self.circuit, key, pin)).collect();
        let rises: Vec<u32> =
            (0..loads.len()).map(|to| pull_up_rise(self.circuit, &self.capacitances, self.corner, key, to)).collect();
        let sheet = chip.sheet.map(|sheet| &chip.part.sheets[sheet]);
        let conditions = Conditions {
            supply: chip.supply,
            corner: self.corner,
            temperature: self.temperature,
            loads: Some(&loads),
            family: chip.electrical.as_deref(),
            estimate: chip.estimate.as_ref(),
        };
        let kind =
            (Arc::as_ptr(&chip.part), chip.sheet, chip.supply, chip.family.clone(), loads.clone(), rises.clone());
        if let Some(&known) = self.known.get(&kind) {
            return known;
        }
        let mut table = DelayTable::new(&chip.part, sheet, &conditions);
        table.pull_up_rise(&chip.part, self.corner, &rises);
        self.tables.push(table);
        self.known.insert(kind, self.tables.len() - 1);
        self.tables.len() - 1
    }
}
