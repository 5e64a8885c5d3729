//! What a person at a bench reads of a capture, in a terminal.

use std::fmt::Write;
use std::io::IsTerminal;

use fieldripple::decode::{Decoded, Row};

use super::picture;
#[cfg(feature = "cli")]
use super::strength;

/// Width of the labels on the left.
const LABEL: usize = 10;
/// Width of a line.
const WIDTH: usize = 100;

/// How the page may look: a picture and colour are for people at a terminal, not for files and pipes.
#[derive(Clone, Copy)]
pub struct Look {
    picture: bool,
    colour: bool,
}

impl Look {
    /// As in files and pipes.
    #[cfg(feature = "cli")]
    pub const fn plain() -> Self {
        Self {
            picture: false,
            colour: false,
        }
    }

    /// By what standard output is; colour is off where NO_COLOR says so (no-color.org: set and not empty).
    pub fn of_output() -> Self {
        let picture = std::io::stdout().is_terminal();
        let unwanted = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        let dumb = std::env::var_os("TERM").is_some_and(|term| term == "dumb");
        Self {
            picture,
            colour: picture && !unwanted && !dumb,
        }
    }
}

/// The whole page of a capture.
pub fn page(report: &Decoded, first: bool, look: Look) -> String {
    let mut text = String::new();
    if !first {
        text.push('\n');
    }
    let _ = writeln!(text, "{}", report.name());
    for (label, words) in rows(report, look.picture) {
        write_row(&mut text, label, &words, look.colour);
    }
    text
}

/// What is said of a capture, with what only the program knows: which tags the field would power, and a picture for terminals.
pub fn rows(report: &Decoded, with_picture: bool) -> Vec<Row> {
    let mut rows = report.told();
    #[cfg(feature = "cli")]
    if let Some(strength) = strength::row(report) {
        insert_after(&mut rows, "field", vec![("strength", strength)]);
    }
    if with_picture {
        insert_after(&mut rows, "capture", picture::rows(&report.reception));
    }
    rows
}

fn insert_after(rows: &mut Vec<Row>, label: &str, more: Vec<Row>) {
    let place = rows.iter().position(|row| row.0 == label);
    let place = place.map_or(rows.len(), |place| place + 1);
    rows.splice(place..place, more);
}

/// A label on the left and wrapped text beside it.
fn write_row(page: &mut String, label: &str, text: &str, coloured: bool) {
    let mut line = format!("  {label:LABEL$}");
    let mut used = line.chars().count();
    if coloured && !label.is_empty() {
        line = format!("  \x1b[{}m{label:LABEL$}\x1b[0m", colour(label));
    }
    for word in text.split(' ') {
        let length = word.chars().count();
        if used + 1 + length > WIDTH && used > LABEL + 2 {
            page.push_str(line.trim_end());
            page.push('\n');
            line = " ".repeat(LABEL + 2);
            used = LABEL + 2;
        }
        line.push(' ');
        line.push_str(word);
        used += 1 + length;
    }
    page.push_str(line.trim_end());
    page.push('\n');
}

/// Terminal colour of a label: what was read green, what was not and why yellow, the rest bold only.
fn colour(label: &str) -> &'static str {
    match label {
        "number" | "certainty" => "1;32",
        "unread" | "expected" | "candidate" | "finding" => "1;33",
        _ => "1",
    }
}
