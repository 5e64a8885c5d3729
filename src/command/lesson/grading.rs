//! Grades one filled-in form, or a folder of them.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail, ensure};
use fieldripple::capture::{read_description, write_atomically};
use fieldripple::lesson::{Grade, Outcome, grade};

/// Where the answer sheet lies, seen from the answers.
const SHEETS: [&str; 3] = [
    "answer-sheet.csv",
    "teacher/answer-sheet.csv",
    "../teacher/answer-sheet.csv",
];

/// Grades what lies at `answers`; marks go into `csv`, too, if it is named.
pub fn graded(answers: &Path, key: Option<&Path>, csv: Option<&Path>) -> anyhow::Result<String> {
    let many = fs::metadata(answers).is_ok_and(|metadata| metadata.is_dir());
    let beside = match many {
        true => answers,
        false => answers.parent().unwrap_or(Path::new("")),
    };
    let sheet_path = match key {
        Some(key) => key.to_owned(),
        None => sheet_beside(answers, beside)?,
    };
    let sheet = read(&sheet_path)?;
    let own = |error| anyhow::anyhow!("{}: {error}", sheet_path.display());
    grade(&sheet, &sheet).map_err(|(_, error)| own(error))?;
    let forms = match many {
        true => forms_in(answers, &[Some(sheet_path.as_path()), csv])?,
        false => vec![answers.to_owned()],
    };
    let mut text = String::new();
    let mut lines = Vec::new();
    for form in &forms {
        match read(form).and_then(|given| {
            grade(&given, &sheet)
                .map_err(|(_, error)| anyhow::anyhow!("{}: {error}", form.display()))
        }) {
            Ok(grade) => {
                if many {
                    text.push_str(&format!("{}\n", form.display()));
                }
                text.push_str(&told(&grade));
                lines.push((name_of(form), Some(grade)));
            }
            // One bad form of many does not keep the others waiting.
            Err(error) if many => {
                text.push_str(&format!("not graded: {error:#}\n"));
                lines.push((name_of(form), None));
            }
            Err(error) => return Err(error),
        }
    }
    if let Some(csv) = csv {
        let table = marks(&lines);
        write_atomically(csv, |file| file.write_all(table.as_bytes()))
            .with_context(|| format!("{}: the marks cannot be written", csv.display()))?;
    }
    Ok(text)
}

/// A form as spreadsheets save it: UTF-8, or one byte a letter.
fn read(path: &Path) -> anyhow::Result<String> {
    read_description(path).with_context(|| path.display().to_string())
}

fn name_of(form: &Path) -> String {
    let name = form.file_stem().unwrap_or_default();
    name.to_string_lossy().into_owned()
}

fn sheet_beside(answers: &Path, beside: &Path) -> anyhow::Result<PathBuf> {
    let found = SHEETS
        .iter()
        .map(|sheet| beside.join(sheet))
        .find(|path| fs::metadata(path).is_ok());
    match found {
        Some(path) => Ok(path),
        None => bail!(
            "{}: no answer-sheet.csv beside it, nor in a folder 'teacher' there or next to it; name it with --key",
            answers.display()
        ),
    }
}

/// The forms in a folder, sorted by name, without the files that are none.
fn forms_in(folder: &Path, others: &[Option<&Path>]) -> anyhow::Result<Vec<PathBuf>> {
    let about = || folder.display().to_string();
    let same = |path: &Path| {
        let here = fs::canonicalize(path).ok();
        let other = |other: &&Path| here.is_some() && fs::canonicalize(other).ok() == here;
        others.iter().flatten().any(other)
    };
    let mut forms = Vec::new();
    for entry in fs::read_dir(folder).with_context(about)? {
        let path = entry.with_context(about)?.path();
        let table = path
            .extension()
            .is_some_and(|ending| ending.eq_ignore_ascii_case("csv"));
        if table && path.is_file() && !same(&path) {
            forms.push(path);
        }
    }
    forms.sort();
    ensure!(
        !forms.is_empty(),
        "{}: no .csv files in this folder",
        folder.display()
    );
    Ok(forms)
}

/// One form: a line a row, then what could not be read.
fn told(grade: &Grade) -> String {
    let mut text = format!(
        "{:<16} {:<11} {:<11} change\n",
        "capture", "numbers", "fault"
    );
    let mut notes = grade.remarks.clone();
    let mut at = 0;
    while at < grade.marks.len() {
        let row = &grade.marks[at].row;
        let cells: Vec<_> = grade.marks[at..]
            .iter()
            .take_while(|mark| mark.row == *row)
            .collect();
        let word = |column: &str| {
            let mark = cells.iter().find(|mark| mark.column == column);
            mark.map_or("", |mark| mark.outcome.word())
        };
        let line = format!(
            "{row:<16} {:<11} {:<11} {}",
            word("numbers"),
            word("fault"),
            word("change")
        );
        text.push_str(line.trim_end());
        text.push('\n');
        for mark in &cells {
            if let Outcome::Unreadable(what) = &mark.outcome {
                notes.push(format!("{row}, {}: {what}", mark.column));
            }
        }
        at += cells.len();
    }
    for note in notes {
        text.push_str(&format!("  {note}\n"));
    }
    text.push_str(&format!(
        "{} of {} marks\n",
        grade.reached(),
        grade.possible()
    ));
    text
}

/// All forms, a line each: name, cells, marks; nothing behind the name of a form that could not be graded.
fn marks(forms: &[(String, Option<Grade>)]) -> String {
    let cells = |grade: &Grade| -> Vec<String> {
        let one = |mark: &fieldripple::lesson::Mark| format!("{} {}", mark.row, mark.column);
        grade.marks.iter().map(one).collect()
    };
    let columns = forms
        .iter()
        .find_map(|(_, grade)| grade.as_ref().map(cells))
        .unwrap_or_default();
    let mut text = format!("form,{},reached,possible\n", columns.join(","));
    for (name, grade) in forms {
        let name = match name.contains([',', '"', '\n']) {
            true => format!("\"{}\"", name.replace('"', "\"\"")),
            false => name.clone(),
        };
        match grade {
            Some(grade) => {
                let words: Vec<&str> = grade.marks.iter().map(|mark| mark.outcome.word()).collect();
                text.push_str(&format!(
                    "{name},{},{},{}\n",
                    words.join(","),
                    grade.reached(),
                    grade.possible()
                ));
            }
            None => text.push_str(&format!("{name}{}\n", ",".repeat(columns.len() + 2))),
        }
    }
    text
}
