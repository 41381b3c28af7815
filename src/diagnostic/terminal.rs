//! Diagnostics for a person at a terminal.
