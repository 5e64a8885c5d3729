//! The value at which a given share is read.
//!
//! The share is taken as rising or falling steadily with the value: isotonic regression (pool adjacent violators, weighted by trials; Ayer et
//! al., Annals of Mathematical Statistics 26, 1955) with straight lines between the points. The interval holds the middle 95 % of
//! what 999 repetitions of the same trials give, drawn from those shares (parametric bootstrap; Efron & Tibshirani, "An introduction to
//! the bootstrap", 1993). Where the share leaps from below a tenth to above nine tenths within one step, nothing is known inside the
//! step, and the interval is at least the step.

use super::table::Tally;
use crate::world::{Place, trial_generator, uniform};

/// Repetitions; the 25th from each end bounds the interval.
const REPETITIONS: u64 = 999;
/// Repetitions left out on each side of a 95 % interval: (999 + 1)·0.025.
const OUTSIDE: usize = 25;
/// Counts that contradict the steady course more than all but 1 of 1000 repetitions do: there is no one level.
const UNSTEADY: f64 = 0.001;
/// A step from below the first to above the second share is a leap.
const LEAP: (f64, f64) = (0.1, 0.9);

/// A value with its interval; an end is `None` where it lies beyond the values tried.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Level {
    /// The value.
    pub value: f64,
    /// Lower end of the 95 % interval.
    pub low: Option<f64>,
    /// Upper end.
    pub high: Option<f64>,
}

/// Where a share is reached.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Levels {
    /// At this value.
    At(Level),
    /// More than that is read at all values tried.
    AlwaysAbove,
    /// Less than that is read at all values tried.
    AlwaysBelow,
    /// The share rises and falls.
    Unsteady,
}

/// The value at which `share` is read; the points may come in any order. `None` for fewer than two points with trials.
pub fn level_at(points: &[(f64, Tally)], share: f64) -> Option<Levels> {
    let mut points: Vec<(f64, Tally)> = points.iter().copied().filter(|p| p.1.trials > 0).collect();
    points.sort_by(|a, b| a.0.total_cmp(&b.0));
    if points.len() < 2 {
        return None;
    }
    let values: Vec<f64> = points.iter().map(|p| p.0).collect();
    let trials: Vec<f64> = points.iter().map(|p| p.1.trials as f64).collect();
    let read: Vec<f64> = points.iter().map(|p| p.1.read as f64).collect();
    let fit = Steady::new(&trials, &read);
    let mut crossings = Vec::new();
    let mut worse = 0u64;
    for repetition in 0..REPETITIONS {
        let drawn: Vec<f64> = fit
            .shares
            .iter()
            .zip(&points)
            .enumerate()
            .map(|(index, (&share, point))| {
                let place = Place([index as u64, repetition]);
                binomial(point.1.trials, share, &mut trial_generator(0, place, 0)) as f64
            })
            .collect();
        let again = Steady::new(&trials, &drawn);
        worse += u64::from(again.contradiction >= fit.contradiction);
        crossings.push(again.crossing(&values, share));
    }
    if (worse as f64) < UNSTEADY * REPETITIONS as f64 {
        return Some(Levels::Unsteady);
    }
    let value = match fit.crossing(&values, share) {
        Crossing::At(value) => value,
        Crossing::Above => return Some(Levels::AlwaysAbove),
        Crossing::Below => return Some(Levels::AlwaysBelow),
    };
    // More read than asked for everywhere: with a rising share the crossing lies before the first value.
    let place = |crossing: &Crossing| match (crossing, fit.rising) {
        (Crossing::At(value), _) => *value,
        (Crossing::Above, true) | (Crossing::Below, false) => f64::NEG_INFINITY,
        (Crossing::Below, true) | (Crossing::Above, false) => f64::INFINITY,
    };
    let mut places: Vec<f64> = crossings.iter().map(place).collect();
    places.sort_by(f64::total_cmp);
    let (mut low, mut high) = (
        places[OUTSIDE - 1].min(value),
        places[places.len() - OUTSIDE].max(value),
    );
    for (pair, at) in fit.shares.windows(2).zip(values.windows(2)) {
        let (least, most) = (pair[0].min(pair[1]), pair[0].max(pair[1]));
        if least < LEAP.0 && most > LEAP.1 {
            (low, high) = (low.min(at[0]), high.max(at[1]));
        }
    }
    let end = |value: f64| value.is_finite().then_some(value);
    Some(Levels::At(Level {
        value,
        low: end(low),
        high: end(high),
    }))
}

enum Crossing {
    At(f64),
    Above,
    Below,
}

/// Shares that rise or fall steadily.
struct Steady {
    shares: Vec<f64>,
    rising: bool,
    /// Twice the logarithm of how much likelier the shares are that each point has for itself.
    contradiction: f64,
}

impl Steady {
    /// The likelier of both directions.
    fn new(trials: &[f64], read: &[f64]) -> Self {
        let rising = pooled(trials, read);
        let falling = {
            let backwards = |all: &[f64]| all.iter().rev().copied().collect::<Vec<f64>>();
            backwards(&pooled(&backwards(trials), &backwards(read)))
        };
        let likely = |shares: &[f64]| likelihood(trials, read, shares);
        let (up, down) = (likely(&rising), likely(&falling));
        let alone: Vec<f64> = read.iter().zip(trials).map(|(k, n)| k / n).collect();
        let is_rising = up >= down;
        Self {
            contradiction: 2.0 * (likely(&alone) - up.max(down)),
            shares: if is_rising { rising } else { falling },
            rising: is_rising,
        }
    }

    fn crossing(&self, values: &[f64], share: f64) -> Crossing {
        for (pair, at) in self.shares.windows(2).zip(values.windows(2)) {
            if pair[0] != pair[1] && (pair[0].min(pair[1])..=pair[0].max(pair[1])).contains(&share)
            {
                let part = (share - pair[0]) / (pair[1] - pair[0]);
                return Crossing::At(at[0] + part * (at[1] - at[0]));
            }
        }
        if self.shares[0] > share {
            Crossing::Above
        } else {
            Crossing::Below
        }
    }
}

/// Pool adjacent violators: the likeliest rising shares.
fn pooled(trials: &[f64], read: &[f64]) -> Vec<f64> {
    // Trials, read, number of points.
    let mut blocks: Vec<(f64, f64, usize)> = Vec::new();
    for (&n, &k) in trials.iter().zip(read) {
        blocks.push((n, k, 1));
        while let [.., before, last] = blocks.as_mut_slice()
            && before.1 * last.0 >= last.1 * before.0
        {
            *before = (before.0 + last.0, before.1 + last.1, before.2 + last.2);
            blocks.pop();
        }
    }
    blocks
        .iter()
        .flat_map(|&(n, k, points)| std::iter::repeat_n(k / n, points))
        .collect()
}

/// Logarithm of the binomial likelihood, without the coefficients.
fn likelihood(trials: &[f64], read: &[f64], shares: &[f64]) -> f64 {
    let part = |count: f64, share: f64| if count > 0.0 { count * share.ln() } else { 0.0 };
    trials
        .iter()
        .zip(read)
        .zip(shares)
        .map(|((n, k), share)| part(*k, *share) + part(n - k, 1.0 - share))
        .sum()
}

/// Trials up to which each one is drawn; above, the normal approximation is within 1 % of a standard deviation for shares that matter.
const DRAWN_ONE_BY_ONE: u64 = 2000;

fn binomial(trials: u64, share: f64, generator: &mut impl rand::Rng) -> u64 {
    if trials <= DRAWN_ONE_BY_ONE {
        return (0..trials).filter(|_| uniform(generator) < share).count() as u64;
    }
    let n = trials as f64;
    let deviate = crate::world::NormalDeviates::new().draw(generator);
    (n * share + deviate * (n * share * (1.0 - share)).sqrt())
        .round()
        .clamp(0.0, n) as u64
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tally(read: u64, trials: u64) -> Tally {
        Tally {
            trials,
            read,
            ..Tally::default()
        }
    }

    #[test]
    fn levels_lie_on_the_line_between_the_points() {
        let points = [
            (0.0, tally(0, 100)),
            (1.0, tally(25, 100)),
            (2.0, tally(75, 100)),
            (3.0, tally(100, 100)),
        ];
        let Some(Levels::At(half)) = level_at(&points, 0.5) else {
            panic!()
        };
        assert!((half.value - 1.5).abs() < 1e-12);
        // A standard deviation of a share is 4.3 %, the line's slope 50 % a unit: some ±0.12 for the interval of the mean of two.
        let (low, high) = (half.low.unwrap(), half.high.unwrap());
        assert!((0.05..0.2).contains(&(1.5 - low)), "{low}");
        assert!((0.05..0.2).contains(&(high - 1.5)), "{high}");
        // The other way round, in any order.
        let falling: Vec<(f64, Tally)> = points.iter().map(|p| (-p.0, p.1)).collect();
        let Some(Levels::At(mirrored)) = level_at(&falling, 0.5) else {
            panic!()
        };
        assert!((mirrored.value + 1.5).abs() < 1e-12);
        assert_eq!(level_at(&points[2..], 0.5), Some(Levels::AlwaysAbove));
        assert_eq!(level_at(&points[..2], 0.5), Some(Levels::AlwaysBelow));
        assert_eq!(level_at(&points[..1], 0.5), None);
    }

    #[test]
    fn a_leap_is_known_to_a_step_only() {
        let points = [(0.0, tally(0, 50)), (1.0, tally(50, 50))];
        let Some(Levels::At(half)) = level_at(&points, 0.5) else {
            panic!()
        };
        assert_eq!((half.low, half.high), (Some(0.0), Some(1.0)));
    }

    #[test]
    fn a_notch_has_no_level() {
        let points = [
            (0.0, tally(100, 100)),
            (1.0, tally(10, 100)),
            (2.0, tally(100, 100)),
        ];
        assert_eq!(level_at(&points, 0.5), Some(Levels::Unsteady));
    }

    #[test]
    fn pooling_is_that_of_a_worked_example() {
        // 1/4, 3/4, 2/4, 4/4: the second and third pool to 5/8.
        let shares = pooled(&[4.0; 4], &[1.0, 3.0, 2.0, 4.0]);
        assert_eq!(shares, [0.25, 0.625, 0.625, 1.0]);
    }
}
