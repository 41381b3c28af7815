//! Refits: a design as it would be with other chips in its sockets, beside the design as it is.
//!
//! [`choose`] reads what is to be replaced and says which chips that changes, which it has to leave, and what would have
//! to be written in the files. A part that does not fit a socket is refused. [`compare`] then freezes both circuits
//! (the copper is the same, so nets have the same keys in both), looks at both with the electrical rules, runs the same
//! trials on both in each corner, asks static timing how fast each may be clocked, and tells what differs.

mod choose;
mod compare;
mod current;
mod limits;
mod result;

pub use choose::{Chosen, choose};
pub use compare::{Asked, compare};
pub use result::{
    AtRest, Both, Difference, Edit, Kept, Limit, LimitingPath, Pair, Refit, Reordered, Replaced, Side, Turned,
};
