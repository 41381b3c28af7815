//! The command `coldboard`.

use std::process::ExitCode;

fn main() -> ExitCode {
    coldboard::cli::main()
}
