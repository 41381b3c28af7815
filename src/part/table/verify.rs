//! Running a part's function against its published tables.
//!
//! Each row is run several times. Storage starts with random known bits, and inputs that do not matter take unknown
//! and random levels. So a row passes only if the model does what is published from every start and whatever the
//! other inputs do.

use super::{Column, FunctionTable, InputCell, OutputCell, Row};
use crate::diagnostic::Diagnostic;
use crate::logic::Word;
use crate::part::function::memory::MemoryArray;
use crate::part::function::{ChipState, Drive, Function, SampledInputs, Scratch};
use crate::part::{Part, PinKind};
use crate::text::Span;
use rand_chacha::ChaCha8Rng;
use rand_core::{Rng, SeedableRng};

/// How often each row is run.
const ROUNDS: usize = 32;

/// A row of a table that the model does not follow.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TableFailure {
    pub part: String,
    pub row: Span,
    /// What was applied, column by column.
    pub inputs: String,
    /// The output column.
    pub output: String,
    /// What is published, the most significant bit first: `L`, `H`, `Z` for off, `X` for unknown.
    pub expected: String,
    /// What the model drove.
    pub found: String,
}

impl std::fmt::Display for TableFailure {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        let TableFailure { part, inputs, output, expected, found, .. } = self;
        write!(f, "{part}: `{output}` is {found} where {expected} is published, with {inputs}")
    }
}

impl TableFailure {
    /// The failure as a message that shows the row.
    pub fn to_diagnostic(&self) -> Diagnostic {
        let TableFailure { part, inputs, output, expected, found, .. } = self;
        let message = format!("the part {part} does not follow its function table");
        Diagnostic::error("function-table", message)
            .at(self.row, format!("`{output}` is {found} where {expected} is published"))
            .note(format!("applied: {inputs}"))
            .help("mend the formulas, or the row; every input that matters must stand in the heading")
    }
}

/// Runs every row of the part's tables. The same seed gives the same failures, one for each output column of a row.
pub fn verify(part: &Part, seed: u64) -> Vec<TableFailure> {
    let mut bench =
        TableRun { part, random: ChaCha8Rng::seed_from_u64(seed), scratch: Scratch::default(), memories: Vec::new() };
    bench.fill_memories();
    let rows = part.tables.iter().flat_map(|table| table.rows.iter().map(move |row| (table, row)));
    rows.flat_map(|(table, row)| bench.row(table, row)).collect()
}

struct TableRun<'a> {
    part: &'a Part,
    random: ChaCha8Rng,
    scratch: Scratch,
    /// Memories full of random words.
    memories: Vec<MemoryArray>,
}

/// What a row does in one round.
struct Round {
    /// The input word before the edges, or before the inputs that do not matter move.
    first: Word,
    /// The input word afterwards.
    second: Word,
    before: Drive,
    after: Drive,
}

impl TableRun<'_> {
    fn fill_memories(&mut self) {
        for shape in &self.part.function.memories {
            let mut memory = MemoryArray::blank(shape);
            for index in 0..memory.len() {
                memory.set(index, Word::known(self.random.next_u64()));
            }
            self.memories.push(memory);
        }
    }

    /// The failures of the first round that has some.
    fn row(&mut self, table: &FunctionTable, row: &Row) -> Vec<TableFailure> {
        for number in 0..ROUNDS {
            let round = self.round(table, row, number);
            let failures = self.compare(table, row, &round);
            if !failures.is_empty() {
                return failures;
            }
        }
        Vec::new()
    }

    fn round(&mut self, table: &FunctionTable, row: &Row, number: usize) -> Round {
        let (first, second) = self.inputs(table, row, number);
        let function: &Function = &self.part.function;
        let scratch = &mut self.scratch;
        let mut stored = ChipState {
            state: Word::known(self.random.next_u64() & function.state_mask() & !function.zero_at_power_up),
            memories: self.memories.clone(),
        };
        let start = SampledInputs { inputs: first, nodes: function.nodes(first, &stored, scratch) };
        let mut settled = function.step(start, first, &mut stored, scratch);
        let before = function.drive(settled, &stored, scratch);
        let middle = top_of_pulse(table, row, first);
        if middle != first {
            settled = function.step(settled, middle, &mut stored, scratch);
        }
        let sampled = function.step(settled, second, &mut stored, scratch);
        let after = function.drive(sampled, &stored, scratch);
        Round { first, second, before, after }
    }

    /// The input words before and after. Inputs that the heading does not name stay unknown.
    fn inputs(&mut self, table: &FunctionTable, row: &Row, round: usize) -> (Word, Word) {
        let listed = mask(table.inputs.iter());
        let unlisted = Word::all_unknown(self.part.function.input_mask() & !listed);
        let (mut first, mut second) = (unlisted, unlisted);
        // With an edge, everything else stands still.
        let edges = row.inputs.iter().any(|cell| matches!(cell, InputCell::Rise | InputCell::Fall | InputCell::Pulse));
        for (column, cell) in table.inputs.iter().zip(&row.inputs) {
            let ones = Word::mask(column.width());
            let (start, end) = match cell {
                InputCell::Low | InputCell::Pulse => (Word::known(0), Word::known(0)),
                InputCell::High => (Word::known(ones), Word::known(ones)),
                InputCell::Number(number) => (Word::known(*number), Word::known(*number)),
                InputCell::Rise => (Word::known(0), Word::known(ones)),
                InputCell::Fall => (Word::known(ones), Word::known(0)),
                InputCell::Any => {
                    let start = self.any(round, 0, ones);
                    let end = if edges { start } else { self.any(round, 1, ones) };
                    (start, end)
                }
            };
            put(&mut first, &column.bits, start);
            put(&mut second, &column.bits, end);
        }
        (first, second)
    }

    /// A value of an input that does not matter: the plain cases in the first rounds, then mixed ones.
    fn any(&mut self, round: usize, moment: usize, ones: u64) -> Word {
        let random = self.random.next_u64() & ones;
        match (round, moment) {
            (0, _) | (1, 0) | (2, 1) => Word::all_unknown(ones),
            (3, 0) | (4, 1) => Word::known(0),
            (3, 1) | (4, 0) => Word::known(ones),
            (5..=15, _) | (1 | 2, _) => Word::known(random),
            _ => Word::new(random, self.random.next_u64() & self.random.next_u64() & ones),
        }
    }

    fn compare(&self, table: &FunctionTable, row: &Row, round: &Round) -> Vec<TableFailure> {
        let mut failures = Vec::new();
        for (column, cell) in table.outputs.iter().zip(&row.outputs) {
            let found = self.driven(round.after, &column.bits);
            let expected = self.expected(table, column, *cell, round);
            if expected == Ok(found) {
                continue;
            }
            let width = column.width();
            failures.push(TableFailure {
                part: self.part.name.clone(),
                row: row.span,
                inputs: applied(table, row, round),
                output: column.name.clone(),
                expected: match expected {
                    Ok(expected) => text(expected, width),
                    Err(before) => format!("`{cell}` (it was {})", text(before, width)),
                },
                found: text(found, width),
            });
        }
        failures
    }

    /// What is published of a column, or what it was before when that tells nothing.
    fn expected(
        &self,
        table: &FunctionTable,
        column: &Column,
        cell: OutputCell,
        round: &Round,
    ) -> Result<Drive, Drive> {
        let ones = Word::mask(column.width());
        let before = self.driven(round.before, &column.bits);
        let known = before.off.unknown | before.value.unknown == 0;
        let counted = |step: u64| match before {
            Drive { value: Word { value, .. }, off } if known && off == Word::known(0) => {
                Ok(level(Word::known(value.wrapping_add(step) & ones)))
            }
            _ => Err(before),
        };
        let input = |index: usize| {
            let column = &table.inputs[index];
            let word = take(round.second, &column.bits);
            if column.width() == 1 { word.splat(ones) } else { word }
        };
        Ok(match cell {
            OutputCell::Low => level(Word::known(0)),
            OutputCell::High => level(Word::known(ones)),
            OutputCell::Number(number) => level(Word::known(number)),
            OutputCell::Off => {
                let off = Drive { value: Word::known(0), off: Word::known(u64::MAX) };
                self.driven(off, &column.bits)
            }
            OutputCell::Hold if known => before,
            OutputCell::Hold => return Err(before),
            OutputCell::Up => counted(1)?,
            OutputCell::Down => counted(u64::MAX)?,
            OutputCell::Toggle => level(counted(0)?.value.not(ones)),
            OutputCell::Same(index) => level(input(index)),
            OutputCell::Opposite(index) => level(input(index).not(ones)),
        })
    }

    /// The outputs of a column. A pin that only pulls low counts as high when it lets go, and the level of any other
    /// pin that has let go as low.
    fn driven(&self, drive: Drive, bits: &[usize]) -> Drive {
        let (mut value, off) = (take(drive.value, bits), take(drive.off, bits));
        let function = &self.part.function;
        let open_drain = bits.iter().enumerate().fold(0, |mask, (at, &bit)| {
            let kind = self.part.pins[function.outputs[bit]].kind;
            mask | u64::from(kind == PinKind::OpenDrain) << at
        });
        let pulled = off.and(Word::known(open_drain));
        let released = off.and(Word::known(!open_drain));
        value = value.or(pulled).and(released.not(u64::MAX));
        Drive { value, off: released }
    }
}

/// The inputs while the pulses of a row are high.
fn top_of_pulse(table: &FunctionTable, row: &Row, first: Word) -> Word {
    let columns = table.inputs.iter().zip(&row.inputs);
    let pulses = columns.filter(|(_, cell)| **cell == InputCell::Pulse);
    let high = mask(pulses.map(|(column, _)| column));
    first.or(Word::known(high))
}

/// Outputs that are all on.
fn level(value: Word) -> Drive {
    Drive { value, off: Word::known(0) }
}

/// The mask of all bits under some columns.
fn mask<'a>(columns: impl Iterator<Item = &'a Column>) -> u64 {
    columns.flat_map(|column| &column.bits).fold(0, |mask, bit| mask | 1 << bit)
}

/// The bits of a column out of a word.
fn take(word: Word, bits: &[usize]) -> Word {
    bits.iter().rev().fold(Word::default(), |high, &bit| Word::concat(high, word.slice(bit as u32, 1), 1))
}

/// Puts the value of a column to its places in a word.
fn put(word: &mut Word, bits: &[usize], value: Word) {
    for (at, &place) in bits.iter().enumerate() {
        let bit = value.slice(at as u32, 1);
        word.value |= bit.value << place;
        word.unknown |= bit.unknown << place;
    }
}

/// A letter for each output, the most significant first.
fn text(drive: Drive, width: u32) -> String {
    let letter = |bit: u32| {
        let (off, level) = (drive.off.slice(bit, 1), drive.value.slice(bit, 1));
        match (off.unknown | (level.unknown & !off.value), off.value, level.value) {
            (1, ..) => 'X',
            (_, 1, _) => 'Z',
            (_, _, 1) => 'H',
            _ => 'L',
        }
    };
    (0..width).rev().map(letter).collect()
}

/// Every input column with its cell; what does not matter also with the levels that it had.
fn applied(table: &FunctionTable, row: &Row, round: &Round) -> String {
    let columns = table.inputs.iter().zip(&row.inputs).map(|(column, cell)| {
        if *cell != InputCell::Any {
            return format!("{}={cell}", column.name);
        }
        let levels = |word| text(level(take(word, &column.bits)), column.width());
        let (first, second) = (levels(round.first), levels(round.second));
        if first == second {
            format!("{}=*({first})", column.name)
        } else {
            format!("{}=*({first} to {second})", column.name)
        }
    });
    columns.collect::<Vec<_>>().join(" ")
}
