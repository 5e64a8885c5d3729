//! What is kept of a run: the CSV, and beside it the plan that it belongs to.

use std::collections::HashSet;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, anyhow, bail, ensure};
use fieldripple::capture::{read_description, write_atomically};
use fieldripple::margin::{Part, Table};
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};

use super::decoder::DecoderPlan;
use crate::command::signal::SignalArguments;

/// The flags that were given, or what an earlier version of the program wrote of them.
#[derive(Clone, Debug, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Flags {
    /// By name.
    Named {
        /// Each with its value.
        #[serde(flatten)]
        given: Map<String, Value>,
        /// The same as the earlier version would write it; not kept.
        #[serde(skip)]
        text: Option<String>,
    },
    /// All of them, as the compiler prints them.
    Text(String),
}

impl Flags {
    /// Of a run.
    pub fn of(settings: &SignalArguments) -> Self {
        Self::Named {
            given: settings.given(),
            text: Some(format!("{settings:?}")),
        }
    }
}

impl PartialEq for Flags {
    fn eq(&self, other: &Self) -> bool {
        match (self, other) {
            (Self::Named { given, .. }, Self::Named { given: other, .. }) => given == other,
            (Self::Text(text), Self::Text(other)) => text == other,
            (Self::Named { text, .. }, Self::Text(other))
            | (Self::Text(other), Self::Named { text, .. }) => text.as_ref() == Some(other),
        }
    }
}

/// A plan, as far as two tables must agree in it to be of one kind.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PlanFile {
    /// [`SCHEMA`].
    pub schema: String,
    /// Receivers change with it.
    pub program: String,
    /// Names of what is varied.
    pub vary: Vec<String>,
    /// Everything of the captures that is not varied.
    pub settings: Flags,
    pub scenario: Option<String>,
    pub seed: u64,
    pub odds: f64,
    /// Values for which the interval goes on being narrowed.
    pub until: Option<f64>,
    pub receivers: Vec<String>,
    /// Who "yours" is.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub decoder: Option<DecoderPlan>,
    /// "2/3": the second of three parts.
    #[serde(alias = "shard")]
    pub part: Option<String>,
    /// Captures a value, over all parts.
    pub trials: u64,
    /// What the captures have in common, for people.
    pub about: String,
}

/// The schema that is written.
pub const SCHEMA: &str = "fieldripple.margin-plan/1";
/// What every schema that is read ends with.
const KIND: &str = ".margin-plan/1";

/// Part I/N as a plan writes it; the whole is none.
pub fn part(part: Part) -> Option<String> {
    (part != Part::WHOLE).then(|| format!("{}/{}", part.index + 1, part.of))
}

impl PlanFile {
    /// What two plans differ in, apart from part and number of trials.
    fn difference(&self, other: &Self) -> Option<&'static str> {
        [
            ("program", self.program == other.program),
            ("names varied", self.vary == other.vary),
            ("flags of the captures", self.settings == other.settings),
            ("scenario", self.scenario == other.scenario),
            ("seed", self.seed == other.seed),
            ("odds", self.odds == other.odds),
            ("--until", self.until == other.until),
            ("receivers", self.receivers == other.receivers),
            ("decoders", self.decoder == other.decoder),
        ]
        .into_iter()
        .find_map(|(name, same)| (!same).then_some(name))
    }
}

/// Where the plan of a table stands.
pub fn plan_path(csv: &Path) -> PathBuf {
    let mut name = csv.as_os_str().to_os_string();
    name.push(".plan.json");
    PathBuf::from(name)
}

/// Writes the table.
pub fn write_csv(path: &Path, table: &Table) -> anyhow::Result<()> {
    write_atomically(path, |file| file.write_all(table.to_csv().as_bytes()))
        .with_context(|| path.display().to_string())
}

/// Writes the plan beside the table.
pub fn write_plan(csv: &Path, plan: &PlanFile) -> anyhow::Result<()> {
    let path = plan_path(csv);
    let text = format!("{}\n", serde_json::to_string_pretty(plan)?);
    write_atomically(&path, |file| file.write_all(text.as_bytes()))
        .with_context(|| path.display().to_string())
}

fn read_table(path: &Path) -> anyhow::Result<Table> {
    let text = read_description(path).with_context(|| path.display().to_string())?;
    Table::from_csv(&text).with_context(|| path.display().to_string())
}

/// The plan beside a table, as far as it can be that table's; `None` where there is none.
fn read_plan(csv: &Path, table: &Table) -> anyhow::Result<Option<PlanFile>> {
    let path = plan_path(csv);
    if !path.exists() {
        return Ok(None);
    }
    let text = read_description(&path).with_context(|| path.display().to_string())?;
    let plan: PlanFile = serde_json::from_str(&text)
        .with_context(|| format!("{}: no plan of a table", path.display()))?;
    // The program had another name once; the plans of that time are the same.
    ensure!(
        plan.schema.ends_with(KIND),
        "{}: schema is '{}'; allowed is '{SCHEMA}'",
        path.display(),
        plan.schema
    );
    if let Some(part) = &plan.part {
        part_of(part).map_err(|what| anyhow!("{}: part '{part}': {what}", path.display()))?;
    }
    let axes = table.points().first().map(Vec::len);
    ensure!(
        (1..=2).contains(&plan.vary.len()) && axes.is_none_or(|axes| axes == plan.vary.len()),
        "{}: the plan varies {} and the table {}; they do not belong together",
        path.display(),
        plan.vary.len(),
        axes.unwrap_or(0)
    );
    Ok(Some(plan))
}

/// Puts what an earlier run of the same plan kept into an empty table.
pub fn resume(csv: &Path, plan: &PlanFile, table: &mut Table) -> anyhow::Result<()> {
    if !csv.exists() {
        return Ok(());
    }
    let shown = csv.display();
    let kept = read_table(csv)?;
    match read_plan(csv, &kept)? {
        None => eprintln!(
            "fieldripple: note: {} is missing, so nothing says whether {shown} belongs to this plan",
            plan_path(csv).display()
        ),
        Some(old) => {
            if let Some(difference) = plan.difference(&old) {
                bail!(
                    "{shown} belongs to another plan: the {difference} differ; take another --csv or leave out --resume"
                );
            }
            ensure!(
                plan.part == old.part,
                "{shown} is part {} of its plan, and part {} is asked for",
                old.part.as_deref().unwrap_or("1/1"),
                plan.part.as_deref().unwrap_or("1/1")
            );
        }
    }
    table
        .add(&kept)
        .with_context(|| format!("{shown} cannot be continued"))
}

/// A table of `--gather`, with its plan where it has one.
struct GatheredPart<'a> {
    path: &'a Path,
    table: Table,
    plan: Option<PlanFile>,
}

/// Joins the parts of a plan; with the plan of the whole where all parts have theirs.
pub fn gather(files: &[PathBuf]) -> anyhow::Result<(Table, Option<PlanFile>)> {
    let mut parts = Vec::new();
    for path in files {
        let table = read_table(path)?;
        let plan = read_plan(path, &table)?;
        parts.push(GatheredPart { path, table, plan });
    }
    let mut table = empty_for(&parts)?;
    for part in &parts {
        table
            .add(&part.table)
            .with_context(|| part.path.display().to_string())?;
    }
    let whole = whole_plan(&parts)?;
    Ok((table, whole))
}

/// A table of all receivers and points of the parts, with nothing counted.
fn empty_for(parts: &[GatheredPart<'_>]) -> anyhow::Result<Table> {
    let (mut receivers, mut points) = (Vec::new(), Vec::new());
    for part in parts {
        for receiver in part.table.receivers() {
            if !receivers.contains(receiver) {
                receivers.push(*receiver);
            }
        }
        for point in part.table.points() {
            if !points.contains(point) {
                points.push(point.clone());
            }
        }
    }
    if let Some(first) = points.first().map(Vec::len)
        && points.iter().any(|point| point.len() != first)
    {
        bail!("some of the tables vary one number and some two");
    }
    Ok(Table::new(&receivers, &points))
}

/// The plan that all parts belong to, where each has its own and none is missing.
fn whole_plan(parts: &[GatheredPart<'_>]) -> anyhow::Result<Option<PlanFile>> {
    let Some((first, others)) = parts.split_first() else {
        bail!("--gather needs tables");
    };
    let Some(plan) = &first.plan else {
        note_unchecked(first.path);
        return Ok(None);
    };
    let mut have = vec![plan.part.clone()];
    for other in others {
        let Some(own) = &other.plan else {
            note_unchecked(other.path);
            return Ok(None);
        };
        goes_with(plan, first.path, own, other.path)?;
        if have.contains(&own.part) {
            bail!(
                "{}: part {} of the plan is there already",
                other.path.display(),
                own.part.as_deref().unwrap_or("1/1")
            );
        }
        have.push(own.part.clone());
    }
    let missing = missing_of(&have);
    if !missing.is_empty() {
        note_missing(&missing);
        return Ok(None);
    }
    Ok(Some(PlanFile {
        part: None,
        ..plan.clone()
    }))
}

/// Fails where two parts are of different plans.
fn goes_with(plan: &PlanFile, path: &Path, other: &PlanFile, place: &Path) -> anyhow::Result<()> {
    let (path, place) = (path.display(), place.display());
    if let Some(difference) = plan.difference(other) {
        bail!("{path} and {place} belong to different plans: the {difference} differ");
    }
    ensure!(
        plan.trials == other.trials,
        "{path} has {} trials a value, {place} has {}",
        plan.trials,
        other.trials
    );
    Ok(())
}

fn note_missing(missing: &[String]) {
    let shown = missing[..missing.len().min(MOST_NAMED)].join(", ");
    let more = match missing.len().saturating_sub(MOST_NAMED) {
        0 => String::new(),
        more => format!(" and {more} more"),
    };
    let are = if missing.len() == 1 { "is" } else { "are" };
    eprintln!("fieldripple: note: of the plan's parts {shown}{more} {are} missing");
}

/// Parts that a note names.
const MOST_NAMED: usize = 10;

/// Of the parts as the plans write them (the whole as none), those that are not among them.
fn missing_of(parts: &[Option<String>]) -> Vec<String> {
    let have: HashSet<&str> = parts.iter().flatten().map(String::as_str).collect();
    let of = parts
        .first()
        .and_then(|part| part_of(part.as_deref()?).ok())
        .map_or(0, |part| part.of);
    (1..=of)
        .map(|index| format!("{index}/{of}"))
        .filter(|name| !have.contains(name.as_str()))
        .collect()
}

/// Most parts of a plan.
const MOST_PARTS: u64 = 10_000;

/// Reads I/N.
pub fn part_of(text: &str) -> Result<Part, String> {
    let parsed = text.split_once('/').and_then(|(index, of)| {
        let (index, of): (u64, u64) = (index.parse().ok()?, of.parse().ok()?);
        (1 <= index && index <= of && of <= MOST_PARTS).then(|| Part {
            index: index - 1,
            of,
        })
    });
    parsed.ok_or_else(|| {
        format!("write I/N, for example 2/3; allowed are 1 to N of at most {MOST_PARTS}")
    })
}

fn note_unchecked(path: &Path) {
    eprintln!(
        "fieldripple: note: {} is missing, so nothing says whether the tables belong together",
        plan_path(path).display()
    );
}
