//! clap's errors of many lines as one line: what is wrong, what is allowed, where to read more.

/// The first paragraph of clap's message (what is wrong) with its hints, on one line.
pub fn one_line(error: &clap::Error, definition: &clap::Command) -> String {
    if error.kind() == clap::error::ErrorKind::DisplayHelpOnMissingArgumentOrSubcommand {
        let commands: Vec<&str> = definition
            .get_subcommands()
            .map(clap::Command::get_name)
            .collect();
        return format!(
            "ripplemark: no command given; there are {} (see 'ripplemark --help')",
            commands.join(", ")
        );
    }
    let rendered = error.render().to_string();
    let mut parts: Vec<String> = Vec::new();
    let mut command = String::from("ripplemark");
    for paragraph in rendered.split("\n\n") {
        let line = paragraph.split_whitespace().collect::<Vec<_>>().join(" ");
        if let Some(usage) = line.strip_prefix("Usage: ") {
            // "ripplemark synth [OPTIONS] <OUT>": the words before the first option or value name the command.
            command = usage
                .split(' ')
                .take_while(|word| !word.starts_with(['[', '<', '-']))
                .collect::<Vec<_>>()
                .join(" ");
        } else if !line.is_empty() && !line.starts_with("For more information") {
            parts.push(line);
        }
    }
    let text = parts.join("; ");
    let text = text.strip_prefix("error: ").unwrap_or(&text);
    let listed = definition
        .get_subcommands()
        .any(|known| command.split(' ').nth(1) == Some(known.get_name()));
    let command = if listed { &command } else { "ripplemark" };
    format!("ripplemark: {text} (see '{command} --help')")
}
