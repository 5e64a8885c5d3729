//! Work sheet, form for answers, and answer sheet.

use minijinja::context;
use serde_json::Value;

use super::super::LessonError;
use super::super::book::PageFile;
use super::super::settings::Settings;
use super::draw::{Exercise, Fault, reference};
use crate::page::environment;

/// First line of answers and answer sheet.
pub(super) const HEADER: [&str; 3] = ["capture", "numbers", "fault"];

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
                    command: exercise.recipe.synth_command(),
                }
            })
            .collect();
        let faults: Vec<(&str, &str)> = Fault::ALL
            .iter()
            .map(|fault| (fault.word(), fault.meaning()))
            .collect();
        let fill = |name: &str, template: &str, title: &str| -> Result<Vec<u8>, LessonError> {
            let values = context! {
                title,
                css => "",
                rows,
                faults,
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
            ("exercise/answers.csv".into(), table(&rows, false)),
            ("teacher/answer-sheet.csv".into(), table(&rows, true)),
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

fn table(rows: &[Row], filled: bool) -> Vec<u8> {
    let mut text = format!("{}\n", HEADER.join(","));
    for row in rows {
        let (numbers, fault) = if filled {
            (row.numbers.as_str(), row.fault)
        } else {
            ("", "")
        };
        text.push_str(&format!("{},{numbers},{fault}\n", row.capture));
    }
    text.into_bytes()
}
