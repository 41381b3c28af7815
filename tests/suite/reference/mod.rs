//! The engines beside a plain reference engine.

mod both;
mod designs;
mod parts;
mod plain;
mod random;
