//! Work sheet, form for answers, and answer sheet.

use minijinja::context;
use serde_json::Value;

use super::super::LessonError;
use super::super::page_file::PageFile;
use super::super::settings::Settings;
use super::draw::{Exercise, Fault, reference};
use super::pairs::{Pair, pairs};
use crate::page::environment;

/// First line of answers and answer sheet.
pub(super) const HEADER: [&str; 4] = ["capture", "numbers", "fault", "change"];
/// Row of the answer sheet that keeps the secret seed.
pub(super) const SECRET: &str = "secret";

/// The answer sheet, from the lesson's folder on.
pub const KEY: &str = "teacher/answer-sheet.csv";

/// Everything about a set of exercises.
#[derive(Clone, Debug)]
pub struct Sheets {
    settings: Settings,
    exercises: Vec<Exercise>,
}

impl Sheets {
    /// Sheets for these captures.
    pub fn new(settings: &Settings, exercises: Vec<Exercise>) -> Self {
        Self {
            settings: *settings,
            exercises,
        }
    }

    /// Files for pupils in `exercise/`, files for the teacher in `teacher/`. `truth` gives the truth file of a capture by name; what is
    /// on the answer sheet about numbers comes from there.
    ///
    /// # Errors
    /// A sheet that cannot be filled.
    pub fn files(
        &self,
        truth: impl Fn(&str) -> Option<Value>,
    ) -> Result<Vec<PageFile>, LessonError> {
        let rows: Vec<Row> = self
            .exercises
            .iter()
            .map(|exercise| {
                let truth = truth(&exercise.recipe.name).unwrap_or_default();
                Row {
                    file: exercise.recipe.file(),
                    capture: format!("{}.wav", exercise.recipe.name),
                    numbers: numbers(&truth),
                    fault: exercise.fault.word(),
                    meaning: exercise.fault.meaning(),
                    change: exercise.fault.change(),
                    command: exercise.recipe.synth_command(),
                }
            })
            .collect();
        let faults: Vec<(&str, &str)> = Fault::ALL
            .iter()
            .map(|fault| (fault.word(), fault.meaning()))
            .collect();
        let changes: Vec<(&str, &str)> = Fault::ALL
            .iter()
            .map(|fault| (fault.change(), fault.change_meaning()))
            .collect();
        let pairs = pairs(&self.exercises);
        let fill = |name: &str, template: &str, title: &str| -> Result<Vec<u8>, LessonError> {
            let values = context! {
                title,
                css => "",
                rows,
                faults,
                changes,
                pairs,
                reference => reference(&self.settings).synth_command(),
                seed => self.settings.seed,
            };
            Ok(environment()
                .render_named_str(name, template, values)?
                .into_bytes())
        };
        Ok(vec![
            (
                "exercise/work-sheet.html".into(),
                fill(
                    "work-sheet.html",
                    include_str!("work-sheet.html"),
                    "Work sheet",
                )?,
            ),
            (
                "teacher/answer-sheet.html".into(),
                fill(
                    "answer-sheet.html",
                    include_str!("answer-sheet.html"),
                    "Answer sheet",
                )?,
            ),
            ("exercise/answers.csv".into(), table(&rows, &pairs, None)),
            (KEY.into(), table(&rows, &pairs, Some(self.settings.seed))),
        ])
    }
}

#[derive(serde::Serialize)]
struct Row {
    file: String,
    capture: String,
    numbers: String,
    fault: &'static str,
    meaning: &'static str,
    change: &'static str,
    command: String,
}

/// Numbers of the tags in a truth file, as they are typed.
fn numbers(truth: &Value) -> String {
    let all: Vec<String> = truth["tags"]
        .as_array()
        .into_iter()
        .flatten()
        .map(|tag| format!("{}:{}", tag["country"], tag["national"]))
        .collect();
    all.join(" ")
}

/// The form, or with the secret the answer sheet.
fn table(rows: &[Row], pairs: &[Pair], secret: Option<u64>) -> Vec<u8> {
    let mut text = format!("{}\n", HEADER.join(","));
    for row in rows {
        let (numbers, fault, change) = match secret {
            Some(_) => (row.numbers.as_str(), row.fault, row.change),
            None => ("", "", ""),
        };
        text.push_str(&format!("{},{numbers},{fault},{change}\n", row.capture));
    }
    for pair in pairs {
        let nearer = secret.map_or("", |_| &pair.nearer);
        text.push_str(&format!("{},,,{nearer}\n", pair.row));
    }
    if let Some(secret) = secret {
        text.push_str(&format!("{SECRET},,,{secret}\n"));
    }
    text.into_bytes()
}
