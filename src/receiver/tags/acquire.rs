//! Blind search: timing within the bit, parity of the telegram, ripple angle; then the first decision.

use std::ops::Range;

use num_complex::Complex32;

use super::attempt::ReadLimits;
use crate::receiver::decision::{Boundaries, Decision, Likeliest, likeliest_number};
use crate::receiver::fold::bank::timing_scores;
use crate::receiver::fold::pulse_noise::noise_between_telegrams;
use crate::receiver::fold::shape::Shape;
use crate::receiver::fold::sums::{BIT, Fold, TELEGRAM, timing_peaks};
use crate::telegram::TELEGRAM_BITS;

/// Hypotheses of timing, parity and shape that are decoded.
const HYPOTHESES: usize = 4;

/// Energy of the boundary sums relative to noise, at and above which a hypothesis is worth decoding. Noise alone gives
/// 142 ± 14 (128 signs, the better of two axes), so 230 is six standard deviations; a telegram that half of the time can
/// be read gives 650.
const WORTH_DECODING: f64 = 230.0;

/// The sums' energy at the timing between cycles may be this many times the score at the whole cycle nearest to it: half a
/// cycle off, a pulse's correlation is 1 − 3/64 of its top (0.91 of the energy), and interpolating errs by 4 % of the amplitude.
const CLOSE: f64 = 1.2;
/// A hypothesis this much less likely than another (natural logarithm) is not decoded: it has no share in the odds.
const HOPELESS: f64 = 40.0;

/// Where a number was found.
pub struct Acquired {
    /// Sign of every boundary of the likeliest number.
    pub signs: [i8; TELEGRAM_BITS],
    /// Cycles from the first value to the boundary with index 0.
    pub timing: f64,
    /// Each telegram is inverted against the one before.
    pub inverts: bool,
    /// What the tanks were taken to do to an edge.
    pub shape: Shape,
    /// Natural logarithm of how likely the ripple is with this number, against noise alone.
    pub log_likelihood: f64,
    /// Probability of this number against those that other timings, parities and shapes would give.
    pub share: f64,
}

struct Hypothesis<'a> {
    score: f64,
    timing: f64,
    shape: Shape,
    parity: &'a Parity,
}

/// Ripple made ready for searching: folded with either parity.
pub struct Stretch<'a> {
    ripple: &'a [Complex32],
    parities: [Parity; 2],
}

struct Parity {
    fold: Fold,
    /// Before anything is known: from one telegram to the next only the noise differs.
    noise_var: Option<f64>,
}

impl<'a> Stretch<'a> {
    /// Folds the ripple.
    pub fn new(ripple: &'a [Complex32], limits: &ReadLimits) -> Self {
        let (noise, folds) = crate::threads::join(
            || noise_between_telegrams(ripple, limits.real),
            || Fold::both(ripple),
        );
        let parities = folds.map(|fold| Parity {
            noise_var: noise.map(|noise| noise[usize::from(fold.inverts)]),
            fold,
        });
        Self { ripple, parities }
    }

    /// Only what lies along an axis, as real numbers.
    pub fn along(&self, axis: f64) -> Self {
        let parity = |parity: &Parity| Parity {
            fold: parity.fold.along(axis),
            noise_var: parity.noise_var,
        };
        Self {
            ripple: self.ripple,
            parities: self.parities.each_ref().map(parity),
        }
    }

    /// Energy of the boundary sums relative to noise at the best timing and parity; 0 where the noise is not known.
    pub fn strongest(&self) -> f64 {
        let folds = self.parities.iter().map(|parity| &parity.fold);
        self.best_score(folds, self.ripple.len())
    }

    /// The same of folds of a part of the ripple, in the order of the parities.
    fn best_score<'f>(&self, folds: impl Iterator<Item = &'f Fold>, values: usize) -> f64 {
        let unit = (BIT * BIT) as f64 * values as f64 / TELEGRAM as f64;
        let scores = folds.zip(&self.parities).filter_map(|(fold, parity)| {
            let best = fold.timing_scores().into_iter().fold(0.0, f64::max);
            Some(best / (unit * parity.noise_var?))
        });
        scores.fold(0.0, f64::max)
    }
}

/// The likeliest number over the most promising timings, both parities and the shapes given.
pub fn acquire(stretch: &Stretch<'_>, shapes: &[Shape], limits: &ReadLimits) -> Option<Acquired> {
    Some(likeliest(stretch, shapes, limits)?.0)
}

/// The same where its odds under the hypothesis it was found with are good enough.
pub fn acquire_sure(
    stretch: &Stretch<'_>,
    shapes: &[Shape],
    limits: &ReadLimits,
) -> Option<(Acquired, Decision)> {
    let (found, number, boundaries) = likeliest(stretch, shapes, limits)?;
    let sure = number.odds_wrong(&boundaries) <= limits.odds;
    sure.then(|| (found, number.decision(&boundaries)))
}

fn likeliest(
    stretch: &Stretch<'_>,
    shapes: &[Shape],
    limits: &ReadLimits,
) -> Option<(Acquired, Likeliest, Boundaries)> {
    let [same, inverted] = &stretch.parities;
    let telegrams = stretch.ripple.len() as f64 / TELEGRAM as f64;
    let (mut hypotheses, others) = crate::threads::join(
        || hypotheses(same, telegrams, shapes),
        || hypotheses(inverted, telegrams, shapes),
    );
    hypotheses.extend(others);
    hypotheses.sort_by(|a, b| b.score.total_cmp(&a.score));
    hypotheses.truncate(HYPOTHESES);
    let mut numbers: Vec<(Likeliest, Boundaries, &Hypothesis<'_>)> = Vec::new();
    let mut likeliest = 0.0f64;
    for hypothesis in &hypotheses {
        // No number makes the sums likelier than their own energy does.
        if 0.5 * CLOSE * hypothesis.score + HOPELESS < likeliest {
            break;
        }
        let boundaries = boundaries(hypothesis, limits);
        limits.count_decision();
        if let Some(number) = likeliest_number(&boundaries) {
            likeliest = likeliest.max(number.log_likelihood);
            numbers.push((number, boundaries, hypothesis));
        }
    }
    numbers.sort_by(|(a, ..), (b, ..)| b.log_likelihood.total_cmp(&a.log_likelihood));
    let mut numbers = numbers.into_iter();
    let (best, boundaries, hypothesis) = numbers.next()?;
    let mut codes = vec![best.code];
    let mut all = 1.0;
    for (other, ..) in numbers {
        if !codes.contains(&other.code) {
            codes.push(other.code);
            all += (other.log_likelihood - best.log_likelihood).exp();
        }
    }
    let found = Acquired {
        signs: best.signs,
        timing: hypothesis.timing,
        inverts: hypothesis.parity.fold.inverts,
        shape: hypothesis.shape,
        log_likelihood: best.log_likelihood,
        share: 1.0 / all,
    };
    Some((found, best, boundaries))
}

/// Timings and shapes with which one parity's fold is worth decoding.
fn hypotheses<'a>(parity: &'a Parity, telegrams: f64, shapes: &[Shape]) -> Vec<Hypothesis<'a>> {
    let mut found = Vec::new();
    for (&shape, scores) in shapes.iter().zip(timing_scores(&parity.fold, shapes)) {
        let unit = (BIT * BIT) as f64 * shape.energy * telegrams;
        for (score, timing) in timing_peaks(&scores) {
            // A ripple without a second telegram shows no noise to compare with: it is always tried.
            let score = score / (unit * parity.noise_var.unwrap_or(1e-300));
            if score >= WORTH_DECODING {
                found.push(Hypothesis {
                    score,
                    timing,
                    shape,
                    parity,
                });
            }
        }
    }
    found
}

/// Lengths tried for the time that a tag was there, as shares of the stretch.
const SPANS: [f64; 5] = [0.7, 0.5, 0.35, 0.25, 0.15];

/// What is there throughout has at most 0.7 of its energy in a part, and its noise's scatter is a tenth where it is worth decoding.
const AS_IN_WHOLE: f64 = 0.9;

/// Fewer telegrams than this are not searched for a part that holds the tag.
const LEAST_TO_SEARCH: usize = 4;

/// Where in a stretch the ripple stands out most, for each of several lengths, the best first: an animal walks by, and the rest
/// of the record is noise, or another animal's. Parts are laid half over each other, which for a rise and fall like a
/// cosine's finds all but 0.6 dB of what weighting by its height would.
///
/// Of a `rest`, from which tags were removed, only those in which it stands out nearly as much as in the whole: what the tags leave of
/// their own is there throughout and stands out less in a part of it, another one's ripple that comes and goes more.
pub fn strongest_spans(stretch: &Stretch<'_>, is_rest: bool) -> Vec<Range<usize>> {
    let ripple = stretch.ripple;
    let telegrams = ripple.len() / TELEGRAM;
    if telegrams < LEAST_TO_SEARCH {
        return Vec::new();
    }
    let parts: Vec<Range<usize>> = SPANS
        .iter()
        .flat_map(|share| {
            let length = ((share * telegrams as f64).round() as usize).max(1) * TELEGRAM;
            // Whole telegrams, so that all parts count parity alike.
            let step = (length / 2).div_ceil(TELEGRAM) * TELEGRAM;
            let begins = (0..ripple.len() - length).step_by(step);
            begins.map(move |from| from..from + length)
        })
        .collect();
    let scored: Vec<f64> = crate::threads::map(&parts, |part| {
        let folds = Fold::both(&ripple[part.clone()]);
        stretch.best_score(folds.iter(), part.len())
    });
    let mut by_score: Vec<(Range<usize>, f64)> = parts.into_iter().zip(scored).collect();
    let least = match is_rest {
        true => WORTH_DECODING.max(AS_IN_WHOLE * stretch.strongest()),
        false => WORTH_DECODING,
    };
    by_score.retain(|(_, score)| *score >= least);
    by_score.sort_by(|a, b| b.1.total_cmp(&a.1));
    let mut best: Vec<Range<usize>> = Vec::new();
    for (part, _) in by_score {
        if best.iter().all(|other| other.len() != part.len()) {
            best.push(part);
        }
    }
    best
}

fn boundaries(hypothesis: &Hypothesis<'_>, limits: &ReadLimits) -> Boundaries {
    let real = limits.real;
    let (shape, parity) = (&hypothesis.shape, hypothesis.parity);
    // Once more for the few that are decoded: kept for all shapes, folds would take megabytes.
    let fold = shape.matched_fold(&parity.fold);
    let sums = fold.boundaries(hypothesis.timing);
    let axis = if real { 0.0 } else { sums.axis() };
    let (along, across) = sums.along(axis);
    let energies = sums.energies.map(|energy| energy * shape.energy);
    let noise_var = parity.noise_var.unwrap_or_else(|| {
        if real {
            scatter_of_levels(&along, &energies)
        } else {
            across / shape.energy
        }
    });
    Boundaries {
        sums: along,
        energies,
        overlap: shape.overlap,
        noise_var,
        inverts: fold.inverts,
        amplitude: None,
        known: limits.known,
    }
}

/// Noise of one real number per whole pulse: what |y| scatters around its mean. Too small by up to 0.36 where the
/// noise hides the sign: a first guess for what has no second telegram or second axis to compare with.
pub fn scatter_of_levels(along: &[f64; TELEGRAM_BITS], energies: &[f64; TELEGRAM_BITS]) -> f64 {
    let total: f64 = energies.iter().sum();
    let mean = along.iter().map(|y| y.abs()).sum::<f64>() / total.max(1e-300);
    let used = energies.iter().filter(|e| **e > 0.0).count().max(2);
    let scatter: f64 = along
        .iter()
        .zip(energies)
        .filter(|(_, e)| **e > 0.0)
        .map(|(y, e)| (y.abs() - mean * e).powi(2) / e)
        .sum();
    // Quantising leaves no capture quieter than a millionth of its ripple's power.
    (scatter / (used - 1) as f64).max(1e-6 * mean * mean)
}
