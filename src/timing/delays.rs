//! The delays of every chip: the one place that asks for delay tables.

use super::parts::Parts;
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::delay::wire::wire_delay;
use crate::delay::{ChipDelays as Sheets, DelayTable, Requirement, Rule, Transition as OutputTransition};
use crate::electrical::Capacitances;
use crate::key::KeyVec;
use crate::language::ast::Corner;
use rustc_hash::FxHashMap;
use std::collections::{BTreeMap, BTreeSet};

/// The delays of one chip: no edge comes earlier or later than these.
#[derive(Clone, Debug)]
pub struct ChipDelays {
    early: DelayTable,
    late: DelayTable,
}

/// A shortest and a longest delay in picoseconds, and the transition that is the longest.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Range {
    /// The shortest.
    pub early: u32,
    /// The longest.
    pub late: u32,
    /// What the output does when it takes the longest.
    pub how: OutputTransition,
}

/// The delays of all chips of a circuit.
#[derive(Clone, Debug, Default)]
pub struct Delays {
    tables: Vec<ChipDelays>,
    of: KeyVec<ChipKey, Option<u32>>,
    /// What loads each net.
    pub capacitances: Capacitances,
    /// Rules that filled gaps of the sheets, and the numbers of the parts that they were needed for.
    pub rules: BTreeMap<Rule, BTreeSet<String>>,
}

impl Delays {
    /// Reads the sheets of all chips.
    pub fn new(circuit: &Circuit, parts: Parts) -> Delays {
        let (early_corner, late_corner) = match parts {
            Parts::Fastest => (Corner::Fastest, Corner::Fastest),
            Parts::Typical => (Corner::Typical, Corner::Typical),
            Parts::Slowest => (Corner::Slowest, Corner::Slowest),
            Parts::Mixed => (Corner::Fastest, Corner::Slowest),
        };
        let (early, late) = (Sheets::new(circuit, early_corner, None), Sheets::new(circuit, late_corner, None));
        let mut delays = Delays {
            capacitances: Capacitances::new(circuit, late_corner == Corner::Slowest),
            rules: early.rules.clone(),
            ..Delays::default()
        };
        for (rule, numbers) in &late.rules {
            let known = delays.rules.entry(*rule).or_default();
            known.extend(numbers.iter().cloned());
        }
        let mut known: FxHashMap<(u32, u32), u32> = FxHashMap::default();
        for (key, chip) in circuit.chips.iter() {
            let row = chip.fed.then(|| {
                let alike = (early.of[key], late.of[key]);
                *known.entry(alike).or_insert_with(|| {
                    delays.tables.push(ChipDelays { early: early.table(key).clone(), late: late.table(key).clone() });
                    delays.tables.len() as u32 - 1
                })
            });
            delays.of.push(row);
        }
        delays
    }

    /// The delays of a chip, with a number that chips with the same delays share; `None` when it is not fed.
    pub fn of(&self, chip: ChipKey) -> Option<(u32, &ChipDelays)> {
        self.of[chip].map(|row| (row, &self.tables[row as usize]))
    }
}

/// The time that the cables of a net add, in picoseconds.
pub fn wire(circuit: &Circuit, net: NetKey) -> u32 {
    u32::try_from(wire_delay(circuit.nets[net].wire).ps()).unwrap_or(u32::MAX)
}

impl ChipDelays {
    /// The range of some transitions of one output after one input; no delay at all for no transition.
    pub fn range(&self, input: usize, output: usize, transitions: &[OutputTransition]) -> Range {
        let mut range: Option<Range> = None;
        for &how in transitions {
            let late = self.late.delay(input, output, how);
            let early = self.early.delay(input, output, how).min(late);
            let so_far = range.get_or_insert(Range { early, late, how });
            so_far.early = so_far.early.min(early);
            if late > so_far.late {
                (so_far.late, so_far.how) = (late, how);
            }
        }
        range.unwrap_or(Range { early: 0, late: 0, how: OutputTransition::Rise })
    }

    /// How long an output stays good after an input of a memory has moved; `None` for inputs that do not disturb.
    pub fn output_hold(&self, input: usize, output: usize) -> Option<u32> {
        let hold = |table: &DelayTable| {
            let disturbs = table.unsettled >> input & 1 == 1;
            let row = input * table.outputs + output;
            disturbs.then(|| table.output_hold.get(row).copied().unwrap_or(0))
        };
        match (hold(&self.early), hold(&self.late)) {
            (Some(one), Some(other)) => Some(one.min(other)),
            (one, other) => one.or(other),
        }
    }

    /// What the sheet asks for: the longest times.
    pub fn requirements(&self) -> &[Requirement] {
        &self.late.requirements
    }
}
