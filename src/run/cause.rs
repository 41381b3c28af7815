//! Why a net has its level.

use crate::logic::Level;
use crate::quantity::Time;

/// One step of a chain of causes.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Step {
    /// When the net changed.
    pub time: Time,
    pub net: String,
    /// Its new level.
    pub level: Level,
    /// Who made it so, and why.
    pub text: String,
}
