//! The engine without delays: the same circuit, run from clock edge to clock edge, for programs that are too long to run
//! with delays.
//!
//! # What happens in a run
//!
//! Time passes only where the circuit is moved from outside: at the edges of oscillators and of a trial's clocks, when a
//! stimulus, a contact or a pull against a capacitor moves a net. Such a *moment* goes in *waves*. In each wave the
//! logic settles, chip by chip in the order in which they feed each other, and only where an input moved; then all
//! storage whose clock or enable has moved looks at its inputs at once; and what it then holds begins the next wave. A
//! storage that is clocked by another one follows a wave later, as it does on the bench.
//!
//! So each piece of storage counts as slower than any wire and any gate: a register that shares a clock with the one
//! behind it still shows its old byte to it. That is what timing is made to guarantee, and nothing here looks whether it
//! does: a run without delays is no verdict on a design's timing.
//!
//! # What it refuses
//!
//! What comes out only one way or the other by delays is not guessed at. One-shots and memories that time themselves are
//! refused before anything runs, and rings of nets that nothing ever breaks, but for loops of plain gates: cross-coupled
//! gates store by feeding each other, which is fine unless their inputs are released together (`loops`). The rest is found
//! when it happens, and ends the run with its place:
//!
//! - data that moves with the very edge that stores it, before it or with it, when it matters which came first;
//! - two controls of one piece of storage that move at once, when it matters which came first;
//! - an address that moves while a memory is written;
//! - a clock, clear or enable that moves twice in a moment: a pulse as wide as a delay;
//! - a gate before a clock, clear or enable that can glitch because several of its inputs move at once; and a line of a
//!   bus there, when one driver lets go of it as another takes it and no pull bridges the gap;
//! - storage clocked so much later than the storage before it that the sheets do not promise the order;
//! - cross-coupled gates whose inputs are released together, and loops of gates that oscillate;
//! - buses and bus drivers that drive themselves in a ring, and moments that come to no end.
//!
//! # How it is fast
//!
//! Nets lie packed in words, the outputs of a chip and the lines of a bus side by side, each with a plane of unknown
//! bits. A chip is cut into partitions that do not share inputs (`evaluate`). A partition looks its outputs up in a table by
//! its inputs, whose rows fill as they are asked for, or runs a two-state program when it has too many; only with an unknown
//! input the full function runs, as in the engine with delays. Which pieces have to look is a set of bits in order of levels.
//!
//! Whoever moves a word moves it in every piece that is looked up by it (`signal::Tap`), so that a piece has its inputs
//! ready in its own line of cache (`row::Row`). A net that shows a stored bit as it is, is that bit; an output that never
//! lets go needs no bus. A register whose enable is off does not hear its data (`pieces::Gate`), and what a gate before a
//! clock may do with several moving inputs is tried before anything runs.

mod bus;
mod delays;
mod draft;
mod engine;
mod fill;
mod glitch;
mod graph;
mod handover;
mod knot;
mod knots;
mod layout;
mod listen;
mod look;
mod loops;
mod machine;
mod nets;
mod order;
mod pieces;
mod place;
mod plans;
mod register;
mod ring;
mod row;
mod settle;
mod signal;
mod skew;
mod store;
mod turn;
mod wake;
mod watch;

pub use machine::Machine;
