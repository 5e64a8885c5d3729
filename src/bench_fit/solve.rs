//! Least squares: the values that explain a capture best, by Levenberg and Marquardt's way.

use std::f64::consts::TAU;

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::FitError;
use super::measured::Measured;
use super::model::Model;
use super::parameters::{PARAMETERS, Parameter, Values, ring_of};

/// The parameters, the moment of switching against the record, and the part of a carrier's cycle at which the chip switches.
const UNKNOWNS: usize = PARAMETERS + 2;
/// Where the moment stands among the unknowns, and the part of a cycle.
pub(super) const MOMENT: usize = PARAMETERS;
pub(super) const LATE: usize = PARAMETERS + 1;
/// Step of a difference, in spreads: of a resonance 2e-4, of a coupling 5e-3. The ripple bends by some 0.5 % of a slope over it.
const STEP: f64 = 5e-3;
/// Most turns, and the change of the misfit's sum that ends them: a thirtieth of a standard deviation moves it by so much.
pub(super) const TURNS: usize = 40;
const SETTLED: f64 = 1e-3;
/// A damping that lets nothing move any more.
const STUCK: f64 = 1e9;
/// A cycle, as a spread of the moment of switching: only a scale.
const MOMENT_CYCLES: f64 = 1.0;
/// Cycles, as a spread of the part of a cycle; what it does repeats after half a cycle.
const LATE_CYCLES: f64 = 0.25;
/// How far the ring's own estimate is off beside its scatter, as a share of Q and of half the bandwidth: what the band smears, and what the tag
/// that rings along makes of it (checked by tests/outside/check_fit.py).
const RING_OFF: f64 = 0.02;
/// Fewer rings have a scatter of their own that says too little.
const LEAST_RINGS: usize = 4;
/// Above this k²Q₁Q₂ an antenna does not ring by itself: it beats with the tag.
const RINGS_ALONE: f64 = 0.02;

/// One explanation of a capture.
#[derive(Clone)]
pub(super) struct Solution {
    /// Departures from what was thought, in spreads of each parameter, and of the moment.
    pub at: [f64; UNKNOWNS],
    /// Sum of squares: of what is left over the noise, of the ring's departures, of what departs from the thought.
    pub sum: f64,
    /// The first of them alone.
    pub left: f64,
    /// Information (inverse covariance) of the capture alone on the parameters, in spreads, the moment free.
    pub information: DMatrix<f64>,
    /// Whether the ring took part.
    pub ring: bool,
}

/// Values at these departures.
pub(super) fn values_at(thought: &Values, at: &[f64]) -> Values {
    std::array::from_fn(|k| thought[k] * (at[k] * Parameter::ALL[k].spread()).exp())
}

/// Departures of these values.
pub(super) fn departures(
    thought: &Values,
    values: &Values,
    moment: f64,
    late_cycles: f64,
) -> [f64; UNKNOWNS] {
    let mut at = [0.0; UNKNOWNS];
    at[MOMENT] = moment / MOMENT_CYCLES;
    at[LATE] = late_cycles / LATE_CYCLES;
    let pairs = values.iter().zip(thought).zip(Parameter::ALL);
    for (own, ((value, thought), parameter)) in at.iter_mut().zip(pairs) {
        *own = (value / thought).ln() / parameter.spread();
    }
    at
}

pub(super) struct Problem<'a> {
    pub measured: &'a Measured,
    pub model: &'a Model,
    /// Coupling that decides whether the ring can be used.
    pub coupling: f64,
}

impl Problem<'_> {
    fn ring(&self) -> Option<[f64; 4]> {
        let ring = self.measured.ring?;
        let thought = &self.model.parts.thought;
        let alone = self.coupling.powi(2) * ring.q * thought[4] < RINGS_ALONE;
        if !alone || ring.rings < LEAST_RINGS {
            return None;
        }
        // The scatter of few is uncertain itself. Student's distribution leaves outside 9.2, 4.1 and 3.4 deviations of 4, 10 and 20 values what the
        // normal one leaves outside 3 (tables): 3.0, 1.7 and 1.3 times as many are not less.
        let few = 1.0 + 6.0 / (ring.rings as f64 - 1.0);
        let half_bandwidth_hz = 0.5 * self.measured.field_hz / ring.q;
        Some([
            ring.offset_hz,
            (few * ring.offset_sd_hz).hypot(RING_OFF * half_bandwidth_hz),
            ring.q,
            (few * ring.q_sd).hypot(RING_OFF * ring.q),
        ])
    }

    fn predicted(&self, period: &[Complex64], moment: f64) -> Vec<Complex64> {
        let later = moment * MOMENT_CYCLES;
        let records = self.measured.records.iter();
        records
            .flat_map(|record| record.predicted(period, later, &self.measured.lines))
            .collect()
    }

    /// The ripple predicted at a place.
    pub fn ripple(&self, at: &[f64; UNKNOWNS]) -> Result<Vec<Complex64>, FitError> {
        let values = values_at(&self.model.parts.thought, at);
        let period = self
            .model
            .lines(&values, late_cycles(at), &self.measured.lines)?;
        Ok(self.predicted(&period, at[MOMENT]))
    }

    fn ring_left(&self, at: &[f64; UNKNOWNS]) -> Vec<f64> {
        let Some([offset_hz, offset_sd_hz, q, q_sd]) = self.ring() else {
            return Vec::new();
        };
        let values = values_at(&self.model.parts.thought, at);
        let (own_hz, own_q) = ring_of(&self.model.parts.reader(&values));
        vec![(own_hz - offset_hz) / offset_sd_hz, (own_q - q) / q_sd]
    }

    /// What is left of the spectra, over the noise's deviation in each part of a complex number.
    fn left(&self, predicted: &[Complex64]) -> DVector<f64> {
        let records = self.measured.records.iter();
        let pairs = records.flat_map(|record| record.spectrum.iter().zip(&record.noise));
        let parts = pairs.zip(predicted).flat_map(|((value, noise), own)| {
            let left = (own - value) * (2.0 / noise).sqrt();
            [left.re, left.im]
        });
        DVector::from_iterator(2 * predicted.len(), parts)
    }

    fn weighted(&self, change: &[Complex64]) -> impl Iterator<Item = f64> {
        let records = self.measured.records.iter();
        let noises = records.flat_map(|record| &record.noise);
        noises.zip(change).flat_map(|(noise, change)| {
            let change = change * (2.0 / noise).sqrt();
            [change.re, change.im]
        })
    }

    /// How everything that is held against the capture changes with each unknown.
    fn slopes(
        &self,
        at: &[f64; UNKNOWNS],
        here: &[Complex64],
    ) -> Result<(DMatrix<f64>, DMatrix<f64>), FitError> {
        let rings = self.ring_left(at);
        let mut ripple = DMatrix::zeros(2 * here.len(), UNKNOWNS);
        let mut ring = DMatrix::zeros(rings.len(), UNKNOWNS);
        let unknowns: Vec<usize> = (0..UNKNOWNS).collect();
        let changes = crate::threads::map(&unknowns, |&k| {
            if k == MOMENT {
                return Ok(self.moment_slope(here));
            }
            let mut there = *at;
            there[k] += STEP;
            let other = self.ripple(&there)?;
            Ok::<_, FitError>(
                other
                    .iter()
                    .zip(here)
                    .map(|(a, b)| (a - b) / STEP)
                    .collect(),
            )
        });
        for (k, change) in changes.into_iter().enumerate() {
            for (row, slope) in self.weighted(&change?).enumerate() {
                ripple[(row, k)] = slope;
            }
            let mut there = *at;
            there[k] += STEP;
            for (row, (a, b)) in self.ring_left(&there).iter().zip(&rings).enumerate() {
                ring[(row, k)] = (a - b) / STEP;
            }
        }
        Ok((ripple, ring))
    }

    /// d/dτ of what comes τ later: −j2πf times it. At the ends of a faded stretch that is not exact, and there little is left.
    fn moment_slope(&self, here: &[Complex64]) -> Vec<Complex64> {
        let records = self.measured.records.iter();
        let frequencies = records.flat_map(|record| &record.frequencies);
        let turn = -TAU * MOMENT_CYCLES;
        here.iter()
            .zip(frequencies)
            .map(|(value, frequency)| value * Complex64::new(0.0, turn * frequency))
            .collect()
    }

    fn sums(&self, at: &[f64; UNKNOWNS], left: &DVector<f64>) -> (f64, f64) {
        let own = left.norm_squared();
        let ring: f64 = self.ring_left(at).iter().map(|v| v * v).sum();
        let prior: f64 = at[..PARAMETERS].iter().map(|v| v * v).sum();
        (own + ring + prior, own)
    }

    /// The best explanation near a place, in at most so many turns.
    pub fn solve(&self, from: [f64; UNKNOWNS], turns: usize) -> Result<Solution, FitError> {
        let mut at = from;
        let mut ripple = self.ripple(&at)?;
        let mut left = self.left(&ripple);
        let (mut sum, mut own) = self.sums(&at, &left);
        let mut damping = 1e-3;
        let mut slopes = self.slopes(&at, &ripple)?;
        for _ in 0..turns {
            let (steep, ring) = &slopes;
            let mut matrix = steep.tr_mul(steep) + ring.tr_mul(ring);
            let mut right =
                steep.tr_mul(&left) + ring.tr_mul(&DVector::from_vec(self.ring_left(&at)));
            for (k, departure) in at[..PARAMETERS].iter().enumerate() {
                matrix[(k, k)] += 1.0;
                right[k] += departure;
            }
            let mut better = None;
            while better.is_none() && damping < STUCK {
                let mut damped = matrix.clone();
                for k in 0..UNKNOWNS {
                    damped[(k, k)] *= 1.0 + damping;
                }
                let step = damped.cholesky().map(|own| own.solve(&right));
                // Half a spread at a time: the ripple is far from straight over more.
                let step = step.filter(|step| step.amax() < 1.0);
                if let Some(step) = step {
                    let next: [f64; UNKNOWNS] = std::array::from_fn(|k| at[k] - step[k]);
                    if let Ok(there) = self.ripple(&next) {
                        let rest = self.left(&there);
                        let sums = self.sums(&next, &rest);
                        if sums.0 < sum {
                            better = Some((next, there, rest, sums));
                        }
                    }
                }
                damping *= if better.is_some() { 0.1 } else { 10.0 };
            }
            let Some((next, there, rest, sums)) = better else {
                break;
            };
            let gained = sum - sums.0;
            (at, ripple, left, (sum, own)) = (next, there, rest, sums);
            slopes = self.slopes(&at, &ripple)?;
            damping = damping.max(1e-9);
            if gained < SETTLED {
                break;
            }
        }
        let (steep, ring) = &slopes;
        Ok(Solution {
            at,
            sum,
            left: own,
            information: of_parameters(&(steep.tr_mul(steep) + ring.tr_mul(ring))),
            ring: ring.nrows() > 0,
        })
    }
}

/// Cycles from a crossing to the switching at these departures, 0 to 1.
pub(super) fn late_cycles(at: &[f64; UNKNOWNS]) -> f64 {
    (LATE_CYCLES * at[LATE]).rem_euclid(1.0)
}

/// Information on the parameters where the moment of switching and the part of a cycle are not known: Schur's complement, one after the other.
fn of_parameters(all: &DMatrix<f64>) -> DMatrix<f64> {
    let mut matrix = all.clone();
    for gone in [LATE, MOMENT] {
        let own = matrix[(gone, gone)].max(f64::MIN_POSITIVE);
        matrix = DMatrix::from_fn(gone, gone, |row, column| {
            matrix[(row, column)] - matrix[(row, gone)] * matrix[(column, gone)] / own
        });
    }
    matrix
}
