//! Instructions as they begin on the board: tables of them, a profile, and the comparison with what they should do.

use super::Runner;
use super::following::{Agreement, Begun, Copied, OnBoard, Profile, Routine};
use crate::circuit::{ChipKey, Signal};
use crate::contents::behaviour::{Behaviour, Memory};
use crate::diagnostic::count;
use crate::logic::Word;
use crate::run::Engine;
use crate::text::Span;
use crate::trial::condition::Ready;
use crate::trial::look::{Look, cell, word};
use crate::trial::prepare::Machine;
use crate::trial::report::Table;
use std::collections::BTreeSet;

/// Rows that a table keeps.
const MOST_ROWS: usize = 100_000;

impl Runner<'_> {
    /// Begins to follow the instructions of the trial's machine.
    fn follow(&mut self) -> Option<&Machine> {
        let machine = self.prepared.machine.as_ref()?;
        if self.follower.strobe.is_none() {
            let signals = machine.registers.iter().map(|(_, signal)| signal);
            signals.for_each(|signal| self.keep(signal));
            if let Some(condition) = &machine.condition {
                condition.form.signals().into_iter().for_each(|signal| self.keep(signal));
            }
            self.follower.strobe = Some(self.strobe(&machine.strobe));
        }
        Some(machine)
    }

    pub(super) fn show_instructions(&mut self, fields: &[(String, Signal, Look)]) {
        if self.follow().is_none() {
            return;
        }
        fields.iter().for_each(|(_, signal, _)| self.keep(signal));
        let mut columns = vec!["address".to_owned(), "instruction".to_owned()];
        columns.extend(fields.iter().map(|(name, ..)| name.clone()));
        columns.push("clocks".to_owned());
        let table = self.report.tables.len();
        self.report.tables.push(Table { when: "each instruction".to_owned(), columns, rows: Vec::new(), cut: false });
        self.follower.tables.push((table, fields.to_vec()));
    }

    pub(super) fn profile(&mut self) {
        if self.follow().is_some() {
            self.follower.profile = Some(Profile::default());
        }
    }

    /// From the next instruction on the board is compared with what its instructions say.
    pub(super) fn agree(&mut self, span: Span) {
        if self.follow().is_some() {
            let memory = Copied { stretches: Vec::new(), written: Vec::new() };
            self.follower.agreement = Some(Agreement {
                span,
                registers: Vec::new(),
                memory,
                done: None,
                is_stale: false,
                compared: 0,
                addresses: BTreeSet::new(),
                forms: BTreeSet::new(),
            });
        }
    }

    /// Looks whether an instruction begins; false when the run is to end.
    pub(super) fn follow_instructions(&mut self) -> bool {
        let (Some(machine), Some(strobe)) = (&self.prepared.machine, &mut self.follower.strobe) else {
            return true;
        };
        if strobe.edge(&*self.machine) != Some(machine.edge) {
            return true;
        }
        let levels = |net| self.machine.level_before(net);
        match machine.condition.as_ref().map(|condition| (condition, condition.form.truth(&levels))) {
            Some((condition, None)) => return self.start_is_unknown(condition),
            Some((_, Some(false))) => return true,
            _ => {}
        }
        let words: Vec<Word> = machine.registers.iter().map(|(_, signal)| word(&levels, signal)).collect();
        self.end_instruction();
        let agrees = self.compare(machine, &words);
        self.begin_instruction(machine, words[machine.counter]);
        agrees
    }

    /// It is not known whether an instruction begins: once one has begun, a comparison ends there. False when the run is to
    /// end.
    fn start_is_unknown(&mut self, condition: &Ready) -> bool {
        if self.follower.begun.is_none() {
            return true;
        }
        let Some(agreement) = self.follower.agreement.take() else {
            return true;
        };
        let net = condition.form.culprit(&|net| self.machine.level_before(net));
        let done = count(agreement.compared as usize, "instruction");
        self.fail(agreement.span, format!("after {done}, it is unknown whether one begins: {}", condition.text), net);
        self.ended = true;
        false
    }

    /// A trial loads a memory: labels are no longer there, and a comparison takes the board over anew.
    pub(super) fn reload(&mut self, chip: ChipKey) {
        self.follower.loaded.insert(chip);
        if let Some(agreement) = &mut self.follower.agreement {
            agreement.is_stale = true;
        }
    }

    /// Writes down what the instruction that has been done came to.
    fn end_instruction(&mut self) {
        let Some(begun) = self.follower.begun.take() else {
            return;
        };
        let clocks = self.clock.as_ref().map_or(0, |clock| clock.rises) - begun.clocks;
        let levels = |net| self.machine.level_before(net);
        for (table, fields) in &self.follower.tables {
            let table = &mut self.report.tables[*table];
            if table.rows.len() >= MOST_ROWS {
                table.cut = true;
                continue;
            }
            let address = begun.address.map_or_else(|| "?".to_owned(), |address| format!("{address:04X}"));
            let mut cells = vec![address, begun.text.clone()];
            cells.extend(fields.iter().map(|(_, signal, look)| cell(&levels, signal, look)));
            cells.push(clocks.to_string());
            table.rows.push((begun.time, cells));
        }
        if let (Some(profile), Some(machine)) = (&mut self.follower.profile, &self.prepared.machine) {
            let name = match begun.address {
                None => "unknown address".to_owned(),
                Some(at) => routine(machine, at, &self.follower.loaded),
            };
            let new = Routine { first: begun.time, instructions: 0, clocks: 0 };
            let routine = profile.routines.entry(name).or_insert(new);
            routine.instructions += 1;
            routine.clocks += clocks;
        }
        if let Some(agreement) = &mut self.follower.agreement {
            agreement.done = Some(begun);
        }
    }

    fn begin_instruction(&mut self, machine: &Machine, counter: Word) {
        let address = (counter.unknown == 0).then_some(counter.value);
        let mut memory = OnBoard { engine: &*self.machine, memories: &machine.memories };
        let decoded = address.and_then(|address| machine.behaviour.decode(&mut memory, address));
        let text = match (address, &decoded) {
            (Some(address), Some(decoded)) => machine.behaviour.text(decoded, address),
            (Some(_), None) => "no instruction".to_owned(),
            (None, _) => "unknown address".to_owned(),
        };
        let clocks = self.clock.as_ref().map_or(0, |clock| clock.rises);
        self.follower.begun = Some(Begun { time: self.machine.now(), clocks, address, decoded, text });
    }

    /// Lets the instructions do what the board has done, and compares; false when they differ.
    fn compare(&mut self, machine: &Machine, words: &[Word]) -> bool {
        let Some(mut agreement) = self.follower.agreement.take() else {
            return true;
        };
        let stale = std::mem::take(&mut agreement.is_stale);
        let found = match agreement.done.take().filter(|_| !stale) {
            None => {
                agreement.begin(machine, &*self.machine);
                agreement.take_over(machine, words);
                None
            }
            Some(begun) => agreement.difference(machine, words, &begun, &*self.machine),
        };
        let Some((found, register)) = found else {
            self.follower.agreement = Some(agreement);
            return true;
        };
        let net = register.and_then(|(row, wrong)| {
            let nets = &machine.registers[row].1.nets;
            // The highest bit that differs; the first net is the most significant one.
            nets.iter().enumerate().find(|(at, _)| wrong >> (nets.len() - 1 - at) & 1 == 1).map(|(_, &net)| net)
        });
        self.fail(agreement.span, found, net);
        self.ended = true;
        false
    }

    /// The profile as a table, and what is left of the comparison.
    pub(super) fn finish_instructions(&mut self) {
        if let Some(profile) = self.follower.profile.take() {
            let total: u64 = profile.routines.values().map(|routine| routine.clocks).sum();
            let mut rows: Vec<(&String, &Routine)> = profile.routines.iter().collect();
            rows.sort_by_key(|(name, routine)| (std::cmp::Reverse(routine.clocks), *name));
            let rows = rows.into_iter().map(|(name, routine)| {
                let share = 100.0 * routine.clocks as f64 / total.max(1) as f64;
                let counts = [routine.instructions.to_string(), routine.clocks.to_string(), format!("{share:.1} %")];
                (routine.first, [name.clone()].into_iter().chain(counts).collect())
            });
            let columns = ["routine", "instructions", "clocks", "share"].map(str::to_owned).to_vec();
            let when = "routine, from when it first runs".to_owned();
            self.report.tables.push(Table { when, columns, rows: rows.collect(), cut: false });
        }
        let Some(mut agreement) = self.follower.agreement.take() else {
            return;
        };
        if agreement.compared == 0 {
            self.fail(agreement.span, "no instruction was done".to_owned(), None);
        } else if let Some(found) = self.prepared.machine.as_ref().and_then(|machine| {
            let written = std::mem::take(&mut agreement.memory.written);
            agreement.memory_differs(machine, &*self.machine, written)
        }) {
            self.fail(agreement.span, found, None);
        } else {
            let (forms, places) = (agreement.forms.len(), agreement.addresses.len());
            let all = self.prepared.machine.as_ref().map_or(0, |machine| machine.behaviour.mnemonics().count());
            let done = count(agreement.compared as usize, "instruction");
            let addresses = if places == 1 { "address" } else { "addresses" };
            self.report.remarks.push(format!("agreed: {done} at {places} {addresses}, {forms} of {all} forms"));
            self.report.expectations_passed += 1;
        }
    }
}

/// The label that an address stands behind; the address itself in a memory that the trial has loaded.
fn routine(machine: &Machine, address: u64, loaded: &BTreeSet<ChipKey>) -> String {
    let memory = machine.memories.iter().find(|(first, last, _)| (*first..=*last).contains(&address));
    if memory.is_some_and(|(_, _, chip)| loaded.contains(chip)) {
        return format!("{address:04X}");
    }
    let next = machine.labels.partition_point(|(at, _)| *at <= address);
    let label = next.checked_sub(1).map(|at| machine.labels[at].1.clone());
    label.unwrap_or_else(|| "before any label".to_owned())
}

impl Agreement {
    /// Takes the memory of the board over.
    fn begin(&mut self, machine: &Machine, engine: &dyn Engine) {
        let mut board = OnBoard { engine, memories: &machine.memories };
        let stretches = machine.memories.iter().map(|&(first, last, _)| {
            let bytes = (first..=last).map(|address| board.read(address));
            (first, bytes.collect())
        });
        let stretches = stretches.collect();
        self.memory.stretches = stretches;
        self.registers = vec![None; machine.behaviour.registers().len()];
    }

    /// Takes over what the board has in registers of which nothing is known yet, and in those that no instruction sets:
    /// what comes in from outside.
    fn take_over(&mut self, machine: &Machine, words: &[Word]) {
        for ((name, _), word) in machine.registers.iter().zip(words) {
            let Some(at) = machine.behaviour.register(name) else {
                continue;
            };
            let comes_in = !machine.behaviour.is_set(at);
            if comes_in || self.registers[at].is_none() {
                self.registers[at] = (word.unknown == 0).then_some(word.value);
            }
        }
    }

    /// What the board has done otherwise than its instruction says, and the register of the trial that shows it.
    fn difference(
        &mut self,
        machine: &Machine,
        words: &[Word],
        begun: &Begun,
        engine: &dyn Engine,
    ) -> Option<(String, Option<(usize, u64)>)> {
        let behaviour: &Behaviour = &machine.behaviour;
        let place = match begun.address {
            Some(address) => format!("{} at {address:04X}, begun at {}", begun.text, begun.time),
            None => format!("the instruction begun at {} has an unknown address", begun.time),
        };
        let Some(decoded) = begun.decoded.as_ref().filter(|_| begun.address.is_some()) else {
            return Some((place, Some((machine.counter, u64::MAX))));
        };
        if let Err(why) = behaviour.execute(decoded, &mut self.registers, &mut self.memory) {
            return Some((format!("{place}: {why}"), None));
        }
        self.compared += 1;
        self.addresses.extend(begun.address);
        self.forms.insert(decoded.form());
        for (row, ((name, signal), word)) in machine.registers.iter().zip(words).enumerate() {
            let Some(at) = behaviour.register(name).filter(|&at| behaviour.is_set(at)) else {
                continue;
            };
            let Some(wanted) = self.registers[at] else {
                continue;
            };
            if word.unknown != 0 || word.value != wanted {
                let width = signal.nets.len() as u32;
                let wrong = (word.value ^ wanted) | word.unknown;
                let (has, wanted) = (word.hex(width), Word::known(wanted).hex(width));
                return Some((format!("after {place}, {name} is 0x{has}, not 0x{wanted}"), Some((row, wrong))));
            }
        }
        self.take_over(machine, words);
        let written = std::mem::take(&mut self.memory.written);
        self.memory_differs(machine, engine, written).map(|found| (format!("after {place}, {found}"), None))
    }

    /// The first of some bytes that the board has otherwise.
    fn memory_differs(&mut self, machine: &Machine, engine: &dyn Engine, addresses: Vec<u64>) -> Option<String> {
        let mut board = OnBoard { engine, memories: &machine.memories };
        addresses.into_iter().find_map(|address| {
            let (wanted, found) = (self.memory.read(address)?, board.read(address));
            let shown = found.map_or_else(|| "unknown".to_owned(), |byte| format!("0x{byte:02X}"));
            (found != Some(wanted)).then(|| format!("the byte at {address:04X} is {shown}, not 0x{wanted:02X}"))
        })
    }
}
