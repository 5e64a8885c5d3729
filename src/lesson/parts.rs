//! Figures, commands, sliders, questions: what chapters put between their paragraphs, for a page or for a terminal.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::plan::{Explorer, LessonPlan};
use super::taken::{Picture, Taken};
use crate::page::escaped;

/// Stand around answers, so that they can be gathered on a page of their own.
pub(super) const ANSWER: &str = "<!--answer-->";
/// See [`ANSWER`].
pub(super) const ANSWERED: &str = "<!--answered-->";

/// Where a chapter goes.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Form {
    /// A page for a browser.
    Page,
    /// A terminal.
    Text,
}

/// What parts are made from.
pub(super) struct Material {
    pub form: Form,
    pub plan: LessonPlan,
    pub taken: BTreeMap<String, Taken>,
    pub worked: BTreeMap<&'static str, Picture>,
}

impl Material {
    fn taken(&self, name: &str) -> Result<&Taken, String> {
        self.taken
            .get(name)
            .ok_or_else(|| format!("no capture {name} in this chapter"))
    }

    /// A figure of a capture.
    pub fn figure(&self, name: &str, panel: &str, caption: &str) -> Result<String, String> {
        let taken = self.taken(name)?;
        let picture = taken
            .pictures
            .get(panel)
            .ok_or_else(|| format!("no figure {panel} of {name}"))?;
        Ok(self.picture(&format!("{name}-{panel}"), picture, caption))
    }

    /// A figure of what was worked out.
    pub fn curve(&self, name: &str, caption: &str) -> Result<String, String> {
        let picture = self
            .worked
            .get(name)
            .ok_or_else(|| format!("no curve {name}"))?;
        Ok(self.picture(&format!("curve-{name}"), picture, caption))
    }

    fn picture(&self, file: &str, picture: &Picture, caption: &str) -> String {
        match self.form {
            Form::Text => format!("Figure: {}\n\n{caption}", picture.words),
            Form::Page => format!(
                "<figure>{}<figcaption>{}</figcaption></figure>",
                image(file, picture),
                escaped(caption)
            ),
        }
    }

    /// The commands that make and read a capture.
    pub fn make(&self, name: &str) -> Result<String, String> {
        let recipe = &self.taken(name)?.recipe;
        Ok(self.command(&[recipe.synth_command(), recipe.decode_command()]))
    }

    /// Commands, a line each.
    pub fn command(&self, lines: &[String]) -> String {
        match self.form {
            Form::Text => lines.iter().map(|line| format!("    {line}\n")).collect(),
            Form::Page => command_block(lines),
        }
    }

    /// What the program prints about a capture.
    pub fn printed(&self, name: &str) -> Result<String, String> {
        let printed = self.taken(name)?.printed.trim_end();
        Ok(match self.form {
            Form::Text => printed
                .lines()
                .map(|line| format!("    {line}\n"))
                .collect(),
            Form::Page => format!(
                "<pre class=\"printed\" tabindex=\"0\" role=\"region\" aria-label=\"What the program prints of {name}\">{}</pre>",
                escaped(printed)
            ),
        })
    }

    /// Begins a question, its answer, and ends it.
    pub fn question(&self, mark: &str) -> String {
        match (self.form, mark) {
            (Form::Text, "ask") => "## Check yourself".into(),
            (Form::Text, "answer") => "Answer:".into(),
            (Form::Text, _) => String::new(),
            (Form::Page, "ask") => "<div class=\"question\"><h2>Check yourself</h2>".into(),
            (Form::Page, "answer") => {
                format!("{ANSWER}\n<div class=\"answer\"><h3>Answer</h3>")
            }
            (Form::Page, _) => format!("</div>\n{ANSWERED}\n</div>"),
        }
    }

    /// Sliders over captures, with figures and outcome of each.
    pub fn explorer(&self, key: &str) -> Result<String, String> {
        let explorer = self
            .plan
            .explorers
            .iter()
            .find(|explorer| explorer.key == key)
            .ok_or_else(|| format!("no sliders {key}"))?;
        match self.form {
            Form::Text => self.explorer_text(explorer),
            Form::Page => self.explorer_page(explorer),
        }
    }

    fn explorer_text(&self, explorer: &Explorer) -> Result<String, String> {
        let mut text = String::new();
        for (at, name) in &explorer.positions {
            let taken = self.taken(name)?;
            let _ = writeln!(text, "- {}: {}", title(explorer, at), story(taken));
            let _ = writeln!(text, "    {}\n", taken.recipe.synth_command());
        }
        Ok(text)
    }

    fn explorer_page(&self, explorer: &Explorer) -> Result<String, String> {
        let mut page = format!(
            "<div class=\"explorer\" id=\"{}\">\n<div class=\"controls\">\n",
            explorer.key
        );
        for (number, (axis, start)) in explorer.axes.iter().zip(&explorer.start).enumerate() {
            let id = format!("{}-{number}", explorer.key);
            let _ = writeln!(
                page,
                "<p><label for=\"{id}\">{}: <output for=\"{id}\">{}</output></label><input type=\"range\" id=\"{id}\" min=\"0\" max=\"{}\" step=\"1\" value=\"{start}\" data-stops=\"{}\"></p>",
                escaped(axis.label),
                escaped(&axis.stops[*start]),
                axis.stops.len() - 1,
                escaped(&axis.stops.join("|")),
            );
        }
        page.push_str("</div>\n<div class=\"choices\" aria-live=\"polite\">\n");
        for (at, name) in &explorer.positions {
            let taken = self.taken(name)?;
            let place: Vec<String> = at.iter().map(usize::to_string).collect();
            let read = if taken.numbers().is_empty() {
                "unread"
            } else {
                "read"
            };
            let _ = writeln!(
                page,
                "<div class=\"choice\" data-at=\"{}\"><p class=\"place\">{}</p><p class=\"outcome {read}\">{}</p>",
                place.join(","),
                escaped(&title(explorer, at)),
                escaped(&story(taken))
            );
            if !taken.pictures.is_empty() {
                page.push_str("<div class=\"figures\">");
            }
            for (panel, picture) in &taken.pictures {
                let _ = writeln!(
                    page,
                    "<figure>{}</figure>",
                    image(&format!("{name}-{panel}"), picture)
                );
            }
            if !taken.pictures.is_empty() {
                page.push_str("</div>");
            }
            let _ = writeln!(
                page,
                "{}</div>",
                command_block(&[taken.recipe.synth_command()])
            );
        }
        page.push_str("</div>\n</div>");
        Ok(page)
    }
}

/// What a position of the sliders gives.
fn story(taken: &Taken) -> String {
    match taken.supply() {
        Some(supply) => format!("{supply} {}", taken.outcome()),
        None => taken.outcome(),
    }
}

/// Commands, a line each; a line is broken between words only.
fn command_block(lines: &[String]) -> String {
    let line = |line: &String| -> String {
        let words: Vec<String> = line
            .split(' ')
            .map(|word| format!("<span>{}</span>", escaped(word)))
            .collect();
        words.join(" ")
    };
    let lines: Vec<String> = lines.iter().map(line).collect();
    format!("<pre class=\"command\">{}</pre>", lines.join("\n"))
}

/// Where the sliders stand.
fn title(explorer: &Explorer, at: &[usize]) -> String {
    let parts: Vec<String> = explorer
        .axes
        .iter()
        .zip(at)
        .map(|(axis, &stop)| format!("{} {}", axis.label, axis.stops[stop]))
        .collect();
    parts.join("; ")
}

/// A drawing that lies beside the page.
fn image(file: &str, picture: &Picture) -> String {
    let words = escaped(&picture.words);
    let (width, height) = size(&picture.svg);
    let img = format!(
        "<img src=\"figures/{file}.svg\" width=\"{width}\" height=\"{height}\" alt=\"{words}\">"
    );
    match picture.narrow_svg {
        Some(_) => format!(
            "<picture><source media=\"(max-width: 44rem)\" srcset=\"figures/{file}-narrow.svg\">{img}</picture>"
        ),
        None => img,
    }
}

/// Width and height that a drawing states.
fn size(svg: &str) -> (&str, &str) {
    let attribute = |name: &str| {
        svg.split_once(name)
            .and_then(|(_, rest)| rest.split('"').next())
            .unwrap_or("100")
    };
    (attribute("width=\""), attribute("height=\""))
}
