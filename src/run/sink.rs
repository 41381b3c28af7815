//! Where changes of watched nets go.

use crate::circuit::NetKey;
use crate::logic::Level;
use crate::quantity::Time;

/// Told of each change of a watched net. The engine knows no formats.
pub trait Sink {
    /// A watched net has a new level.
    fn change(&mut self, time: Time, net: NetKey, level: Level);
}

/// Drops everything.
#[derive(Clone, Copy, Debug, Default)]
pub struct NullSink;

impl Sink for NullSink {
    #[inline]
    fn change(&mut self, _: Time, _: NetKey, _: Level) {}
}
