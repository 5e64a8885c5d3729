//! Where to begin: tunings tried on a grid, with the load either way round, and every explanation that the best of them lead to.

use num_complex::Complex64;

use super::FitError;
use super::measured::{Measured, correlation};
use super::model::Model;
use super::parameters::{PARAMETERS, Values};
use super::solve::{LATE, MOMENT, Problem, Solution, TURNS, departures, late_cycles, values_at};

/// Tunings tried of antenna and tag, as shares of what was thought: a tank of Q 30 is 3 % wide, so each is half a bandwidth from the next; as far
/// as an antenna with a wrong capacitor or hand near it goes (common practice, no source).
const ANTENNA_OFF: [f64; 9] = [-0.08, -0.06, -0.04, -0.02, 0.0, 0.02, 0.04, 0.06, 0.08];
const TAG_OFF: [f64; 7] = [-0.045, -0.03, -0.015, 0.0, 0.015, 0.03, 0.045];
/// Places that are followed to their end, with the load either way round.
const FOLLOWED: usize = 4;
/// Turns after which only the best few go on.
const FIRST_TURNS: usize = 6;
/// How many go on.
const FINALISTS: usize = 3;
/// Cycles around where the telegram was found in which another tuning may have it: half a half bit.
const NEARBY: isize = 8;

/// A place to begin.
struct Start {
    inverted: bool,
    values: Values,
    moment: f64,
    /// Share of the ripple that is explained so, and more of it is better.
    explained: f64,
}

/// Explanations found, the best first, each with whether the load was the other way round.
pub(super) fn explanations(
    measured: &mut Measured,
    models: &[Model; 2],
) -> Result<Vec<(bool, Solution)>, FitError> {
    let thought = models[0].parts.thought;
    let period = models[0].lines(&thought, 0.0, &measured.lines)?;
    let mean = measured.lay(&period);
    let starts = starts(measured, models, &mean)?;
    let mut found = all_from(measured, models, &starts)?;
    // What a bench leaves of stretches without a noise of their own is their noise.
    if measured
        .records
        .iter()
        .any(|record| !record.noise_is_known())
    {
        for _ in 0..2 {
            let Some((inverted, best)) = found.first() else {
                break;
            };
            take_noise(measured, &models[usize::from(*inverted)], best)?;
            found = again(measured, models, &found)?;
        }
    }
    Ok(found)
}

fn starts(
    measured: &Measured,
    models: &[Model; 2],
    mean: &[Complex64],
) -> Result<Vec<Start>, FitError> {
    let grid: Vec<(f64, f64)> = ANTENNA_OFF
        .iter()
        .flat_map(|&antenna| TAG_OFF.map(|tag| (antenna, tag)))
        .collect();
    let mut starts = Vec::new();
    for inverted in [false, true] {
        let model = &models[usize::from(inverted)];
        let tried = crate::threads::map(&grid, |&off| start(measured, model, mean, off));
        let mut own: Vec<Start> = Vec::new();
        for start in tried {
            own.extend(start?.map(|start| Start { inverted, ..start }));
        }
        own.sort_by(|a, b| b.explained.total_cmp(&a.explained));
        own.truncate(FOLLOWED);
        starts.extend(own);
    }
    Ok(starts)
}

/// What one tuning explains; nothing if the ripple would have to be turned round.
fn start(
    measured: &Measured,
    model: &Model,
    mean: &[Complex64],
    (antenna_off, tag_off): (f64, f64),
) -> Result<Option<Start>, FitError> {
    let power: f64 = mean.iter().map(|line| line.norm_sqr()).sum();
    let mut values = model.parts.thought;
    values[0] *= 1.0 + antenna_off;
    values[3] *= 1.0 + tag_off;
    if let Some(ring) = measured.ring.filter(|ring| ring.rings > 1) {
        values[1] = ring.q;
    }
    let period = model.lines(&values, 0.0, &measured.lines)?;
    let own_power: f64 = period.iter().map(|line| line.norm_sqr()).sum();
    let alike = correlation(mean, &period, &measured.lines);
    let near = (-NEARBY..=NEARBY).map(|later| {
        let place = later.rem_euclid(alike.len() as isize) as usize;
        (later, alike[place].re * alike.len() as f64)
    });
    let best = near.max_by(|a, b| a.1.total_cmp(&b.1));
    Ok(best
        .filter(|(_, along)| *along > 0.0 && own_power > 0.0)
        .map(|(later, along)| {
            // The ripple goes with the square of the coupling.
            values[2] *= (along / own_power).sqrt();
            Start {
                inverted: false,
                values,
                moment: later as f64,
                explained: along * along / (own_power * power),
            }
        }))
}

fn all_from(
    measured: &Measured,
    models: &[Model; 2],
    starts: &[Start],
) -> Result<Vec<(bool, Solution)>, FitError> {
    let mut found = Vec::new();
    for start in starts {
        let model = &models[usize::from(start.inverted)];
        let from = departures(&model.parts.thought, &start.values, start.moment, 0.0);
        let problem = Problem {
            measured,
            model,
            coupling: start.values[2],
        };
        if let Ok(solution) = problem.solve(from, FIRST_TURNS) {
            found.push((start.inverted, solution));
        }
    }
    let mut found = distinct(found);
    found.truncate(FINALISTS);
    again(measured, models, &found)
}

/// Goes on from each; from the best also half a period of the part of a cycle on.
fn again(
    measured: &Measured,
    models: &[Model; 2],
    found: &[(bool, Solution)],
) -> Result<Vec<(bool, Solution)>, FitError> {
    let mut anew = Vec::new();
    let mut go_on = |inverted: bool, from: &Solution, late: f64| {
        let model = &models[usize::from(inverted)];
        let mut at = from.at;
        at[LATE] += late;
        let problem = Problem {
            measured,
            model,
            coupling: values_at(&model.parts.thought, &from.at)[2],
        };
        if let Ok(solution) = problem.solve(at, TURNS) {
            anew.push((inverted, solution));
        }
    };
    for (inverted, solution) in found {
        go_on(*inverted, solution, 0.0);
    }
    if let Some((inverted, solution)) = found.first() {
        go_on(*inverted, solution, 1.0);
    }
    Ok(distinct(anew))
}

fn take_noise(measured: &mut Measured, model: &Model, solution: &Solution) -> Result<(), FitError> {
    let values = values_at(&model.parts.thought, &solution.at);
    let period = model.lines(&values, late_cycles(&solution.at), &measured.lines)?;
    let moment = solution.at[MOMENT];
    for record in &mut measured.records {
        let predicted = record.predicted(&period, moment, &measured.lines);
        record.take_noise_from(&predicted);
    }
    Ok(())
}

/// The best first, each once: two that lie within a hundredth of a spread of each other are the same.
fn distinct(mut found: Vec<(bool, Solution)>) -> Vec<(bool, Solution)> {
    found.sort_by(|a, b| a.1.sum.total_cmp(&b.1.sum));
    let mut kept: Vec<(bool, Solution)> = Vec::new();
    for one in found {
        let same = |other: &(bool, Solution)| {
            let parameters = one.1.at[..PARAMETERS].iter().zip(&other.1.at);
            one.0 == other.0 && parameters.into_iter().all(|(a, b)| (a - b).abs() < 1e-2)
        };
        if !kept.iter().any(same) {
            kept.push(one);
        }
    }
    kept
}
