//! One piece of ripple → the numbers in it, strongest first: find timing and parity, decide, fit, subtract, go on.

use num_complex::{Complex32, Complex64};

use super::band::Kept;
use super::decision::{Boundaries, Decision, decide};
use super::fold::{BIT, Fold, HALF, TELEGRAM};
use super::pieces::Piece;
use super::pulse::Pulse;
use crate::telegram::TELEGRAM_BITS;

/// A telegram contradicted by more than noise this improbable does not fit. Of right ones one in 2000 is lost.
const LEAST_FIT: f64 = 5e-4;

/// Hypotheses of timing and parity that are decoded.
const HYPOTHESES: usize = 4;

/// Tags read from one piece before giving up; a field powers a handful at most.
const MOST_TAGS: usize = 8;

/// What the reading is to satisfy.
#[derive(Clone, Copy, Debug)]
pub struct ReadLimits {
    /// Largest odds of a wrong number that count as read.
    pub odds: f64,
    /// The ripple is one real number (no carrier): noise has one part, not two.
    pub real: bool,
}

/// One tag in one piece, read or not.
#[derive(Clone, Debug)]
pub struct Attempt {
    /// The number and its odds.
    pub decision: Decision,
    /// Boundary timing: cycles from the piece's first value to the boundary with index 0.
    pub timing: f64,
    /// Each telegram is inverted against the one before.
    pub inverts: bool,
    /// Ripple angle, radians in (−π/2, π/2].
    pub angle: f64,
    /// Rms ripple relative to the field.
    pub depth: f64,
    /// Telegrams that were added up.
    pub telegrams: f64,
    /// Eb/N0 of a single telegram's bits, as a ratio.
    pub ebn0: f64,
    /// The ripple has the shape of ideal edges as far as the noise lets see.
    pub ideal_edges: bool,
}

/// What a piece gave.
#[derive(Clone, Debug, Default)]
pub struct PieceReading {
    /// Numbers within the limits, in the order found.
    pub read: Vec<Attempt>,
    /// The best that was left and did not qualify.
    pub left: Option<Attempt>,
    /// The ripple with every read tag taken off.
    pub residual: Vec<Complex32>,
}

impl Attempt {
    /// Whether the attempt counts as a number read.
    pub fn is_read(&self, limits: &ReadLimits) -> bool {
        self.decision.odds_wrong <= limits.odds && self.fits()
    }

    /// What contradicts the number is within what noise does.
    pub fn fits(&self) -> bool {
        self.decision.misfit >= LEAST_FIT
    }

    /// Eb/N0 after adding up the telegrams, dB.
    pub fn folded_db(&self) -> f64 {
        10.0 * (self.ebn0 * self.telegrams).max(1e-30).log10()
    }
}

/// Reads all tags in a piece.
pub fn read_piece(piece: &Piece, field_hz: f64, limits: &ReadLimits) -> PieceReading {
    let kept = Kept::new(piece.band_hz, field_hz);
    let mut result = PieceReading {
        residual: piece.ripple.clone(),
        ..PieceReading::default()
    };
    while result.read.len() < MOST_TAGS {
        let Some((attempt, cleaned)) = best_attempt(&result.residual, kept, limits) else {
            break;
        };
        let again = result
            .read
            .iter()
            .any(|other| other.decision.telegram.code == attempt.decision.telegram.code);
        if !attempt.is_read(limits) || again {
            result.left = (!again).then_some(attempt);
            break;
        }
        result.residual = cleaned;
        result.read.push(attempt);
    }
    result
}

/// Most likely number in the ripple, with the ripple less that number's waveform.
fn best_attempt(
    ripple: &[Complex32],
    kept: Kept,
    limits: &ReadLimits,
) -> Option<(Attempt, Vec<Complex32>)> {
    let telegrams = ripple.len() as f64 / TELEGRAM as f64;
    // Noise before anything is known: from one telegram to the next only the noise differs.
    let pulses = BoundaryPulses::new(ripple);
    let mut hypotheses: Vec<(f64, f64, bool)> = Vec::new();
    let folds = [false, true].map(|inverts| Fold::new(ripple, inverts));
    for fold in &folds {
        let scores = fold.timing_scores();
        for timing in 0..BIT {
            let (before, here, after) = (
                scores[(timing + BIT - 1) % BIT],
                scores[timing],
                scores[(timing + 1) % BIT],
            );
            if here >= before && here > after {
                let bend = before - 2.0 * here + after;
                let shift = if bend < 0.0 {
                    0.5 * (before - after) / bend
                } else {
                    0.0
                };
                let fine = (timing as f64 + shift).rem_euclid(BIT as f64);
                hypotheses.push((here, fine, fold.inverts));
            }
        }
    }
    hypotheses.sort_by(|a, b| b.0.total_cmp(&a.0));
    hypotheses.truncate(HYPOTHESES);
    let mut best: Option<(Decision, f64, &Fold)> = None;
    for (_, timing, inverts) in hypotheses {
        let fold = &folds[usize::from(inverts)];
        let noise_var = pulses.noise_between_telegrams(inverts, limits.real);
        let Some(decision) = decide_at(fold, timing, noise_var, limits.real) else {
            continue;
        };
        let better = best.as_ref().is_none_or(|(other, _, _)| {
            (decision.odds_wrong, -decision.log_likelihood)
                < (other.odds_wrong, -other.log_likelihood)
        });
        if better {
            best = Some((decision, timing, fold));
        }
    }
    let (decision, timing, fold) = best?;
    refine(ripple, &decision, timing, fold, telegrams, kept, limits)
}

fn decide_at(fold: &Fold, timing: f64, noise_var: Option<f64>, real: bool) -> Option<Decision> {
    let sums = fold.boundaries(timing);
    let axis = if real { 0.0 } else { sums.axis() };
    let (along, across) = sums.along(axis);
    let noise_var = noise_var.unwrap_or_else(|| {
        if real {
            spread_of_levels(&along, &sums.energies)
        } else {
            across
        }
    });
    decide(&Boundaries {
        sums: along,
        energies: sums.energies,
        noise_var,
        inverts: fold.inverts,
    })
}

/// Noise of one real number a boundary: what |y| scatters around its mean. Too small by up to 0.36 where the noise
/// hides the sign; only a first guess for records of one telegram.
fn spread_of_levels(along: &[f64; TELEGRAM_BITS], energies: &[f64; TELEGRAM_BITS]) -> f64 {
    let total: f64 = energies.iter().sum();
    let mean = along.iter().map(|y| y.abs()).sum::<f64>() / total;
    let scatter: f64 = along
        .iter()
        .zip(energies)
        .filter(|(_, e)| **e > 0.0)
        .map(|(y, e)| (y.abs() - mean * e).powi(2) / e)
        .sum();
    (scatter / TELEGRAM_BITS as f64).max(1e-12 * mean * mean)
}

/// With the signs known: timing, angle, pulse shape and noise once more, and the odds that follow from them.
fn refine(
    ripple: &[Complex32],
    first: &Decision,
    timing: f64,
    fold: &Fold,
    telegrams: f64,
    kept: Kept,
    limits: &ReadLimits,
) -> Option<(Attempt, Vec<Complex32>)> {
    let timing = best_timing(fold, &first.signs, timing);
    let sums = fold.boundaries(timing);
    let energy: f64 = sums.energies.iter().sum();
    let along: Complex64 = sums
        .sums
        .iter()
        .zip(&first.signs)
        .map(|(y, &b)| y * f64::from(b))
        .sum::<Complex64>()
        / energy;
    let amplitude = if limits.real {
        Complex64::new(along.re, 0.0)
    } else {
        along
    };

    // Boundaries over the whole piece, from one before its start.
    let whole = timing.floor() as isize;
    let count = ripple.len() / BIT + 3;
    let signs: Vec<i8> = (0..count)
        .map(|j| {
            let (telegram, index) = if j == 0 {
                (1, TELEGRAM_BITS - 1)
            } else {
                ((j - 1) / TELEGRAM_BITS, (j - 1) % TELEGRAM_BITS)
            };
            let turned = fold.inverts && telegram % 2 == 1;
            if turned {
                -first.signs[index]
            } else {
                first.signs[index]
            }
        })
        .collect();
    let begin = whole - BIT as isize;
    let ideal = Pulse::ideal(amplitude, timing - timing.floor());
    let mut without_ideal = ripple.to_vec();
    ideal.add_to(&mut without_ideal, begin, &signs, -1.0);
    let power = |values: &[Complex32]| values.iter().map(|v| f64::from(v.norm_sqr())).sum::<f64>();
    let left_ideal = power(&without_ideal);
    let mut ideal_edges = true;
    let mut cleaned = without_ideal;
    let mut wave_power = (amplitude.norm_sqr(), amplitude * amplitude);
    if let Some(fitted) = Pulse::fit(ripple, begin, &signs) {
        let mut without_fitted = ripple.to_vec();
        fitted.add_to(&mut without_fitted, begin, &signs, -1.0);
        let left_fitted = power(&without_fitted);
        // Free values of the pulse take their share of the noise; more than that by six standard deviations is shape.
        let free = Pulse::FREE_VALUES as f64 * if limits.real { 0.5 } else { 1.0 };
        let noise = left_fitted / ripple.len() as f64;
        let expected = noise * (free + 6.0 * free.sqrt());
        if left_ideal - left_fitted > expected {
            ideal_edges = false;
            let mut wave = vec![Complex32::default(); ripple.len()];
            fitted.add_to(&mut wave, begin, &signs, 1.0);
            let square: Complex64 = wave
                .iter()
                .map(|v| {
                    let v = Complex64::new(v.re.into(), v.im.into());
                    v * v
                })
                .sum();
            let mean = (power(&wave) - noise * free).max(0.0) / ripple.len() as f64;
            wave_power = (mean, square / ripple.len() as f64);
            cleaned = without_fitted;
        }
    }

    let residual = BoundaryPulses::new(&cleaned);
    let mut noise_var = residual.variance(limits.real);
    // Something that repeats with the telegram, another tag, does not average out as noise does.
    let folded = BoundaryPulses::of_fold(&Fold::new(&cleaned, fold.inverts)).variance(limits.real)
        / telegrams.max(1.0);
    if folded > 1.3 * noise_var {
        noise_var = folded;
    }
    let noise_var = noise_var.max(1e-14 * amplitude.norm_sqr());
    let axis = if limits.real {
        0.0
    } else {
        0.5 * wave_power.1.arg()
    };
    let correlation_axis = if limits.real { 0.0 } else { amplitude.arg() };
    let (along, _) = sums.along(correlation_axis);
    let decision = decide(&Boundaries {
        sums: along,
        energies: sums.energies,
        noise_var,
        inverts: fold.inverts,
    })?;
    let (depth, ebn0) = {
        let kept_ripple = kept.of_ripple(&decision.signs, fold.inverts);
        let power = if ideal_edges {
            (amplitude.norm() / kept_ripple).powi(2)
        } else {
            // The shape seen is what the tanks let through, mostly well within the band.
            wave_power.0
        };
        (power.sqrt(), power * kept.of_noise() / (2.0 * noise_var))
    };
    let attempt = Attempt {
        decision,
        timing,
        inverts: fold.inverts,
        angle: fold_angle(axis),
        depth,
        telegrams,
        ebn0,
        ideal_edges,
    };
    Some((attempt, cleaned))
}

/// Folds an angle into (−π/2, π/2]: the axis has no direction.
fn fold_angle(angle: f64) -> f64 {
    let folded = angle.rem_euclid(std::f64::consts::PI);
    if folded > std::f64::consts::FRAC_PI_2 {
        folded - std::f64::consts::PI
    } else {
        folded
    }
}

/// Timing at which the signed boundary sums are largest, near `timing`.
fn best_timing(fold: &Fold, signs: &[i8; TELEGRAM_BITS], timing: f64) -> f64 {
    let strength = |timing: f64| {
        let sums = fold.boundaries(timing);
        let signed = sums.sums.iter().zip(signs).map(|(y, &b)| y * f64::from(b));
        signed.sum::<Complex64>().norm()
    };
    let (before, here, after) = (
        strength(timing - 2.0),
        strength(timing),
        strength(timing + 2.0),
    );
    // Near its top the correlation of square pulses is a triangle, equally steep on both sides.
    let steepest = (here - before).max(here - after).max(1e-300);
    let moved = timing + ((after - before) / steepest).clamp(-2.0, 2.0);
    if strength(moved) > here {
        moved
    } else {
        timing
    }
}

/// Boundary-pulse correlation at every cycle of a stretch.
struct BoundaryPulses {
    values: Vec<Complex64>,
}

impl BoundaryPulses {
    fn new(ripple: &[Complex32]) -> Self {
        let mut total = Complex64::default();
        let mut sums = Vec::with_capacity(ripple.len() + 1);
        sums.push(total);
        for value in ripple {
            total += Complex64::new(value.re.into(), value.im.into());
            sums.push(total);
        }
        Self::from_running(&sums)
    }

    fn of_fold(fold: &Fold) -> Self {
        let mut total = Complex64::default();
        let mut sums = vec![total];
        for value in &fold.sums {
            total += value;
            sums.push(total);
        }
        Self::from_running(&sums)
    }

    fn from_running(sums: &[Complex64]) -> Self {
        let values = (HALF..sums.len().saturating_sub(HALF))
            .map(|middle| {
                (sums[middle + HALF] - 2.0 * sums[middle] + sums[middle - HALF]) / BIT as f64
            })
            .collect();
        Self { values }
    }

    /// Mean square per part: both parts of a complex ripple are noise, a real one has one.
    fn variance(&self, real: bool) -> f64 {
        let parts = if real { 1.0 } else { 2.0 };
        self.values.iter().map(|y| y.norm_sqr()).sum::<f64>()
            / (parts * self.values.len().max(1) as f64)
    }

    /// Half the mean square of the difference between telegrams; `None` where less than a quarter telegram overlaps.
    fn noise_between_telegrams(&self, inverts: bool, real: bool) -> Option<f64> {
        if self.values.len() < TELEGRAM + TELEGRAM / 4 {
            return None;
        }
        let sign = if inverts { -1.0 } else { 1.0 };
        let parts = if real { 1.0 } else { 2.0 };
        let pairs = self.values.len() - TELEGRAM;
        let sum: f64 = self
            .values
            .iter()
            .zip(&self.values[TELEGRAM..])
            .map(|(a, b)| (a - b * sign).norm_sqr())
            .sum();
        Some((sum / (2.0 * parts * pairs as f64)).max(1e-300))
    }
}
