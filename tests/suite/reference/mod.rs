//! The engines beside a plain reference engine.

mod both;
mod parts;
mod plain;
mod random;
