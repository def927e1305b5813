//! The program: a thin door to the library.

use std::process::ExitCode;

fn main() -> ExitCode {
    glasshour::cli::main()
}
