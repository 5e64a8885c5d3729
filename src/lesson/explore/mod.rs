//! Pages to play with: each one file with its own script, and values that the program worked out.

mod bench;
mod breaking;
mod folding;

use minijinja::context;
use serde_json::{Value, json};

use super::LessonError;
use super::page_file::PageFile;
use super::settings::Settings;
use super::steps::steps;
use super::taken::Taken;
use crate::page::{controls_sheet, environment, groups};
use crate::receiver::BIT;

/// Values of a waveform for each bit: enough for round corners, few enough to be carried in the page.
const PER_BIT: usize = 8;

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

/// All of them. `taken` finds a capture of the lesson by name.
pub(super) fn pages<'a>(
    settings: &Settings,
    taken: impl Fn(&str) -> Option<&'a Taken>,
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
            folding::data(settings),
        ),
        (
            include_str!("breaking.html"),
            include_str!("breaking.js"),
            breaking::data(settings, &taken),
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
                    shared => include_str!("explore.js"),
                    script,
                    data,
                    id => settings.identity.to_string(),
                },
            )?;
            Ok((format!("{}.html", listed.name), page.into_bytes()))
        })
        .collect()
}

/// The waveform of the example, and what is right.
fn decoding(settings: &Settings, wave: &[f64]) -> Value {
    let telegram = settings.telegram();
    let step = BIT / PER_BIT;
    let wave: Vec<f64> = wave
        .chunks(step)
        .map(|some| (100.0 * some.iter().sum::<f64>() / some.len() as f64).round() / 100.0)
        .collect();
    let halves: String = steps(&telegram)
        .iter()
        .flat_map(|step| step.halves)
        .map(|half| if half == '+' { '+' } else { '-' })
        .collect();
    json!({
        "wave": wave,
        "per_bit": PER_BIT,
        "halves": halves,
        "groups": groups(&telegram),
        "id": settings.identity.to_string(),
    })
}
