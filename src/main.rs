//! The command `coldboard`.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::SUCCESS
}
