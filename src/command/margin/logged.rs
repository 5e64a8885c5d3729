//! `--log`: what a reader printed, by what was played to it at the time.

use std::path::Path;

use anyhow::{Context, bail, ensure};
use fieldripple::margin::{Contestant, Number, Outcome, Table};

use super::captures::Counted;
use super::decoder::number;
use super::rows::Rows;
use super::timetable::{Writing, over_midnight, time, whole_days};

/// Titles of a timetable before what is varied.
const FRONT: [&str; 2] = ["from", "to"];
/// More trials than this is a typing error.
const MOST_TRIALS: f64 = 1e6;

/// A stretch of time in which one thing was played.
struct Stretch {
    from_s: f64,
    to_s: f64,
    values: Vec<f64>,
}

/// Counts the log's numbers in the trials of the timetable; `every` cuts its rows into trials of that length.
pub fn counted(
    log: &Path,
    timetable: &Path,
    every: Option<f64>,
    sent: Number,
) -> anyhow::Result<Counted> {
    let (names, written, stretches) = stretches(timetable)?;
    let printed = printed(log, written, stretches[0].from_s)?;
    let trials = trials(&stretches, every).with_context(|| timetable.display().to_string())?;
    let mut points: Vec<Vec<f64>> = Vec::new();
    for trial in &trials {
        if !points.contains(&trial.values) {
            points.push(trial.values.clone());
        }
    }
    let mut table = Table::new(&[Contestant::Reader], &points);
    let mut outside = printed.len();
    for trial in &trials {
        // A number belongs to the trial it came in; the end belongs to the next.
        let from = printed.partition_point(|one| one.0 < trial.from_s);
        let upto = printed.partition_point(|one| one.0 < trial.to_s);
        let within = &printed[from..upto.max(from)];
        outside -= within.len();
        let numbers: Vec<Number> = within.iter().filter_map(|one| one.1).collect();
        let outcome = Outcome::of(&numbers, &[sent]);
        let point = points.iter().position(|point| *point == trial.values);
        let tally = table.tally_mut(0, point.context("a point was taken from every trial")?);
        tally.count(outcome, outcome.read);
    }
    let mut notes = Vec::new();
    let others = printed.iter().filter(|one| one.1.is_none()).count();
    if others > 0 {
        notes.push(format!(
            "{}: {others} of {} rows are no number; they count as nothing read",
            log.display(),
            printed.len()
        ));
    }
    if outside > 0 {
        notes.push(format!(
            "{}: {outside} of {} rows are at times that no trial of {} covers; they were left out",
            log.display(),
            printed.len(),
            timetable.display()
        ));
    }
    Ok(Counted {
        names,
        table,
        notes,
    })
}

/// What is varied, how times are written, and the rows in the order of time.
fn stretches(path: &Path) -> anyhow::Result<(Vec<String>, Writing, Vec<Stretch>)> {
    let shown = path.display();
    let rows = Rows::of(path)?;
    let names = match rows.titles.split_at_checked(FRONT.len()) {
        Some((front, names)) if front == FRONT && (1..=2).contains(&names.len()) => names.to_vec(),
        _ => bail!(
            "{shown}: the first row is '{}'; allowed are from, to, and the name of what was varied (one or two), for example from,to,tone.1.level_db",
            rows.titles.join(",")
        ),
    };
    let mut writing = None;
    let mut times = Vec::new();
    let mut all_values = Vec::new();
    for (line, row) in &rows.rows {
        let at = || format!("{shown}: line {line}");
        ensure!(
            row.len() == FRONT.len() + names.len(),
            "{}: {} columns; the first row has {}",
            at(),
            row.len(),
            FRONT.len() + names.len()
        );
        for cell in &row[..FRONT.len()] {
            times.push(alike(cell, &mut writing).with_context(at)?);
        }
        let value = |cell: &String| {
            let value: Option<f64> = cell.parse().ok();
            value
                .filter(|value| value.is_finite())
                .with_context(|| format!("{}: '{cell}' is not a number", at()))
        };
        let values = row[FRONT.len()..].iter().map(value);
        all_values.push(values.collect::<anyhow::Result<Vec<f64>>>()?);
    }
    let writing = writing.with_context(|| format!("{shown}: there is no row below the first"))?;
    if writing == Writing::Clock {
        over_midnight(&mut times);
    }
    let mut stretches = Vec::new();
    for ((pair, values), (line, _)) in times.chunks(2).zip(all_values).zip(&rows.rows) {
        ensure!(
            pair[0] < pair[1],
            "{shown}: line {line}: it ends before it begins"
        );
        stretches.push(Stretch {
            from_s: pair[0],
            to_s: pair[1],
            values,
        });
    }
    stretches.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
    if let Some(pair) = stretches
        .windows(2)
        .find(|pair| pair[1].from_s < pair[0].to_s)
    {
        bail!(
            "{shown}: two rows overlap, at {:?} and {:?}: one thing can be played at a time",
            pair[0].values,
            pair[1].values
        );
    }
    Ok((names, writing, stretches))
}

/// A time that is written as all before it.
fn alike(cell: &str, writing: &mut Option<Writing>) -> anyhow::Result<f64> {
    let (this, time_s) = time(cell)?;
    let before = *writing.get_or_insert(this);
    ensure!(
        before == this,
        "'{cell}': {} after {}; allowed is one of them throughout",
        this.name(),
        before.name()
    );
    Ok(time_s)
}

/// Times and numbers (none: something else was printed), in the order of time.
fn printed(
    path: &Path,
    writing: Writing,
    first_s: f64,
) -> anyhow::Result<Vec<(f64, Option<Number>)>> {
    let shown = path.display();
    let table = Rows::of(path)?;
    let is_title = table.titles.first().is_some_and(|cell| time(cell).is_err());
    let first = (!is_title).then_some((1, table.titles));
    let mut known = Some(writing);
    let (mut times, mut numbers) = (Vec::new(), Vec::new());
    for (line, row) in first.into_iter().chain(table.rows) {
        let at = || format!("{shown}: line {line}");
        let [when, what] = row.as_slice() else {
            bail!(
                "{}: {} columns; a row is a time and a number",
                at(),
                row.len()
            );
        };
        times.push(alike(when, &mut known).with_context(at)?);
        numbers.push(number(what));
    }
    if writing == Writing::Clock {
        over_midnight(&mut times);
        let days_s = times
            .first()
            .map_or(0.0, |&time_s| whole_days(time_s, first_s));
        times.iter_mut().for_each(|time_s| *time_s += days_s);
    }
    let mut all: Vec<(f64, Option<Number>)> = times.into_iter().zip(numbers).collect();
    all.sort_by(|a, b| a.0.total_cmp(&b.0));
    Ok(all)
}

/// Each stretch, or as many trials of a length as fit into it.
fn trials(stretches: &[Stretch], every: Option<f64>) -> anyhow::Result<Vec<Stretch>> {
    let length = |stretch: &Stretch| stretch.to_s - stretch.from_s;
    // Rounding of clock times must not cost the last one.
    let count = |stretch: &Stretch, every: f64| (length(stretch) / every + 1e-6).floor();
    let all: f64 = match every {
        None => stretches.len() as f64,
        Some(every) => stretches.iter().map(|one| count(one, every)).sum(),
    };
    ensure!(
        (1.0..=MOST_TRIALS).contains(&all),
        "{all} trials; allowed are 1 to {MOST_TRIALS}"
    );
    let mut trials = Vec::new();
    for stretch in stretches {
        let (number, length_s) = match every {
            None => (1, length(stretch)),
            Some(every) => (count(stretch, every) as u64, every),
        };
        for index in 0..number {
            let from_s = stretch.from_s + index as f64 * length_s;
            trials.push(Stretch {
                from_s,
                to_s: from_s + length_s,
                values: stretch.values.clone(),
            });
        }
    }
    Ok(trials)
}
