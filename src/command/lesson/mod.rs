//! `lesson`: writes the teaching pack, prints a chapter of it, grades answers.

mod grading;
mod making;
mod reader;

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::{Context, ensure};
use fieldripple::capture::{Scratch, write_atomically, write_folder};
use fieldripple::lesson::{
    Book, CHAPTERS, Chapter, KEY, LessonPlan, Recipe, Settings, Sheets, chapter, exercises,
    reference,
};
use fieldripple::telegram::Identity;

use fieldripple::number::{whole_within, within};

/// Exercises beyond this would make the folder larger than 10 MB, code for browsers in its pages aside.
const MOST_EXERCISES: u64 = 30;
/// What a command of the work sheet writes.
const WORK_SHEET_REPORT: &str = "first.html";

const LONG_ABOUT: &str = "\
Write a folder of pages that teach the air interface, with captures made and read for it

Open DIR/index.html in any browser; no network is needed. Everything shown comes from captures that the
program makes for this lesson and reads; the pages print the commands.";

const AFTER_HELP: &str = "\
A folder that an earlier run wrote is replaced, with the captures that commands of the pages made in it;
one that holds anything else is left alone.

Exercises: DIR/exercise is for the pupils (captures, work sheet, answers.csv to be filled in), DIR/teacher
holds the answer sheet and the truth files; with --key FILE there is no such folder, and FILE is the answer
sheet. Numbers and faults come from a secret that only the answer sheet names, not from --seed.

--grade takes one form or a folder of them: commas, semicolons or tabs, quotes, capitals, numbers with
blanks or as 15 digits. Each cell is right, wrong, blank or unreadable, and unreadable ones are named. It
looks for answer-sheet.csv beside the answers, in a folder 'teacher' there, and in one beside that folder;
--key names another one.

Examples:
  fieldripple lesson pages
  fieldripple lesson pages --seed 7 --exercise 12 --key answer-sheet.csv
  fieldripple lesson --text crc
  fieldripple lesson --grade forms --key answer-sheet.csv --csv marks.csv

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
    #[arg(long, value_name = "HZ", default_value_t = 500_000, value_parser = whole_within(400_000..=2_000_000, "Hz"))]
    rate: u64,
    /// Add this many captures with unknown numbers and faults, a work sheet and an answer sheet
    #[arg(long, value_name = "N", default_value_t = 0, value_parser = whole_within(0..=MOST_EXERCISES, ""))]
    exercise: u64,
    /// Print one chapter as plain text instead, by its number or name
    #[arg(long, value_name = "CHAPTER", value_parser = by_name, conflicts_with_all = ["dir", "exercise"])]
    text: Option<&'static Chapter>,
    /// Draw the exercises from this secret instead of an unguessable one, to make the same again
    #[arg(long, value_name = "N", conflicts_with_all = ["text", "grade"])]
    secret: Option<u64>,
    /// Grade a filled-in answers.csv instead, or every one in a folder
    #[arg(long, value_name = "ANSWERS", conflicts_with_all = ["dir", "exercise", "text"])]
    grade: Option<PathBuf>,
    /// Answer sheet: the file to grade by; with --exercise the file to write, and DIR then holds no answers
    #[arg(long, value_name = "FILE", conflicts_with = "text")]
    key: Option<PathBuf>,
    /// Write the marks of all forms into this file, a line each
    #[arg(long, value_name = "FILE.csv", requires = "grade")]
    csv: Option<PathBuf>,
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
        let (key, csv) = (arguments.key.as_deref(), arguments.csv.as_deref());
        return super::print(&grading::graded(answers, key, csv)?);
    }
    let settings = arguments.settings();
    if let Some(chapter) = arguments.text {
        return super::print(&text(&settings, chapter)?);
    }
    let dir = arguments.dir.as_deref().context("name a folder")?;
    ensure!(
        arguments.exercise > 0 || (arguments.key.is_none() && arguments.secret.is_none()),
        "--key and --secret need --exercise or --grade beside them"
    );
    let drawn = Drawn {
        count: arguments.exercise as usize,
        secret: arguments.secret.unwrap_or_else(entropy),
        key: arguments.key.as_deref(),
    };
    // What is half written stands beside the folder, and may stand in it.
    super::interrupt::leave_nothing_unfinished([dir]);
    let files = write_folder(dir, &remade(&settings, drawn.count), |folder| {
        fill(folder, &settings, &drawn)
    })?;
    let key = match (&arguments.key, arguments.exercise) {
        (_, 0) => String::new(),
        (Some(key), _) => format!("answer sheet in {}\n", key.display()),
        (None, _) => format!(
            "answer sheet in {}: take that folder away before the others are handed out\n",
            dir.join("teacher").display()
        ),
    };
    super::print(&format!(
        "{}: {} chapters about {}, {files} files; open {}\n{key}",
        dir.display(),
        CHAPTERS.len(),
        settings.identity,
        dir.join("index.html").display()
    ))
}

/// The exercises asked for.
struct Drawn<'a> {
    count: usize,
    secret: u64,
    key: Option<&'a Path>,
}

/// A secret that nobody can guess from the pages: the standard library seeds its hash tables from the operating system's randomness.
fn entropy() -> u64 {
    use std::hash::{BuildHasher, Hasher};
    std::collections::hash_map::RandomState::new()
        .build_hasher()
        .finish()
}

/// Files in the folder that the commands printed in the pages make.
fn remade(settings: &Settings, count: usize) -> impl Fn(&str) -> bool {
    let mut names: Vec<String> = LessonPlan::new(settings)
        .recipes
        .iter()
        .map(Recipe::file)
        .collect();
    names.extend(
        exercises(settings, count)
            .iter()
            .map(|exercise| exercise.recipe.file()),
    );
    names.push(reference(settings).file());
    move |file: &str| {
        let capture = file.strip_suffix(".truth.json").unwrap_or(file);
        file == WORK_SHEET_REPORT || names.iter().any(|name| name == capture)
    }
}

/// Makes everything in an empty folder and returns how many pages, figures and sheets there are.
fn fill(folder: &Path, settings: &Settings, drawn: &Drawn<'_>) -> anyhow::Result<usize> {
    let count = drawn.count;
    let plan = LessonPlan::new(settings);
    making::write(folder, &plan.files)?;
    let taken = making::take_all(folder, settings, &plan.recipes)?;
    let mut files = Book::new(settings, plan, taken, false)?.pages(count > 0, reader::MODULE)?;
    if count > 0 {
        let hidden = Settings {
            seed: drawn.secret,
            ..*settings
        };
        let (made, truths) = making::exercises(folder, &hidden, exercises(&hidden, count))?;
        let sheets = Sheets::new(&hidden, made).files(|name| truths.get(name).cloned())?;
        match drawn.key {
            Some(key) => {
                // All that tells the answers goes into that one file.
                fs::remove_dir_all(folder.join("teacher"))?;
                let (teacher, pupils): (Vec<_>, Vec<_>) = sheets
                    .into_iter()
                    .partition(|(name, _)| name.starts_with("teacher/"));
                let answers = teacher.iter().find(|(name, _)| name == KEY);
                let (_, answers) = answers.context("there is an answer sheet")?;
                write_atomically(key, |file| file.write_all(answers)).with_context(|| {
                    format!("{}: the answer sheet cannot be written", key.display())
                })?;
                files.extend(pupils);
            }
            None => files.extend(sheets),
        }
    }
    making::write(folder, &files)?;
    Ok(files.len())
}

fn text(settings: &Settings, chapter: &Chapter) -> anyhow::Result<String> {
    super::interrupt::leave_nothing_unfinished([std::env::temp_dir().join("x").as_path()]);
    let scratch = Scratch::new(&std::env::temp_dir(), "fieldripple-lesson")?;
    let plan = LessonPlan::new(settings).of_chapter(chapter);
    making::write(scratch.path(), &plan.files)?;
    let taken = making::take_all(scratch.path(), settings, &plan.recipes)?;
    Ok(Book::new(settings, plan, taken, true)?.text(chapter)?)
}
