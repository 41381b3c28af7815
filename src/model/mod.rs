//! The design as it can be edited.
//!
//! # What a model is
//!
//! A [`Model`] is what lies on the bench, thing by thing: boards in place, [`Chip`]s and [`Discrete`]s with their pins,
//! [`Connector`]s with their [`Contact`]s, [`Cable`]s with their conductors, bench [`Supply`]s; and beside them what the
//! design says of these things: which pins are open on purpose, which timing paths are not used, which findings are
//! waived.
//!
//! Copper is stored in [`Segment`]s: a named piece of one board, with the pins on it in order of writing. A [`Joint`] is
//! the place where a pin meets copper. It is stored on both sides, so that neither the pin nor the copper has to be
//! looked for.
//!
//! **A net is not stored.** It is a connected component of segments, contacts and conductors (and of bridges, which only
//! edits make), and it is found when a model is frozen. So an open joint, a cut trace, a short or two conductors that are
//! swapped are edits of one place, and nothing else has to be kept right.
//!
//! # What holds
//!
//! - A key stays valid while other things come and go. The key of a thing that was taken out finds nothing, and is never
//!   the key of another thing.
//! - A pin says that it is on a segment if, and only if, the segment lists the pin; both are on one board.
//! - Boards, cables and supplies have names of their own. Two chips of a board may have one name, as a person may write
//!   it and a rule of the check reports it: the first is found.
//! - Everything has an order of writing, which is that of the rows of a circuit; what an edit adds comes last. So two
//!   models that differ by an open joint, a value or a conductor have circuits with the same keys.
//! - An edit is refused with a diagnostic, or is made completely.
//! - The texts of the design are not changed by edits. What an edit adds has the place of its board.
//!
//! # What freezing does
//!
//! [`crate::circuit::freeze()`] numbers the things in their order, joins segments, contacts and conductors into nets, and
//! gives every net the list of its pins. Then it reads what only the whole can tell: which pins the names of timing paths
//! mean, which rails the supplies reach, which chips live, which resistor and capacitor give a timer its time. Each step
//! walks flat lists, so the time grows with the design, and no chain of joints is too long. What is electrically
//! impossible (a shorted supply, rails of different voltages joined) is reported there, for a text and after an edit
//! alike.
//!
//! # How it is edited
//!
//! By keys, with methods of [`Model`] (`edit/`): chips, discretes, joints, bridges, cuts, cables, conductors, supplies.
//! By names with [`Changes`], which a sweep and a comparison of chips make. Whoever edits clones the model first when a
//! circuit still holds it; texts, parts and images are shared by the copies.

mod changes;
mod edit;
mod elaborate;
mod paths;
mod problems;
mod roster;
mod rows;
mod store;
mod things;

pub use changes::{Changes, Substitution};
pub use edit::Edited;
pub(crate) use elaborate::{Elaborated, elaborate};
pub(crate) use problems::{Problems, several};
pub use things::{
    Board, BoardId, BridgeId, Cable, CableId, Chip, ChipId, Connector, ConnectorId, Contact, Device, Discrete,
    DiscreteId, DiscreteKind, End, InitialContents, Joint, Model, Pole, Segment, SegmentId, Supply, SupplyId, Terminal,
};
pub(crate) use things::{PathKind, Waiver, within};
