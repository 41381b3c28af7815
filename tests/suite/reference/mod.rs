//! The engines beside a plain reference engine.

mod both;
mod designs;
mod findings;
mod parts;
mod plain;
mod random;
mod untimed;
