//! How much memory a machine takes.

use super::machine::Machine;
use super::model::Model;

impl Machine<'_> {
    /// Bytes that all tables of the run take together, with what the memories of its chips hold; without a history.
    pub fn memory(&self) -> usize {
        let arrays = self.cells.iter().flat_map(|cell| &cell.held.memories);
        let arrays: usize = arrays.map(|memory| memory.bytes()).sum();
        let models: usize = self.models.iter().map(Model::memory).sum();
        arrays
            + models
            + of(&self.cells)
            + of(&self.asides)
            + of(&self.delays)
            + of(&self.outs)
            + of(&self.places)
            + of(&self.afters)
            + of(&self.owners)
            + of(&self.nets)
            + of(&self.net_drivers)
            + of(&self.net_listeners)
            + of(&self.tallies)
            + of(&self.stamps)
            + of(&self.arrivals)
            + of(&self.befores)
            + of(&self.check_states)
            + of(&self.snapshots)
            + of(&self.swallowed)
            + of(&self.fights)
            + of(&self.floats)
            + of(&self.forbid_logs)
            + self.queue.memory()
    }
}

fn of<T>(table: &[T]) -> usize {
    size_of_val(table)
}
