//! From model to circuit: nets found, things in dense rows, rails fed.
//!
//! A net is a connected component of joints (`nets`); things become rows in order of writing (`fill`); names in what is
//! said of timing paths become pins (`paths`); supplies feed rails, and rails chips (`power`); timers find their
//! resistors and capacitors (`timing`). Every step walks flat lists once.

mod fill;
mod groups;
mod keys;
mod nets;
mod paths;
mod power;
mod timing;

use super::rows::{Chip, Circuit};
use super::switches::DeadRail;
use crate::contents::Contents;
use crate::diagnostic::Diagnostic;
use crate::language::ast;
use crate::model::{self, Model, Problems};
use crate::part::Library;
use keys::Keys;
use std::sync::Arc;

/// The most bytes of all memories in one circuit.
const MOST_MEMORY: u64 = 256 << 20;

/// Makes the circuit of a board or assembly.
///
/// Without a name it is the only assembly, or else the only board. The circuit is `None` when the design leaves open
/// what is there; the diagnostics tell all that is wrong.
pub fn elaborate(name: Option<&str>, files: &[ast::File], library: &Library) -> (Option<Circuit>, Vec<Diagnostic>) {
    let elaborated = model::elaborate(name, files, library, &Contents::default());
    let mut problems = elaborated.problems;
    let circuit = elaborated.model.map(|model| freeze_after(&model, &mut problems));
    let clear = !problems.is_unclear();
    (circuit.filter(|_| clear), problems.finish())
}

/// The circuit of a model, and what is wrong with it as a whole.
pub fn freeze(model: &Arc<Model>) -> (Circuit, Vec<Diagnostic>) {
    let mut problems = Problems::default();
    let circuit = freeze_after(model, &mut problems);
    (circuit, problems.finish())
}

/// As [`freeze()`], after steps that had problems already.
pub(crate) fn freeze_after(model: &Arc<Model>, problems: &mut Problems) -> Circuit {
    let keys = Keys::of(model);
    let mut nets = nets::join(model, &keys, problems);
    let mut circuit = fill::rows(model, &keys, &nets.of);
    circuit.nets = std::mem::take(&mut nets.rows);
    fill::pins(&mut circuit);
    fill::names(&mut circuit);
    paths::resolve(model, &mut circuit, problems);
    power::feed(model, &keys, &nets, &mut circuit, problems);
    timing::time_chips(&mut circuit, problems);
    if let Some(problem) = too_much_memory(&circuit) {
        problems.unclear(problem);
    }
    circuit
}

/// The circuit while some rails are dead: what they would feed is not fed.
pub fn without_rails(circuit: &Circuit, dead: &[DeadRail]) -> Circuit {
    let mut model = Model::clone(circuit.model());
    for row in dead {
        for name in &circuit.nets[row.rail].rail_names {
            if let Some(rail) = model.segment(&circuit.name_path(name)) {
                // What is a rail in the circuit is one in its model.
                let _ = model.unfeed(rail);
            }
        }
    }
    freeze(&Arc::new(model)).0
}

/// The refusal of a circuit whose memories have more bytes than [`MOST_MEMORY`], at the chip that is too much.
fn too_much_memory(circuit: &Circuit) -> Option<Diagnostic> {
    let bytes = |chip: &Chip| -> u64 {
        let memories = chip.part.function.memories.iter();
        memories.map(|shape| shape.words.saturating_mul(shape.width.div_ceil(8).into())).fold(0, u64::saturating_add)
    };
    let mut sum = 0u64;
    let chip = circuit.chips.values().find(|chip| {
        sum = sum.saturating_add(bytes(chip));
        sum > MOST_MEMORY
    })?;
    let message = format!("the memories of this design have more than {MOST_MEMORY} bytes");
    Some(
        Diagnostic::error("too-large", message)
            .at(chip.span, "this is one too many")
            .help("describe smaller memories: only the address bits that are used count"),
    )
}
