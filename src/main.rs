//! The command `coldboard`.

fn main() {}
