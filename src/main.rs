//! Handfast on the command line.

use std::process::ExitCode;

fn main() -> ExitCode {
    handfast::program::run(std::env::args_os()).into()
}
