//! The engine: a circuit, run with real delays.
//!
//! # What happens in a run
//!
//! A [`Machine`] holds the levels of all nets, the storage of all chips, and a queue of coming output transitions.
//! [`Machine::advance`] takes the transitions of the next moment out of the queue, lets nets take their new levels by
//! the resolution table of IEEE 1164, and then evaluates each chip that saw a change, once. An output that is to change
//! is scheduled after the delay of the path from the input that moved it. When several inputs move in the same
//! picosecond, the path counts that is worst for the corner: the shortest in the fastest, else the longest.
//!
//! Outputs are inertial: a transition that is due is replaced by a newer one, so a pulse shorter than the delay is
//! filtered, and counted. Memories are not: when an address moves, their outputs stay good for the output hold time,
//! are unknown until the access time has passed, and only then good again.
//!
//! A timer that is started falls back by itself; until it is known that it was, or was not, what it holds is unknown,
//! and what it may have started with is certainly over when its time has passed.
//!
//! # What is watched on the way
//!
//! Requirements of the sheets (setup, hold, recovery, width, rate) are checked at each edge that they speak of. One
//! that is not met counts only when it can matter: the storage is computed once more with the offending input
//! unknown, and if nothing would be different, nothing is said. Else what is stored becomes unknown where it would.
//! Of a synchroniser that the design names the first flip-flop is not blamed for that, and the second one takes 0 or 1 by
//! chance, counted, where nothing else unknown comes to it.
//!
//! Contention, floating nets, forbidden uses and loops that never settle are found on the way as well.
//!
//! # How causes are found
//!
//! A run keeps no causes. It keeps its state now and then ([`Checkpoint`]), at a distance that grows with the run, and every
//! hand that was put on it (`past`). Who asks why a net has its level is answered from a twin of the machine: put back to the
//! checkpoint before the change, and run once more with causes kept (`history`). A change of long ago is found in one
//! step, since each output knows when it moved last (`chain`).
//!
//! # What holds
//!
//! - The same circuit, settings and stimulus give the same events in the same order, on every machine.
//! - A chip that is not fed drives nothing. A pin without a net is unknown to its chip.
//! - The engine reads a circuit and writes results of its own; it never changes the circuit.
//! - The loop allocates and hashes nothing. All tables are flat and indexed by small numbers.
//!
//! # How it is fast
//!
//! - Coming events lie in a wheel of short slots, each sorted once, as one number each; one word tells which slots hold
//!   any. A far event waits in a heap, one that comes late into the slot at hand in another.
//! - What a moving input touches lies in one line of the cache. An output carries what its events touch, its first
//!   loads among it; a net with one driver, that nobody watches, is not touched at all. Of a bus it is counted how
//!   many drivers give each level.
//! - Data of clocked storage is put in its place with the time that it came, and nothing is computed. A change that makes
//!   no edge and opens no latch skips storage; a clock that stores what is there already skips the outputs.
//! - A clock that moves alone, at a register that sees what it stores and meets what is asked of it, is evaluated by a
//!   two-state program (`edge_programs`, `clock_edge`). Whatever is not so is evaluated by the full function: there is one
//!   answer, also with [`Settings::fast_paths`](crate::run::Settings::fast_paths) off.
//! - A small chip without storage looks its outputs up; with an unknown input, what it lately made of the same
//!   (`evaluate::Memo`).
//! - In very large machines each event lies somewhere else in memory, so the next few are looked at ahead, together. In
//!   others that costs more than it gives.

#![warn(clippy::cast_possible_truncation)]

mod advance;
mod build;
mod cause_text;
mod chain;
mod check_index;
mod checkpoint;
mod checks;
mod chips;
mod clock_edge;
mod delays;
mod driver;
mod edge_programs;
mod engine;
mod force;
mod history;
mod initialise;
mod instance;
mod link_moves;
mod links;
mod machine;
mod memory;
mod model;
mod nets;
mod number;
mod oscillation;
mod past;
mod past_log;
mod queue;
mod records;
mod self_timed;
mod state;
mod steady_state;
mod synchronise;
mod synchronisers;
mod timers;
mod watch;

pub use machine::Machine;
pub use state::Checkpoint;
