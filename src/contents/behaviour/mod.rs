//! An instruction set at work: bytes become instructions again, and instructions change registers and memory.
//!
//! It knows no chips, no clock and no control words: it is what the builder wants the machine to do, instruction by
//! instruction.

mod build;
mod compile;
mod decode;
mod execute;
mod memory;
mod reading;
mod set;
mod steps;

pub use memory::Memory;
pub use reading::Decoded;
pub use set::{Behaviour, PROGRAM_COUNTER, Register};
