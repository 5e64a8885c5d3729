//! What a package holds besides the program: completions for shells and manual pages, both from the program's one definition.

use std::fs;
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;

use anyhow::Context;
use clap_complete::Shell;

use crate::command::definition;
use fieldripple::capture::write_atomically;

const NAME: &str = "fieldripple";

/// Prints what a shell reads to complete the program's commands and options.
pub fn completions(shell: Shell) -> anyhow::Result<ExitCode> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut definition(), NAME, &mut script);
    super::print(&String::from_utf8_lossy(&script))
}

/// Writes a page for the program and one for each of its commands.
pub fn manual(folder: &Path) -> anyhow::Result<ExitCode> {
    let place = || folder.display().to_string();
    fs::create_dir_all(folder).with_context(place)?;
    let mut program = definition();
    program.build();
    let commands = program
        .get_subcommands()
        .filter(|command| command.get_name() != "help");
    let pages =
        std::iter::once((NAME.to_string(), program.clone())).chain(commands.map(|command| {
            let name = format!("{NAME}-{}", command.get_name());
            (name.clone(), command.clone().name(name))
        }));
    for (name, command) in pages {
        let path = folder.join(format!("{name}.1"));
        write_atomically(&path, |file| {
            clap_mangen::Man::new(command)
                .render(file)
                .and_then(|()| file.flush())
        })
        .with_context(|| path.display().to_string())?;
    }
    Ok(ExitCode::SUCCESS)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A manual page writes a hyphen as `\-`.
    #[test]
    fn pages_and_completions_know_every_option() {
        let folder = tempfile::tempdir().unwrap();
        manual(folder.path()).unwrap();
        let program = definition();
        let mut script = Vec::new();
        clap_complete::generate(Shell::Bash, &mut definition(), NAME, &mut script);
        let script = String::from_utf8(script).unwrap();
        assert!(folder.path().join("fieldripple.1").exists());
        for command in program.get_subcommands() {
            let page = folder
                .path()
                .join(format!("{NAME}-{}.1", command.get_name()));
            let page = fs::read_to_string(page).unwrap().replace('\\', "");
            for option in command.get_arguments().filter_map(clap::Arg::get_long) {
                let option = format!("--{option}");
                assert!(
                    page.contains(&option) && script.contains(&option),
                    "{} {option}",
                    command.get_name()
                );
            }
        }
    }
}
