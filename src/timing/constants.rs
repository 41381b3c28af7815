//! What never moves: rails, and the outputs that follow from them; and the structure of each chip under these.

use super::graph::{NetProperties, TimingNet};
use crate::circuit::{ChipKey, Circuit, NetKey};
use crate::key::KeyVec;
use crate::logic::Word;
use crate::part::function::structure::Structure;
use crate::part::{Part, PinKind};
use crate::quantity::Voltage;
use rustc_hash::FxHashMap;
use std::rc::Rc;

/// What never moves.
#[derive(Debug, Default)]
pub struct Constants {
    levels: KeyVec<NetKey, Option<bool>>,
    inputs: KeyVec<ChipKey, Word>,
    known: FxHashMap<(*const Part, Word), Rc<Structure>>,
    structures: KeyVec<ChipKey, Rc<Structure>>,
}

impl Constants {
    pub(super) fn new(circuit: &Circuit) -> Constants {
        let levels = circuit.nets.values().map(|net| {
            let fed = net.rail.and_then(|rail| rail.fed)?;
            Some(fed != Voltage::default())
        });
        Constants { levels: levels.collect(), ..Constants::default() }
    }

    /// Follows the rails through the chips: an output that nothing can move, and that is alone on its net, is constant.
    pub(super) fn spread(
        &mut self,
        circuit: &Circuit,
        timing_nets: &KeyVec<TimingNet, NetProperties>,
        timing_net_of: &KeyVec<NetKey, Option<TimingNet>>,
    ) {
        let mut outputs_on: KeyVec<NetKey, u32> = KeyVec::filled(circuit.nets.len(), 0);
        for chip in circuit.chips.values().filter(|chip| chip.fed) {
            for &pin in &chip.part.function.outputs {
                if let Some(net) = chip.nets[pin] {
                    outputs_on[net] += 1;
                }
            }
        }
        for key in circuit.chips.keys() {
            let inputs = self.read_inputs(circuit, key);
            self.inputs.push(inputs);
            let structure = self.look_up(circuit, key);
            self.structures.push(structure);
        }
        let mut open: Vec<ChipKey> = circuit.chips.keys().rev().collect();
        while let Some(key) = open.pop() {
            let chip = &circuit.chips[key];
            let inputs = self.read_inputs(circuit, key);
            if inputs != self.inputs[key] {
                self.inputs[key] = inputs;
                self.structures[key] = self.look_up(circuit, key);
            }
            let structure = Rc::clone(&self.structures[key]);
            if !chip.fed {
                continue;
            }
            for (bit, &pin) in chip.part.function.outputs.iter().enumerate() {
                let Some(net) = chip.nets[pin] else { continue };
                let alone = outputs_on[net] == 1
                    && timing_net_of[net].is_some_and(|timing_net| {
                        timing_nets[timing_net].nets.len() == 1 && !timing_nets[timing_net].by_hand
                    });
                let settled = structure.value.unknown >> bit & 1 == 0;
                if self.levels[net].is_none() && alone && settled && chip.part.pins[pin].kind == PinKind::Out {
                    self.levels[net] = Some(structure.value.value >> bit & 1 == 1);
                    open.extend(circuit.nets[net].chip_pins.iter().map(|&(chip, _)| chip));
                }
            }
        }
    }

    fn read_inputs(&self, circuit: &Circuit, key: ChipKey) -> Word {
        let chip = &circuit.chips[key];
        let inputs = chip.part.function.inputs.iter().enumerate();
        inputs.fold(Word::default(), |word, (bit, &pin)| {
            let level = chip.nets[pin].and_then(|net| self.levels[net]);
            Word {
                value: word.value | u64::from(level == Some(true)) << bit,
                unknown: word.unknown | u64::from(level.is_none()) << bit,
            }
        })
    }

    fn look_up(&mut self, circuit: &Circuit, key: ChipKey) -> Rc<Structure> {
        let part = &circuit.chips[key].part;
        let inputs = self.inputs[key];
        let row = self.known.entry((std::sync::Arc::as_ptr(part), inputs));
        Rc::clone(row.or_insert_with(|| Rc::new(Structure::tied(&part.function, inputs))))
    }

    /// The level of a net that never moves.
    pub fn level(&self, net: NetKey) -> Option<bool> {
        self.levels[net]
    }

    /// The inputs of a chip: known where they never move.
    pub fn inputs(&self, chip: ChipKey) -> Word {
        self.inputs[chip]
    }

    /// The structure of a chip under what never moves.
    pub fn structure(&self, chip: ChipKey) -> Rc<Structure> {
        Rc::clone(&self.structures[chip])
    }
}
