//! clap's errors of many lines as one line: what is wrong, what is allowed, where to read more.

use std::ffi::OsString;

use fieldripple::decode::wording::cut;

/// Longer words are cut: nobody needs all of a line that was pasted by mistake.
const LONGEST_WORD: usize = 100;

/// The first paragraph of clap's message (what is wrong) with its hints, on one line; `first` is the first argument, which
/// may be the name of a command.
pub fn one_line(
    error: &clap::Error,
    definition: &clap::Command,
    first: Option<&OsString>,
) -> String {
    if error.kind() == clap::error::ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        let commands: Vec<&str> = definition
            .get_subcommands()
            .map(clap::Command::get_name)
            .collect();
        return format!(
            "fieldripple: no command given; there are {} (see 'fieldripple --help')",
            commands.join(", ")
        );
    }
    let rendered = error.render().to_string();
    let mut parts: Vec<String> = Vec::new();
    for paragraph in rendered.split("\n\n") {
        let line = paragraph
            .split_whitespace()
            .map(|word| cut(word, LONGEST_WORD))
            .collect::<Vec<_>>()
            .join(" ");
        let known = line.starts_with("Usage: ") || line.starts_with("For more information");
        if !line.is_empty() && !known {
            parts.push(line);
        }
    }
    #[cfg(not(feature = "cli"))]
    if error.kind() == clap::error::ErrorKind::InvalidSubcommand {
        parts.push(super::needs_whole("another command"));
    }
    let text = parts.join("; ");
    let text = text.strip_prefix("error: ").unwrap_or(&text);
    let command = definition
        .get_subcommands()
        .map(clap::Command::get_name)
        .find(|&name| first.is_some_and(|first| first == name))
        .map_or("fieldripple".into(), |name| format!("fieldripple {name}"));
    format!("fieldripple: {text} (see '{command} --help')")
}
