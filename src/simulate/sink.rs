//! Who listens to a run.

use crate::circuit::NetKey;
use crate::logic::Level;
use crate::quantity::Time;

/// Told of each change of a watched net. The engine knows no formats.
pub trait Sink {
    /// A watched net has a new level.
    fn change(&mut self, time: Time, net: NetKey, level: Level);
}

/// Nobody listens.
#[derive(Clone, Copy, Debug, Default)]
pub struct Nobody;

impl Sink for Nobody {
    #[inline]
    fn change(&mut self, _: Time, _: NetKey, _: Level) {}
}
