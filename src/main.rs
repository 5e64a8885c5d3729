//! The `fieldripple` program: arguments in, exit code out. Everything else is in the library and in `command`.
#![forbid(unsafe_code)]
// A function that a stranger can read fits on two screens.
#![warn(clippy::too_many_lines)]

mod command;

fn main() -> std::process::ExitCode {
    command::run(std::env::args_os())
}
