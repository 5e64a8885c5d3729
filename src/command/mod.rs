//! The commands, one file each: arguments are read, the library is called, results are printed.
//!
//! Exit codes: 0 success, 1 the honest "no" of a command, 2 bad arguments or an unreadable file, with one line on
//! standard error. A reader that closes the pipe early has what it wanted: that is success.

mod decode;
mod figure_file;
mod interrupt;
#[cfg(feature = "cli")]
mod lesson;
#[cfg(feature = "cli")]
mod link;
#[cfg(feature = "cli")]
mod margin;
#[cfg(feature = "cli")]
mod shipped;
#[cfg(feature = "cli")]
mod signal;
#[cfg(feature = "cli")]
mod synth;
mod telegram;
mod telegram_fields;
mod usage_error;

use std::ffi::OsString;
use std::io::{self, Write};
#[cfg(feature = "cli")]
use std::path::PathBuf;
use std::process::ExitCode;

use clap::{CommandFactory, FromArgMatches, Parser, Subcommand};
use fieldripple::decode::wording::one_line;

/// Exit code of bad arguments and unreadable files.
const BAD_ARGUMENTS: u8 = 2;

const AFTER_HELP: &str = "\
Exit codes: 0 done, 1 nothing read (or not what was expected), 2 bad arguments or an
unreadable file.
'fieldripple COMMAND --help' explains a command with the units and defaults of every option.";

/// Reads, simulates and explains the radio signal of FDX-B animal transponders (134.2 kHz, ISO 11784/11785) from sampled
/// waveforms
#[derive(Parser)]
#[command(name = "fieldripple", version, after_help = AFTER_HELP)]
#[command(subcommand_negates_reqs = true, arg_required_else_help = true)]
struct Program {
    #[command(subcommand)]
    command: Option<Command>,

    /// Print completions of commands and options for a shell
    #[cfg(feature = "cli")]
    #[arg(long, value_name = "SHELL", exclusive = true)]
    completions: Option<clap_complete::Shell>,

    /// Write manual pages into a folder: one of the program, one of each command
    #[cfg(feature = "cli")]
    #[arg(long, value_name = "FOLDER", exclusive = true)]
    manual: Option<PathBuf>,
}

#[derive(Subcommand)]
enum Command {
    Decode(Box<decode::Arguments>),
    #[cfg(feature = "cli")]
    Lesson(lesson::Arguments),
    #[cfg(feature = "cli")]
    Link(Box<link::Arguments>),
    #[cfg(feature = "cli")]
    Margin(Box<margin::Arguments>),
    #[cfg(feature = "cli")]
    Synth(Box<synth::Arguments>),
    Telegram(telegram::Arguments),
}

impl Command {
    fn run(self) -> anyhow::Result<ExitCode> {
        match self {
            #[cfg(feature = "cli")]
            Self::Synth(arguments) => synth::run(&arguments),
            #[cfg(feature = "cli")]
            Self::Lesson(arguments) => lesson::run(&arguments),
            #[cfg(feature = "cli")]
            Self::Link(arguments) => link::run(&arguments),
            #[cfg(feature = "cli")]
            Self::Margin(arguments) => margin::run(&arguments),
            Self::Decode(arguments) => decode::run(&arguments),
            Self::Telegram(arguments) => telegram::run(&arguments),
        }
    }
}

/// The whole command line as clap knows it: help, completions and the manual page come from this one definition.
pub fn definition() -> clap::Command {
    Program::command()
}

/// Reads the arguments, runs one command and returns the exit code of the program.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let arguments: Vec<OsString> = arguments.into_iter().collect();
    let program = definition()
        .try_get_matches_from(&arguments)
        .and_then(|matches| Program::from_arg_matches(&matches));
    let outcome = match program {
        #[cfg(feature = "cli")]
        Ok(Program {
            completions: Some(shell),
            ..
        }) => shipped::completions(shell),
        #[cfg(feature = "cli")]
        Ok(Program {
            manual: Some(folder),
            ..
        }) => shipped::manual(&folder),
        Ok(program) => match program.command {
            Some(command) => command.run(),
            None => print(&definition().render_help().to_string()),
        },
        Err(error) if error.use_stderr() => {
            eprintln!(
                "{}",
                usage_error::one_line(&error, &definition(), arguments.get(1))
            );
            return ExitCode::from(BAD_ARGUMENTS);
        }
        Err(help_or_version) => print(&help_or_version.render().to_string()),
    };
    outcome.unwrap_or_else(|error| {
        if closed_pipe(&error) {
            return ExitCode::SUCCESS;
        }
        complain(&error);
        ExitCode::from(BAD_ARGUMENTS)
    })
}

/// The arguments of a command as another command gives them; the first word is the command's name.
#[cfg(feature = "cli")]
fn parsed<A: clap::Args>(
    words: impl IntoIterator<Item = impl Into<OsString> + Clone>,
) -> anyhow::Result<A> {
    let command = A::augment_args(clap::Command::new("fieldripple"));
    Ok(A::from_arg_matches(&command.try_get_matches_from(words)?)?)
}

/// What the small program says of what it has not.
#[cfg(not(feature = "cli"))]
fn needs_whole(what: &str) -> String {
    format!(
        "this program was built with --features decode, to read captures and no more: {what} needs the whole one (cargo build --release)"
    )
}

/// One line on standard error.
fn complain(error: &anyhow::Error) {
    eprintln!("fieldripple: {}", one_line(error.as_ref()));
}

/// Writes to standard output; a closed pipe comes back as an error that [`run`] counts as success.
fn print(text: &str) -> anyhow::Result<ExitCode> {
    let mut output = io::stdout().lock();
    output.write_all(text.as_bytes())?;
    output.flush()?;
    Ok(ExitCode::SUCCESS)
}

fn closed_pipe(error: &anyhow::Error) -> bool {
    error.chain().any(|cause| {
        cause
            .downcast_ref::<io::Error>()
            .is_some_and(|error| error.kind() == io::ErrorKind::BrokenPipe)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_definition_holds_together() {
        definition().debug_assert();
    }
}
