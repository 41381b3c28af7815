//! What both engines evaluate chips with, each thing once.
//!
//! A chip is cut into [`partition`]s that share neither inputs nor storage. What a partition does is found in one of three
//! ways, always with the same result: by look-up in a table whose rows fill as they are asked for ([`Lookups`], [`Memo`]),
//! by a two-state program while all that it reads is known (`part::function::two_state`), or by the full function of the
//! part (`part::function`), which alone is the meaning.

mod lookup;
mod memo;
mod partition;

pub(crate) use lookup::Lookups;
pub(crate) use memo::Memo;
pub(crate) use partition::{Partition, partitions};
