//! Words of memories that no image fills, where a run reads them: they give what an erased chip gives.
//!
//! It is looked at when time has passed and the trial gets a word in: at each edge of its clock, and at the end of each
//! step. A memory that gives something else than a blank word, as filled ones mostly do, is not looked at any closer.

use crate::circuit::{Chip, ChipKey, Circuit, NetKey};
use crate::image::Image;
use crate::logic::{Level, Word};
use crate::part::function::reading::Reading;
use crate::part::function::structure::Structure;
use crate::quantity::{Time, Voltage};
use crate::run::Engine;
use crate::trial::report::Finding;

/// The memories of a run that images fill in part.
#[derive(Default)]
pub(super) struct Unfilled {
    memories: Vec<Memory>,
}

struct Memory {
    chip: ChipKey,
    reading: Reading,
    /// The net of each input bit.
    inputs: Vec<Option<NetKey>>,
    /// The nets of its data, and the level that all of them have for a blank word.
    data: Vec<NetKey>,
    blank: Level,
    /// What it is filled with, and whether that is all of it.
    image: Image,
    full: bool,
    /// The address that it gave when it was last looked at, of a word that nothing fills.
    given: Option<u64>,
    count: u64,
    first: Option<(u64, Time)>,
}

impl Unfilled {
    /// Of what the chips of a circuit hold from the beginning.
    pub(super) fn new(circuit: &Circuit) -> Unfilled {
        let mut unfilled = Unfilled::default();
        for (key, chip) in circuit.chips.iter() {
            if let Some(holds) = &chip.initial_contents {
                unfilled.load(circuit, key, &holds.image, 0, true);
            }
        }
        unfilled
    }

    /// An image is put into a chip; the first one takes the place of what was there.
    pub(super) fn load(&mut self, circuit: &Circuit, chip: ChipKey, image: &Image, offset: i64, first: bool) {
        let at = self.memories.iter().position(|memory| memory.chip == chip);
        let Some(at) = at.or_else(|| {
            self.memories.extend(Memory::of(circuit, chip));
            let last = self.memories.len().checked_sub(1)?;
            (self.memories[last].chip == chip).then_some(last)
        }) else {
            return;
        };
        let memory = &mut self.memories[at];
        if first {
            memory.image = Image::new();
        }
        for (start, bytes) in image.segments() {
            for (address, &byte) in (start as i64 + offset..).zip(bytes) {
                memory.image.insert(address as u64, byte);
            }
        }
        let shape = circuit.chips[chip].part.function.memories.first();
        memory.full = shape.is_some_and(|shape| memory.image.len() as u64 >= shape.words);
    }

    /// Looks at what the memories give now.
    pub(super) fn look(&mut self, circuit: &Circuit, machine: &dyn Engine) {
        for memory in self.memories.iter_mut().filter(|memory| !memory.full) {
            let blank = |&net: &NetKey| machine.level(net) == memory.blank;
            if !memory.data.iter().all(blank) {
                memory.given = None;
                continue;
            }
            let function = &circuit.chips[memory.chip].part.function;
            let inputs = word(&memory.inputs, |net| {
                let level = machine.level(net);
                level.is_known().then_some(level.is_high())
            });
            let address = memory.reading.address(function, inputs);
            let given = address.filter(|&address| memory.image.get(address).is_none());
            if let Some(address) = given
                && memory.given != given
            {
                memory.count += 1;
                memory.first.get_or_insert((address, machine.now()));
            }
            memory.given = given;
        }
    }

    /// What was read, one row a chip.
    pub(super) fn findings(&self, circuit: &Circuit) -> Vec<Finding> {
        let row = |memory: &Memory| {
            let (address, time) = memory.first?;
            let chip = &circuit.chips[memory.chip];
            let shape = chip.part.function.memories.first()?;
            let digits = (shape.words.ilog2() as usize).div_ceil(4);
            Some(Finding {
                kind: "not filled",
                place: chip.path.clone(),
                text: format!(
                    "{} ({}) was read at 0x{address:0digits$X}, which no image fills: it gives {:#X}, as an erased chip does",
                    chip.path,
                    chip.number,
                    shape.blank.unwrap_or_default()
                ),
                count: memory.count,
                first: Some(time),
            })
        };
        self.memories.iter().filter_map(row).collect()
    }
}

impl Memory {
    /// Of a chip that is fed, has a state without an image, and that nothing on its board writes.
    fn of(circuit: &Circuit, key: ChipKey) -> Option<Memory> {
        let chip = &circuit.chips[key];
        let function = &chip.part.function;
        let shape = function.memories.first()?;
        let blank = match shape.blank? {
            0 => Level::Zero,
            word if word == Word::mask(shape.width) => Level::One,
            _ => return None,
        };
        if !chip.fed || is_written(circuit, chip) {
            return None;
        }
        let reading = Reading::new(function)?;
        let outputs = function.outputs.iter().enumerate();
        let data = outputs.filter(|(bit, _)| reading.outputs >> bit & 1 == 1);
        let data: Vec<NetKey> = data.filter_map(|(_, &pin)| chip.nets[pin]).collect();
        (!data.is_empty()).then(|| Memory {
            chip: key,
            reading,
            inputs: function.inputs.iter().map(|&pin| chip.nets[pin]).collect(),
            data,
            blank,
            image: Image::new(),
            full: false,
            given: None,
            count: 0,
            first: None,
        })
    }
}

/// True when a memory of a chip can be written where it stands.
fn is_written(circuit: &Circuit, chip: &Chip) -> bool {
    let function = &chip.part.function;
    let nets: Vec<_> = function.inputs.iter().map(|&pin| chip.nets[pin]).collect();
    let inputs = word(&nets, |net| {
        let rail = circuit.nets[net].rail?;
        rail.fed.map(|volts| volts > Voltage::ZERO)
    });
    let structure = Structure::tied(function, inputs);
    structure.clocked.iter().any(|rule| rule.writes) || structure.gated.iter().any(|rule| rule.writes.is_some())
}

/// The word of some nets; unknown where there is none, or no level.
fn word(nets: &[Option<NetKey>], level: impl Fn(NetKey) -> Option<bool>) -> Word {
    let bits = nets.iter().map(|net| net.and_then(&level)).enumerate();
    bits.fold(Word::default(), |word, (bit, level)| Word {
        value: word.value | u64::from(level == Some(true)) << bit,
        unknown: word.unknown | u64::from(level.is_none()) << bit,
    })
}
