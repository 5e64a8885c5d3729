//! Runs a plan's trials on all threads.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Condvar, Mutex, MutexGuard, PoisonError};

use super::contest::{Contestant, Outcome};
use super::draw::Draw;
use super::outside::{Outside, Trial};
use super::scene::Scene;
use super::table::Table;

/// A part of a plan: the trials whose number leaves `index` when divided by `of`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Part {
    /// From 0.
    pub index: u64,
    /// Number of parts.
    pub of: u64,
}

impl Part {
    /// The whole plan.
    pub const WHOLE: Self = Self { index: 0, of: 1 };

    /// Trials of this part among the first so many.
    pub fn share_of(&self, trials: u64) -> u64 {
        (trials + self.of - 1 - self.index) / self.of
    }
}

/// From a point's place and a trial's draws to its scene.
pub type SceneMaker<'a, E> = &'a (dyn Fn(usize, &Draw) -> Result<Scene, E> + Sync);

/// Sees a trial and what each receiver made of it.
pub type Witness<'a, E> = &'a (dyn Fn(&Trial<'_>, &[Outcome]) -> Result<(), E> + Sync);

/// What is to be run.
pub struct Plan<'a, E> {
    /// Values of each point.
    pub points: Vec<Vec<f64>>,
    /// Who reads; the first decides when an interval is narrow enough.
    pub receivers: Vec<Contestant>,
    /// A number counts as read at these odds of being wrong.
    pub odds: f64,
    /// Seed of all draws.
    pub seed: u64,
    /// Trials a point, over all parts.
    pub trials: u64,
    /// Go on, `trials` at a time, until the 95 % interval is as narrow as this.
    pub until: Option<f64>,
    /// Which part.
    pub part: Part,
    /// Makes the scene of a trial at a point (its place in `points`).
    pub scene: SceneMaker<'a, E>,
    /// Who [`Contestant::Yours`] is.
    pub outside: Option<&'a dyn Outside>,
    /// Sees every trial that was run, before it is counted.
    pub witness: Option<Witness<'a, E>>,
}

/// How far a run is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Trials done, those of an earlier run included.
    pub done: u64,
    /// Trials wanted as far as is known.
    pub wanted: u64,
}

impl<E> Plan<'_, E> {
    /// One trial: every receiver on the same capture. `number` counts over all parts.
    ///
    /// # Errors
    /// Whatever the scene's maker says.
    pub fn trial(&self, point: usize, number: u64) -> Result<Vec<Outcome>, E> {
        let draw = Draw::new(self.seed, &self.points[point], number);
        let scene = (self.scene)(point, &draw)?;
        let recording = scene.record();
        let trial = Trial {
            point,
            number,
            draw: &draw,
            scene: &scene,
            recording: &recording,
        };
        let mut outcomes: Vec<Outcome> = Vec::with_capacity(self.receivers.len());
        for receiver in &self.receivers {
            outcomes.push(receiver.attempt(&trial, self.odds, self.outside, &outcomes));
        }
        if let Some(witness) = self.witness {
            witness(&trial, &outcomes)?;
        }
        Ok(outcomes)
    }

    /// Trials at a point that has done so many: the next stop.
    fn target(&self, table: &Table, point: usize) -> u64 {
        let batch = self.part.share_of(self.trials);
        let tally = table.tally(0, point);
        let Some(width) = self.until else {
            return batch.max(tally.trials);
        };
        let stop = tally.trials.next_multiple_of(batch.max(1)).max(batch);
        let (low, high) = tally.interval();
        if stop == tally.trials && high - low > width {
            stop + batch
        } else {
            stop
        }
    }
}

struct State<'a> {
    table: &'a mut Table,
    /// Trials handed out a point.
    handed: Vec<u64>,
    /// Trials to do a point.
    target: Vec<u64>,
    /// Outcomes that came before those of earlier trials.
    early: Vec<BTreeMap<u64, Vec<Outcome>>>,
    under_way: usize,
}

impl State<'_> {
    /// The next trial: every point gets its first before any gets its second.
    fn next(&mut self) -> Option<(usize, u64)> {
        let point = (0..self.handed.len())
            .filter(|&point| self.handed[point] < self.target[point])
            .min_by_key(|&point| self.handed[point])?;
        let ordinal = self.handed[point];
        self.handed[point] += 1;
        self.under_way += 1;
        Some((point, ordinal))
    }

    /// Counts what has come, in the order of trials.
    fn count(&mut self, point: usize, ordinal: u64, outcomes: Vec<Outcome>) {
        self.early[point].insert(ordinal, outcomes);
        while let Some(outcomes) = {
            let next = self.table.tally(0, point).trials;
            self.early[point].remove(&next)
        } {
            let first_read = outcomes[0].read;
            for (receiver, &outcome) in outcomes.iter().enumerate() {
                let tally = self.table.tally_mut(receiver, point);
                tally.count(outcome, first_read);
            }
        }
    }
}

/// Runs what `table` does not hold yet and counts it there; returns whether the plan is complete. `stop` ends it early: trials under
/// way are finished and counted. `progress` is called after every trial.
///
/// Each tally is always that of the first so many trials of its point, whatever the threads do.
///
/// # Errors
/// The first scene that cannot be made; what was counted stays.
///
/// # Panics
/// When the table is not one of the plan's points and receivers.
pub fn run<E: Send>(
    plan: &Plan<'_, E>,
    table: &mut Table,
    stop: &AtomicBool,
    progress: &(dyn Fn(Progress, &Table) + Sync),
) -> Result<bool, E> {
    assert!(
        table.points() == plan.points && table.receivers() == plan.receivers,
        "the table belongs to another plan"
    );
    let points = plan.points.len();
    let target: Vec<u64> = (0..points).map(|point| plan.target(table, point)).collect();
    let state = Mutex::new(State {
        handed: (0..points)
            .map(|point| table.tally(0, point).trials)
            .collect(),
        target,
        early: vec![BTreeMap::new(); points],
        under_way: 0,
        table,
    });
    let changed = Condvar::new();
    let failure = Mutex::new(None);
    let lock = || state.lock().unwrap_or_else(PoisonError::into_inner);
    let next = || {
        let mut state: MutexGuard<'_, State<'_>> = lock();
        loop {
            if stop.load(Ordering::Relaxed) || failed(&failure) {
                return None;
            }
            match state.next() {
                Some(trial) => return Some(trial),
                None if state.under_way == 0 => return None,
                // What is under way may ask for more.
                None => state = changed.wait(state).unwrap_or_else(PoisonError::into_inner),
            }
        }
    };
    // A job for each thread that no other may take: the receiver's own parallel parts wait for each other within a trial, and
    // a thread that waits must not begin another's trials.
    rayon::broadcast(|_| {
        while let Some((point, ordinal)) = next() {
            let leave = Leave {
                lock: &lock,
                changed: &changed,
            };
            match plan.trial(point, plan.part.index + ordinal * plan.part.of) {
                Ok(outcomes) => {
                    let mut state = lock();
                    state.count(point, ordinal, outcomes);
                    state.target[point] = plan.target(state.table, point).max(state.target[point]);
                    let now = Progress {
                        done: state.table.trials(),
                        wanted: state.target.iter().sum(),
                    };
                    progress(now, state.table);
                }
                Err(error) => {
                    failure
                        .lock()
                        .unwrap_or_else(PoisonError::into_inner)
                        .get_or_insert(error);
                }
            }
            drop(leave);
        }
    });
    if let Some(error) = failure.into_inner().unwrap_or_else(PoisonError::into_inner) {
        return Err(error);
    }
    let state = state.into_inner().unwrap_or_else(PoisonError::into_inner);
    Ok((0..points).all(|point| state.table.tally(0, point).trials >= state.target[point]))
}

/// Ends a trial even if it panics: the other threads would wait for it.
struct Leave<'l, 's, L: Fn() -> MutexGuard<'l, State<'s>>>
where
    's: 'l,
{
    lock: &'l L,
    changed: &'l Condvar,
}

impl<'l, 's, L: Fn() -> MutexGuard<'l, State<'s>>> Drop for Leave<'l, 's, L> {
    fn drop(&mut self) {
        (self.lock)().under_way -= 1;
        self.changed.notify_all();
    }
}

fn failed<E>(failure: &Mutex<Option<E>>) -> bool {
    failure
        .lock()
        .unwrap_or_else(PoisonError::into_inner)
        .is_some()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn parts_share_all_trials() {
        for trials in 0..20 {
            for of in 1..6 {
                let sum: u64 = (0..of)
                    .map(|index| Part { index, of }.share_of(trials))
                    .sum();
                assert_eq!(sum, trials);
            }
        }
    }
}
