//! Pages to play with: each one file with its own script. It holds the program's code for a browser where there is one, and what the program
//! worked out beforehand for where it is not or does not start.

mod bench;
mod breaking;
mod folding;

use minijinja::context;
use serde_json::{Value, json};

use super::LessonError;
use super::page_file::PageFile;
use super::settings::Settings;
use super::taken::Taken;
use crate::page::{MODULE_SCRIPT, controls_sheet, environment, groups};
use crate::play::{Question, TELEGRAM_PER_BIT, answered, halves, thinned};

/// Name and version of the program.
pub(super) const PROGRAM: &str = concat!("fieldripple ", env!("CARGO_PKG_VERSION"));

/// What stands in the list of pages.
#[derive(Clone, Copy, Debug, serde::Serialize)]
pub(super) struct Listed {
    /// Name of the file, without ending.
    pub name: &'static str,
    /// Title.
    pub title: &'static str,
    /// What can be tried there.
    pub about: &'static str,
}

/// The pages in the order of the list.
pub(super) const PAGES: [Listed; 4] = [
    Listed {
        name: "play-bench",
        title: "The bench",
        about: "move, turn and tune coils, and see currents, phasor and envelope follow",
    },
    Listed {
        name: "play-folding",
        title: "Folding",
        about: "lay telegrams on each other until the number is certain, or see it fail",
    },
    Listed {
        name: "play-break",
        title: "Break it",
        about: "flip bits, shift by half a bit, add a transponder or a reader",
    },
    Listed {
        name: "play-decode",
        title: "Decode it yourself",
        about: "from a waveform to bytes, checked step by step",
    },
];

/// All of them. `taken` finds a capture of the lesson by name; `module` is the program's code for a browser, where there is one.
pub(super) fn pages<'a>(
    settings: &Settings,
    taken: impl Fn(&str) -> Option<&'a Taken>,
    module: Option<&str>,
) -> Result<Vec<PageFile>, LessonError> {
    let wave = taken("field").and_then(|taken| taken.mean_telegram.as_deref());
    let contents = [
        (
            include_str!("bench.html"),
            include_str!("bench.js"),
            bench::data(settings)?,
        ),
        (
            include_str!("folding.html"),
            include_str!("folding.js"),
            folding::data(settings)?,
        ),
        (
            include_str!("breaking.html"),
            include_str!("breaking.js"),
            breaking::data(settings)?,
        ),
        (
            include_str!("decoding.html"),
            include_str!("decoding.js"),
            decoding(settings, wave.unwrap_or_default()),
        ),
    ];
    PAGES
        .iter()
        .zip(contents)
        .map(|(listed, (body, script, data))| {
            let css = format!("{}{}", controls_sheet(), include_str!("explore.css"));
            // "</" would end the script.
            let data = data.to_string().replace("</", "<\\/");
            let mut environment = environment();
            environment.add_template("explore.html", include_str!("explore.html"))?;
            let page = environment.render_named_str(
                "page.html",
                body,
                context! {
                    title => listed.title,
                    css,
                    module,
                    module_script => MODULE_SCRIPT,
                    shared => include_str!("explore.js"),
                    script,
                    data,
                    id => settings.identity.to_string(),
                    program => PROGRAM,
                },
            )?;
            Ok((format!("{}.html", listed.name), page.into_bytes()))
        })
        .collect()
}

/// Questions with their answers, for pages that cannot ask. Files made on the way are left out: they would be the largest part by far.
fn known(questions: impl IntoIterator<Item = Question>) -> Result<Vec<Value>, LessonError> {
    questions
        .into_iter()
        .map(|question| {
            let mut answer = answered(&question)?;
            if let Some(answer) = answer.as_object_mut() {
                answer.remove("file");
                answer.remove("json");
            }
            Ok(json!([question, answer]))
        })
        .collect()
}

/// The waveform of the example, and what is right.
fn decoding(settings: &Settings, wave: &[f64]) -> Value {
    let telegram = settings.telegram();
    json!({
        "wave": thinned(wave, &telegram),
        "per_bit": TELEGRAM_PER_BIT,
        "halves": halves(&telegram),
        "groups": groups(&telegram),
        "id": settings.identity.to_string(),
    })
}
