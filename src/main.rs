//! The program: arguments to the library, and its answer to the exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    mistwright::cli::main()
}
