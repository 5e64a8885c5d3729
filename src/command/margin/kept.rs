//! What is kept of a run: the CSV, and beside it the plan that it belongs to.

use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::{Context, bail, ensure};
use fieldripple::capture::{read_description, write_atomically};
use fieldripple::margin::{Part, Table};
use serde::{Deserialize, Serialize};

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
    pub settings: String,
    pub scenario: Option<String>,
    pub seed: u64,
    pub odds: f64,
    /// Values for which the interval goes on being narrowed.
    pub until: Option<f64>,
    pub receivers: Vec<String>,
    /// "2/3": the second of three parts.
    #[serde(alias = "shard")]
    pub part: Option<String>,
    /// Captures a value, over all parts.
    pub trials: u64,
    /// What the captures have in common, for people.
    pub about: String,
}

/// The only schema.
pub const SCHEMA: &str = "fieldripple.margin-plan/1";

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

/// The plan beside a table; `None` where there is none.
fn read_plan(csv: &Path) -> anyhow::Result<Option<PlanFile>> {
    let path = plan_path(csv);
    if !path.exists() {
        return Ok(None);
    }
    let text = read_description(&path).with_context(|| path.display().to_string())?;
    let plan: PlanFile = serde_json::from_str(&text)
        .with_context(|| format!("{}: no plan of a table", path.display()))?;
    ensure!(
        plan.schema == SCHEMA,
        "{}: schema is '{}'; allowed is '{SCHEMA}'",
        path.display(),
        plan.schema
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
    match read_plan(csv)? {
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

/// Joins the parts of a plan; with the plan of the whole where all parts have theirs.
pub fn gather(files: &[PathBuf]) -> anyhow::Result<(Table, Option<PlanFile>)> {
    let mut parts = Vec::new();
    for path in files {
        parts.push((path, read_table(path)?, read_plan(path)?));
    }
    let mut table = {
        let mut receivers = Vec::new();
        let mut points = Vec::new();
        for (_, part, _) in &parts {
            receivers.extend(
                part.receivers()
                    .iter()
                    .filter(|one| !receivers.contains(*one))
                    .copied()
                    .collect::<Vec<_>>(),
            );
            for point in part.points() {
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
        Table::new(&receivers, &points)
    };
    for (path, part, _) in &parts {
        table
            .add(part)
            .with_context(|| path.display().to_string())?;
    }
    let Some((first, others)) = parts.split_first() else {
        bail!("--gather needs tables");
    };
    let Some(plan) = &first.2 else {
        note_unchecked(first.0);
        return Ok((table, None));
    };
    let mut parts = vec![plan.part.clone()];
    for (path, _, other) in others {
        let Some(other) = other else {
            note_unchecked(path);
            return Ok((table, None));
        };
        if let Some(difference) = plan.difference(other) {
            bail!(
                "{} and {} belong to different plans: the {difference} differ",
                first.0.display(),
                path.display()
            );
        }
        ensure!(
            plan.trials == other.trials,
            "{} has {} trials a value, {} has {}",
            first.0.display(),
            plan.trials,
            path.display(),
            other.trials
        );
        if parts.contains(&other.part) {
            bail!(
                "{}: part {} of the plan is there already",
                path.display(),
                other.part.as_deref().unwrap_or("1/1")
            );
        }
        parts.push(other.part.clone());
    }
    let of = plan
        .part
        .as_deref()
        .and_then(|part| part.split_once('/'))
        .and_then(|(_, of)| of.parse::<usize>().ok());
    let missing: Vec<String> = (1..=of.unwrap_or(1))
        .map(|index| format!("{index}/{}", of.unwrap_or(1)))
        .filter(|name| of.is_some() && !parts.iter().flatten().any(|have| have == name))
        .collect();
    if !missing.is_empty() {
        eprintln!(
            "fieldripple: note: of the plan's parts {} {} missing",
            missing.join(", "),
            if missing.len() == 1 { "is" } else { "are" }
        );
    }
    let whole = PlanFile {
        part: None,
        ..plan.clone()
    };
    Ok((table, missing.is_empty().then_some(whole)))
}

fn note_unchecked(path: &Path) {
    eprintln!(
        "fieldripple: note: {} is missing, so nothing says whether the tables belong together",
        plan_path(path).display()
    );
}
