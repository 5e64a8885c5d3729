//! The `fieldripple` program: arguments in, exit code out. Everything else is in the library and in `command`.
#![forbid(unsafe_code)]

mod command;

fn main() -> std::process::ExitCode {
    command::run(std::env::args_os())
}
