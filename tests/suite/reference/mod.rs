//! The engines beside a plain reference engine, which reads the formulas of the parts itself.
//!
//! # What is a second meaning
//!
//! `plain/` works out by itself all that a circuit does: what the names and formulas of a part mean and how unknown
//! levels pass through each operator, bit by bit (`words`, `formula`); edges, levels, memories and timers (`storage`);
//! which inputs can move which outputs (`description`); the resolution of IEEE Std 1164 from the table as the standard
//! prints it (`levels`); resistors and contacts (`links`, `pulls`); power-up (`power_up`); inertial outputs and one heap of
//! events (`engine`, `evaluate`). Nothing of `part::function` that evaluates, of `simulate` or of `untimed` is used.
//!
//! # What is shared
//!
//! - The text of the parts as a syntax tree, and the names that a template stands for (`language`).
//! - The circuit: who is connected to whom, which chips are fed, what memories hold from the beginning (`circuit`).
//! - Plain numbers of `delay`, looked up by path and transition: delays, output hold, start-up, durations, the times of
//!   pulls against capacitors and of cables; for which inputs a sheet gives a time, and which leave outputs unknown until
//!   it has passed. `figures` works out some of them a second time, from the sheets.
//!
//! Requirements (setup, hold, width, ...) are not watched: a comparison ends where the engine finds the first one violated.
//!
//! # What no description determines
//!
//! The essays of `simulate`, `delay` and `logic` leave open what is here as the engine has it: an output that is off waits,
//! when it is enabled, for data that is on its way through the chip; only inputs that can make an output let go count
//! when it lets go or drives again; where no input moved, the paths from all inputs count; a pulse that ends by itself
//! takes the delay of its beginning; an address with more than four unknown bits reads as unknown; in which order outputs
//! and stored levels come to rest at power-up; that a forbidden use counts from power-up on.

mod both;
mod designs;
mod figures;
mod findings;
mod memories;
mod parts;
mod plain;
mod random;
mod untimed;
