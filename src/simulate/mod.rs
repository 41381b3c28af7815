//! What runs the machine, and what a run leaves behind.

pub mod wave;
