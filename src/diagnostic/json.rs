//! Diagnostics for a program.
