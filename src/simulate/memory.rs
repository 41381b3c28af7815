//! How much memory a machine takes.

use super::machine::Machine;
use super::model::Model;
impl Machine<'_> {
    /// Bytes that all tables of the run take together, with what the memories of its chips hold; without its past.
    pub fn memory(&self) -> usize {
        let models: usize = self.models.iter().map(Model::memory).sum();
        let fixed = size_of_val(&*self.delays)
            + size_of_val(&*self.connections)
            + size_of_val(&*self.owners)
            + size_of_val(&*self.net_drivers)
            + size_of_val(&*self.net_loads);
        models + fixed + self.checkpoint().bytes(None)
    }
}
