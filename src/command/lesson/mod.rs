//! `lesson`: writes the teaching pack, prints a chapter of it, grades answers.

mod making;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, bail};
use fieldripple::capture::{Scratch, read_description, write_folder};
use fieldripple::lesson::{
    Book, CHAPTERS, Chapter, Plan, Settings, Sheets, chapter, exercises, grade,
};
use fieldripple::telegram::Identity;

use super::values::{whole_within, within};

/// Exercises beyond this would make the folder larger than 10 MB.
const MOST_EXERCISES: u64 = 30;
/// Where the answer sheet lies, seen from the answers.
const SHEETS: [&str; 3] = [
    "answer-sheet.csv",
    "teacher/answer-sheet.csv",
    "../teacher/answer-sheet.csv",
];

const LONG_ABOUT: &str = "\
Write a folder of pages that teach the air interface, with captures made and read for it

Open DIR/index.html in any browser; no network is needed. Everything shown comes from captures that the
program makes for this lesson and reads; the pages print the commands.";

const AFTER_HELP: &str = "\
A folder that an earlier run wrote is replaced; one that holds anything else is left alone.

Exercises: DIR/exercise is for the pupils (captures, work sheet, answers.csv to be filled in), DIR/teacher
holds the answer sheet and the truth files. --grade looks for answer-sheet.csv beside the answers, in a
folder 'teacher' there, and in one beside that folder; --key names another one.

Examples:
  fieldripple lesson pages
  fieldripple lesson pages --seed 7 --exercise 12
  fieldripple lesson --text crc
  fieldripple lesson --grade pages/exercise/answers.csv

Exit codes: 0 done, 2 bad arguments, a folder that is not replaced, answers that cannot be graded.";

/// Write pages that teach the air interface, with exercises
#[derive(clap::Args)]
#[command(long_about = LONG_ABOUT, after_help = AFTER_HELP)]
pub struct Arguments {
    /// Folder to write
    #[arg(value_name = "DIR", required_unless_present_any = ["text", "grade"])]
    dir: Option<PathBuf>,
    /// Seed of everything random, 0 to 18446744073709551615
    #[arg(long, value_name = "N", default_value_t = 1)]
    seed: u64,
    /// Number of the tag in the examples [default: 999 and a number drawn from the seed]
    #[arg(long, value_name = "CCC:N")]
    id: Option<Identity>,
    /// Ripple depth in the examples: half the change between the load states over the field
    #[arg(long, value_name = "X", default_value_t = 0.01, value_parser = within(0.002..=0.05, ""))]
    depth: f64,
    /// Samples a second in the examples, Hz
    #[arg(long, value_name = "HZ", default_value_t = 500_000, value_parser = whole_within(400_000..=2_000_000))]
    rate: u64,
    /// Add this many captures with unknown numbers and faults, a work sheet and an answer sheet
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = whole_within(0..=MOST_EXERCISES))]
    exercise: u64,
    /// Print one chapter as plain text instead, by its number or name
    #[arg(long, value_name = "CHAPTER", value_parser = by_name, conflicts_with_all = ["dir", "exercise"])]
    text: Option<&'static Chapter>,
    /// Grade a filled-in answers.csv instead
    #[arg(long, value_name = "ANSWERS.csv", conflicts_with_all = ["dir", "exercise", "text"])]
    grade: Option<PathBuf>,
    /// Answer sheet to grade by
    #[arg(long, value_name = "FILE", requires = "grade")]
    key: Option<PathBuf>,
}

fn by_name(name: &str) -> Result<&'static Chapter, String> {
    chapter(name).ok_or_else(|| {
        let names: Vec<String> = CHAPTERS
            .iter()
            .map(|chapter| format!("{} {}", chapter.number, chapter.name))
            .collect();
        format!("allowed are {}", names.join(", "))
    })
}

impl Arguments {
    fn settings(&self) -> Settings {
        let mut settings = Settings::new(self.seed);
        settings.depth = self.depth;
        settings.rate_hz = self.rate as f64;
        settings.identity = self.id.unwrap_or(settings.identity);
        settings
    }
}

/// Runs the command.
pub fn run(arguments: &Arguments) -> anyhow::Result<ExitCode> {
    if let Some(answers) = &arguments.grade {
        return super::print(&graded(answers, arguments.key.as_deref())?);
    }
    let settings = arguments.settings();
    if let Some(chapter) = arguments.text {
        return super::print(&text(&settings, chapter)?);
    }
    let dir = arguments.dir.as_deref().context("name a folder")?;
    let files = write_folder(dir, |folder| {
        fill(folder, &settings, arguments.exercise as usize)
    })?;
    super::print(&format!(
        "{}: {} chapters about {}, {files} files; open {}\n",
        dir.display(),
        CHAPTERS.len(),
        settings.identity,
        dir.join("index.html").display()
    ))
}

/// Makes everything in an empty folder and returns how many pages, figures and sheets there are.
fn fill(folder: &Path, settings: &Settings, count: usize) -> anyhow::Result<usize> {
    let plan = Plan::new(settings);
    making::write(folder, &plan.files)?;
    let taken = making::take_all(folder, settings, &plan.recipes)?;
    let mut files = Book::new(settings, plan, taken, false)?.pages(count > 0)?;
    if count > 0 {
        let drawn = exercises(settings, count);
        let (drawn, truths) = making::exercises(folder, settings, drawn)?;
        let sheets = Sheets::new(settings, drawn);
        files.extend(sheets.files(|name| truths.get(name).cloned())?);
    }
    making::write(folder, &files)?;
    Ok(files.len())
}

fn text(settings: &Settings, chapter: &Chapter) -> anyhow::Result<String> {
    let scratch = Scratch::new(&std::env::temp_dir(), "fieldripple-lesson")?;
    let plan = Plan::new(settings).of_chapter(chapter);
    making::write(scratch.path(), &plan.files)?;
    let taken = making::take_all(scratch.path(), settings, &plan.recipes)?;
    Ok(Book::new(settings, plan, taken, true)?.text(chapter)?)
}

fn graded(answers: &Path, key: Option<&Path>) -> anyhow::Result<String> {
    let read = |path: &Path| read_description(path).with_context(|| path.display().to_string());
    let given = read(answers)?;
    let sheet = match key {
        Some(key) => key.to_owned(),
        None => {
            let beside = answers.parent().unwrap_or(Path::new(""));
            let found = SHEETS
                .iter()
                .map(|sheet| beside.join(sheet))
                .find(|path| fs::metadata(path).is_ok());
            match found {
                Some(path) => path,
                None => bail!(
                    "{}: no answer-sheet.csv beside it, nor in a folder 'teacher' there or next to it; name it with --key",
                    answers.display()
                ),
            }
        }
    };
    let grade = grade(&given, &read(&sheet)?).map_err(|(of_answers, error)| {
        let path = if of_answers { answers } else { &sheet };
        anyhow::anyhow!("{}: {error}", path.display())
    })?;
    let mut text = String::new();
    let word = |right: bool| if right { "right" } else { "-" };
    text.push_str("capture              numbers  fault\n");
    for mark in &grade.marks {
        text.push_str(&format!(
            "{:<20} {:<8} {}\n",
            mark.capture,
            word(mark.numbers),
            word(mark.fault)
        ));
    }
    text.push_str(&format!(
        "{} of {} marks\n",
        grade.reached(),
        grade.possible()
    ));
    Ok(text)
}
