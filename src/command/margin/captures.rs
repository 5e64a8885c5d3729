//! `--keep` and `--from`: the captures of a plan in a folder, and what anything else read in them.

use std::collections::HashMap;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, PoisonError};

use anyhow::{Context, bail, ensure};
use fieldripple::capture::write_atomically;
use fieldripple::margin::{Contestant, Failure, Number, Outcome, Recording, Table, Trial};
use fieldripple::telegram::Identity;

use super::decoder::{Form, number, write_to};
use super::rows::Rows;

/// The list of captures in the folder.
const INDEX: &str = "index.csv";
/// Columns beside what is varied.
const FRONT: &str = "file";
/// See [`FRONT`].
const BEHIND: [&str; 5] = ["trial", "rate_hz", "sent", "own_read", "own_wrong"];
/// More than this is a typing error.
const MOST_BYTES: u64 = 4 << 30;

/// A folder that captures are written to.
pub struct Keeper {
    folder: PathBuf,
    names: Vec<String>,
    points: Vec<Vec<f64>>,
    rows: Mutex<Vec<(usize, u64, String)>>,
}

impl Keeper {
    /// An empty folder for so many captures like this one.
    pub fn new(
        folder: &Path,
        names: &[String],
        points: &[Vec<f64>],
        like: &Recording,
        trials: u64,
    ) -> anyhow::Result<Self> {
        let shown = folder.display();
        let samples = like.signal().samples.len() as u64;
        let bytes = (4 * samples)
            .saturating_mul(trials)
            .saturating_mul(points.len() as u64);
        ensure!(
            bytes <= MOST_BYTES,
            "{shown}: the captures would take some {:.1} GiB; allowed are {}: fewer --trials, fewer values or shorter captures",
            bytes as f64 / f64::from(1 << 30),
            MOST_BYTES >> 30
        );
        fs::create_dir_all(folder).with_context(|| shown.to_string())?;
        let mut entries = fs::read_dir(folder).with_context(|| shown.to_string())?;
        ensure!(
            entries.next().is_none(),
            "{shown}: the folder is not empty; give a new one"
        );
        Ok(Self {
            folder: folder.into(),
            names: names.to_vec(),
            points: points.to_vec(),
            rows: Mutex::new(Vec::new()),
        })
    }

    /// Writes a capture; `own` is what the program's receiver made of it.
    pub fn keep(&self, trial: &Trial<'_>, own: Outcome) -> anyhow::Result<()> {
        let file = format!("{}-{}.wav", trial.point + 1, trial.number + 1);
        write_to(&self.folder.join(&file), trial.recording, Form::Wav)?;
        let values: Vec<String> = self.points[trial.point]
            .iter()
            .map(f64::to_string)
            .collect();
        let sent: Vec<String> = trial
            .scene
            .sent()
            .iter()
            .map(|telegram| Identity::from_code(telegram.code))
            .map(|identity| format!("{}:{}", identity.country, identity.national))
            .collect();
        let row = format!(
            "{file},{},{},{},{},{},{}",
            values.join(","),
            trial.number + 1,
            trial.recording.signal().rate_hz.unwrap_or(0.0),
            sent.join(" "),
            u8::from(own.read),
            u8::from(own.wrong)
        );
        let mut rows = self.rows.lock().unwrap_or_else(PoisonError::into_inner);
        rows.push((trial.point, trial.number, row));
        Ok(())
    }

    /// Writes the list of what was kept.
    pub fn finish(self) -> anyhow::Result<()> {
        let mut rows = self
            .rows
            .into_inner()
            .unwrap_or_else(PoisonError::into_inner);
        rows.sort_unstable();
        let path = self.folder.join(INDEX);
        write_atomically(&path, |file| -> std::io::Result<()> {
            writeln!(
                file,
                "{FRONT},{},{}",
                self.names.join(","),
                BEHIND.join(",")
            )?;
            rows.iter()
                .try_for_each(|(.., row)| writeln!(file, "{row}"))
        })
        .with_context(|| path.display().to_string())
    }
}

/// What was read in the captures of a folder by somebody else.
pub struct Counted {
    pub names: Vec<String>,
    pub table: Table,
    /// What did not fit, a line each.
    pub notes: Vec<String>,
}

/// Counts the answers (file and number a row) against the list of a folder that [`Keeper`] wrote.
pub fn counted(folder: &Path, answers: &Path) -> anyhow::Result<Counted> {
    let path = folder.join(INDEX);
    let index = Rows::of(&path)?;
    let names = names_of(&index).with_context(|| path.display().to_string())?;
    let mut said = Said::of(answers)?;
    let mut points: Vec<Vec<f64>> = Vec::new();
    let mut outcomes: Vec<(usize, [Outcome; 2])> = Vec::new();
    let mut unanswered = 0;
    for (line, row) in &index.rows {
        let kept = Kept::of(row, names.len())
            .with_context(|| format!("{}: line {line}: not as --keep writes it", path.display()))?;
        let point = points.iter().position(|point| *point == kept.values);
        let point = point.unwrap_or_else(|| {
            points.push(kept.values.clone());
            points.len() - 1
        });
        let yours = said.of_file(&kept.file, &kept.sent);
        unanswered += u64::from(yours.is_none());
        outcomes.push((point, [kept.own, yours.unwrap_or_default()]));
    }
    let mut table = Table::new(&[Contestant::Own, Contestant::Yours], &points);
    for (point, [own, yours]) in outcomes {
        table.tally_mut(0, point).count(own, own.read);
        table.tally_mut(1, point).count(yours, own.read);
    }
    let mut notes = Vec::new();
    if unanswered > 0 {
        notes.push(format!(
            "{unanswered} of {} captures have no row in {}; they count as not read",
            index.rows.len(),
            answers.display()
        ));
    }
    if let Some(unknown) = said.left() {
        notes.push(format!(
            "{}: {unknown} is not in {}; such rows were left out",
            answers.display(),
            path.display()
        ));
    }
    Ok(Counted {
        names,
        table,
        notes,
    })
}

/// What is varied, by the titles of a list.
fn names_of(index: &Rows) -> anyhow::Result<Vec<String>> {
    let titles = &index.titles;
    let varied = titles.len().saturating_sub(1 + BEHIND.len());
    let is_list = titles.first().is_some_and(|title| title == FRONT)
        && (1..=2).contains(&varied)
        && titles[1 + varied..] == BEHIND;
    if !is_list {
        bail!("not a list of captures that --keep wrote");
    }
    Ok(titles[1..=varied].to_vec())
}

/// One capture of the list.
struct Kept {
    file: String,
    values: Vec<f64>,
    sent: Vec<Number>,
    own: Outcome,
}

impl Kept {
    fn of(row: &[String], varied: usize) -> Option<Self> {
        let (file, rest) = row.split_first()?;
        let (values, rest) = rest.split_at_checked(varied)?;
        let [_, _, sent, own_read, own_wrong] = rest else {
            return None;
        };
        let flag = |text: &str| match text {
            "0" => Some(false),
            "1" => Some(true),
            _ => None,
        };
        let finite = |text: &String| text.parse().ok().filter(|value: &f64| value.is_finite());
        Some(Self {
            file: file.clone(),
            values: values.iter().map(finite).collect::<Option<_>>()?,
            sent: sent.split_whitespace().map(number).collect::<Option<_>>()?,
            own: Outcome {
                read: flag(own_read)?,
                wrong: flag(own_wrong)?,
                failure: None,
            },
        })
    }
}

/// What was said of each file.
struct Said {
    answers: HashMap<String, Vec<Option<Number>>>,
}

impl Said {
    /// A file with its number a row (several rows for several numbers, an empty number for none); a first row with other words is titles.
    fn of(path: &Path) -> anyhow::Result<Self> {
        let table = Rows::of(path)?;
        let mut answers: HashMap<String, Vec<Option<Number>>> = HashMap::new();
        let is_title = table
            .titles
            .get(1)
            .is_some_and(|cell| !cell.is_empty() && number(cell).is_none());
        let first = (!is_title).then_some((1, table.titles));
        for (line, row) in first.into_iter().chain(table.rows) {
            let [file, rest @ ..] = row.as_slice() else {
                continue;
            };
            if file.is_empty() {
                continue;
            }
            ensure!(
                rest.len() <= 1,
                "{}: line {line} has {} columns; a row is a file and its number, as 999000000000005 or 999:5",
                path.display(),
                row.len()
            );
            // Folders before the name are whoever read it.
            let name = file.rsplit(['/', '\\']).next().unwrap_or(file);
            let known = answers.entry(name.to_string()).or_default();
            let cell = rest.first().map_or("", String::as_str);
            if !cell.is_empty() {
                known.push(number(cell));
            }
        }
        Ok(Self { answers })
    }

    /// Takes what was said of a file.
    fn of_file(&mut self, file: &str, sent: &[Number]) -> Option<Outcome> {
        let numbers = self.answers.remove(file)?;
        let read: Option<Vec<Number>> = numbers.into_iter().collect();
        Some(match read {
            Some(read) => Outcome::of(&read, sent),
            None => Outcome {
                failure: Some(Failure::Garbage),
                ..Outcome::default()
            },
        })
    }

    /// The first file, by name, that nobody asked for.
    fn left(&self) -> Option<&String> {
        self.answers.keys().min()
    }
}
