//! How the outputs and the storage of each piece are found: tables, programs, or the full function.

use super::draft::Draft;
use super::fill::Fill;
use super::machine::Machine;
use super::pieces::{Cell, Gate, Plan, Store, Unit, bits};
use super::signal::{NONE, Segment};
use crate::logic::Word;
use crate::part::function::two_state::{TiedInputs, TwoStateProgram};
use std::cmp::Reverse;
use std::sync::Arc;

/// What is to be found.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    /// The outputs, perhaps from a memory.
    Outputs { memory: bool },
    /// What is stored at an edge.
    Edge,
}

/// The most bits that a table is looked up by.
const WIDEST_TABLE: u32 = 14;
/// The most rows of all tables together: 64 MiB.
const MOST_ROWS: usize = 1 << 24;

impl Machine<'_> {
    /// What a table holds for what it is looked up by.
    #[inline(always)]
    pub(super) fn look_up(&mut self, first: u32, fill: u32, index: u64) -> u32 {
        let (fills, flats) = (&self.fills, &self.flats);
        self.tables.get_or(first, index, || fills[fill as usize].row(flats, index))
    }

    /// The line behind an input of a cell.
    pub(super) fn line(&self, cell: &Cell, input: u32) -> (u32, u32) {
        let pin = cell.part.function.inputs[input as usize];
        let net = self.circuit.chips[cell.chip].nets[pin];
        net.map_or((0, 0), |net| (self.places[net].signal, self.places[net].bit))
    }

    /// Segments that bring lines to places of a word.
    fn bring(&mut self, lines: &[((u32, u32), u32)]) -> (u32, u32) {
        let first = self.segments.len();
        for &((signal, bit), to) in lines {
            let turn = to.wrapping_sub(bit) & 63;
            let same =
                self.segments[first..].iter_mut().find(|segment| (segment.signal, segment.turn) == (signal, turn));
            match same {
                Some(segment) => segment.mask |= 1 << to,
                None => self.segments.push(Segment { signal, turn, mask: 1 << to }),
            }
        }
        (first as u32, self.segments.len() as u32)
    }

    pub(super) fn plan(&mut self, number: u32, draft: &mut Draft) {
        let cell_number = self.units[number as usize].cell;
        if self.cells[cell_number as usize].gather == (0, 0) {
            let cell = &self.cells[cell_number as usize];
            let lines: Vec<_> = bits(cell.variable).map(|input| (self.line(cell, input), input)).collect();
            self.cells[cell_number as usize].gather = self.bring(&lines);
        }
        let cell = &self.cells[cell_number as usize];
        let unit = &self.units[number as usize];
        let function = &cell.part.function;
        let (mut inputs, mut states, mut memory) = (0, 0, false);
        for output in bits(self.looked_at(unit)) {
            let both = [function.reads_of_value(output as usize), function.reads_of_off(output as usize)];
            for reads in both {
                inputs |= reads.inputs;
                states |= reads.states;
                memory |= reads.memory;
            }
        }
        let (variable, frozen) = (cell.variable, cell.frozen);
        let open = inputs & !variable & cell.fixed.unknown != 0;
        let clocked = function.plain_clock(unit.states);
        let oscillates = function.oscillator.is_some();
        let forbids = cell.forbids;
        // A clear stores nothing but constants; what a level takes from inputs is no plain register.
        let loads = function.reads_of_levels(unit.states).inputs & !unit.controls != 0;
        let stores = !frozen && (unit.states != 0 || !function.memories.is_empty());
        let data = unit.data & variable;
        let open_data = unit.data & !variable & cell.fixed.unknown != 0;
        let read_by_edge = function.reads_of_edges(unit.states).states & unit.states;
        let plain = clocked.filter(|_| !oscillates && !loads && !open_data);
        let unit = &mut self.units[number as usize];
        unit.drive_inputs = inputs & variable;
        unit.controls &= variable;
        unit.data = data;
        let states = states & unit.states;
        let fast = self.settings.fast_paths;
        let can = fast && unit.looped == NONE && !open && (!forbids || stores);
        self.units[number as usize].plan = if can {
            let kind = Kind::Outputs { memory };
            let tied = self.cells[cell_number as usize].fixed;
            self.plan_of(number, tied, (inputs & variable, states), kind, draft)
        } else {
            Plan::Full
        };
        if stores {
            if fast && plain.is_some() {
                self.find_gate(number, draft);
            }
            self.units[number as usize].store = match clocked {
                Some((_, edge)) if !oscillates && !loads => {
                    let plan = if open_data || !fast {
                        Plan::Full
                    } else {
                        // The gate of a register that holds is looked at first.
                        let unit = &self.units[number as usize];
                        let mut tied = self.cells[unit.cell as usize].fixed;
                        if let Some(gate) = unit.gate.filter(|gate| gate.holds) {
                            tied.unknown &= !(1 << gate.input);
                            tied.value |= u64::from(!gate.shut) << gate.input;
                        }
                        let reads = (data & tied.unknown, read_by_edge);
                        self.plan_of(number, tied, reads, Kind::Edge, draft)
                    };
                    Store::Register(edge, plan)
                }
                _ => Store::Other,
            };
        }
    }

    /// The outputs that somebody may see, and that are no stored bits.
    fn looked_at(&self, unit: &Unit) -> u64 {
        let cell = &self.cells[unit.cell as usize];
        let outputs = bits(unit.outputs & !unit.shown).filter(|&output| {
            let pin = cell.part.function.outputs[output as usize];
            self.circuit.chips[cell.chip].nets[pin].is_some()
        });
        outputs.fold(0, |mask, output| mask | 1 << output)
    }

    /// Finds the input that makes most others not count.
    fn find_gate(&mut self, number: u32, draft: &mut Draft) {
        let unit = &self.units[number as usize];
        let cell = &self.cells[unit.cell as usize];
        let (data, states) = (unit.data, unit.states);
        let key = (Arc::as_ptr(&cell.part), cell.fixed, states, data);
        let gate = *draft.gates.entry(key).or_insert_with(|| {
            let sides = bits(data).flat_map(|input| [(input, false), (input, true)]);
            let gates = sides.filter_map(|(input, shut)| {
                let mut inputs = cell.fixed;
                inputs.unknown &= !(1 << input);
                inputs.value |= u64::from(shut) << input;
                let fixed =
                    TiedInputs { inputs, states: Word::all_unknown(cell.part.function.state_mask()), memories: &[] };
                let flat = cell.part.function.two_state_edge(fixed, states)?;
                let behind = data & !flat.inputs() & !(1 << input);
                (behind != 0).then_some(Gate { input, shut, behind, holds: flat.keeps(states) })
            });
            gates.max_by_key(|gate| (gate.holds, gate.behind.count_ones(), Reverse(gate.input)))
        });
        if let Some(gate) = gate {
            let line = self.line(cell, gate.input);
            let unit = &mut self.units[number as usize];
            (unit.gate, unit.gate_line) = (Some(gate), line);
        }
    }

    /// The programs of a unit, which outputs are high-impedance and the levels, or what an edge stores; the first of two
    /// rows, made once for all units that are alike. `None` where something stays open that no input decides.
    fn programs(&mut self, unit: &Unit, tied: Word, edge: bool, draft: &mut Draft) -> Option<u32> {
        let cell = &self.cells[unit.cell as usize];
        let function = &cell.part.function;
        let held = &self.held[unit.cell as usize];
        let mut known = cell.rest;
        known.unknown |= unit.states;
        let fixed =
            TiedInputs { inputs: tied, states: known, memories: if cell.frozen { &held.memories } else { &[] } };
        let key = (Arc::as_ptr(&cell.part), tied, known, unit.states, edge);
        let known_flats = !fixed.memories.is_empty();
        let row = draft.flats.get(&key).copied().filter(|_| !known_flats);
        let row = row.unwrap_or_else(|| {
            let flats = if edge {
                [Some(TwoStateProgram::default()), function.two_state_edge(fixed, unit.states)]
            } else {
                [function.two_state_off(fixed), function.two_state_value(fixed)]
            };
            let row = self.flats.len() as u32;
            let [Some(off), Some(value)] = flats else {
                return None;
            };
            self.flats.extend([off, value].map(Arc::new));
            Some(row)
        });
        draft.flats.insert(key, row);
        row
    }

    /// A table, when there are few bits to look it up by, or a program. `tied` is what inputs are known to be.
    fn plan_of(
        &mut self,
        number: u32,
        tied: Word,
        (inputs, states): (u64, u64),
        kind: Kind,
        draft: &mut Draft,
    ) -> Plan {
        let edge = kind == Kind::Edge;
        let unit = self.units[number as usize].clone();
        let row = self.programs(&unit, tied, edge, draft);
        let Some(row) = row else {
            return Plan::Full;
        };
        let [off, value] = [row, row + 1].map(|row| Arc::clone(&self.flats[row as usize]));
        let cell = &self.cells[unit.cell as usize];
        let base = tied.value;
        let inputs = inputs & (off.inputs() | value.inputs());
        let states = states & (off.states() | value.states());
        let mut lines: Vec<((u32, u32), bool, u32)> =
            bits(inputs).map(|input| (self.line(cell, input), false, input)).collect();
        lines.extend(bits(states).map(|bit| ((unit.state, bit), true, bit)));
        lines.sort_unstable();
        let mut gathered: Vec<((u32, u32), u32)> = Vec::new();
        // Inputs on one line are one bit.
        let mut places = Vec::new();
        for line in &lines {
            if gathered.last().map(|last| last.0) != Some(line.0) {
                gathered.push((line.0, gathered.len() as u32));
            }
            places.push(gathered.len() as u32 - 1);
        }
        let outputs = self.looked_at(&unit);
        let high = if edge { unit.states } else { outputs };
        let small = gathered.len() as u32 <= WIDEST_TABLE && high >> (if edge { 31 } else { 16 }) == 0;
        // The programs are those of all outputs, also of those that nobody sees.
        let memory = kind == Kind::Outputs { memory: true } || off.reads_memory() || value.reads_memory();
        if small && !memory && self.tables.len() + (1 << gathered.len()) <= MOST_ROWS {
            let order: Vec<u32> =
                lines.iter().zip(&places).map(|(line, place)| place << 8 | line.2 << 1 | u32::from(line.1)).collect();
            if edge {
                self.units[number as usize].read_by_edge = states;
            }
            let gather = self.bring(&gathered);
            let rest = self.cells[unit.cell as usize].rest.value;
            let part = Arc::as_ptr(&self.cells[unit.cell as usize].part);
            let key = (part, high, base, rest, order.clone(), edge);
            let (first, fill) = *draft.tables.entry(key).or_insert_with(|| {
                self.fills.push(Fill {
                    base,
                    rest,
                    order,
                    flats: row,
                    mask: if edge { unit.states } else { outputs },
                    edge,
                });
                let first = self.tables.add(gathered.len() as u32);
                (first, self.fills.len() as u32 - 1)
            });
            return Plan::Table { gather, first, fill };
        }
        let lines: Vec<_> = lines.iter().filter(|line| !line.1).map(|line| (line.0, line.2)).collect();
        let gather = self.bring(&lines);
        let never = edge || off.constant() == Some(0);
        let unit = &mut self.units[number as usize];
        if edge {
            unit.read_by_edge = states;
        } else {
            unit.read_states = off.states() | value.states();
        }
        Plan::Flat { gather, base, off: if never { NONE } else { row }, value: row + 1 }
    }
}
