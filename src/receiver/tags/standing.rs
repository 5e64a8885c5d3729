//! What the ripple says of tags fitted together in it.

use std::ops::Range;

use num_complex::{Complex32, Complex64};

use super::attempt::{ReadLimits, fits_noise};
use super::near::are_near;
use super::noise_left::folded_excess;
use super::refine::{LEFT_BY_EDGES, Refined};
use super::shared::Shared;
use crate::receiver::decision::{Boundaries, Known, decide};
use crate::receiver::dsp::phasor::single;
use crate::receiver::fold::pulse_noise::pulse_variance;
use crate::receiver::fold::sums::{BIT, Fold, TELEGRAM};
use crate::telegram::TELEGRAM_BITS;

/// Bits from one control bit to the next: words moved against each other by so many are words again.
const BETWEEN_CONTROL_BITS: usize = 9;

/// Square pulses this many cycles apart no longer cancel: their correlation is 1 − 3/32 of the distance.
const APART: f64 = 10.0;
/// A sum of tags that begin up to that apart, seen through tanks out of tune, passes for one that begins up to this far from any.
const SUM_BEGINS: f64 = 24.0;

/// Never may as much be left as this share of the weakest tag's power: a number that is not there leaves as much as the one that is.
const MOST_UNEXPLAINED: f64 = 0.25;

/// A tag shows where 15 % of another one's ripple is left if it is as strong as that; of it remains, if the numbers differ in two signs
/// of 128, 1 − (124/128)² = 6 % of the power: 0.0014 of the other one's.
const SWALLOWED: f64 = 1e-3;

/// Half of a tag's pulses, as power: what is weaker leaves the sign of every sum of both as it is.
const BENEATH: f64 = 0.25;

/// Where the pulses of several tags cancel to less than this share of their power (levels within 1.2 dB at one angle and time), what is
/// left there is edges rather than signs: even ideal ones fall between values, …
const CANCELLED: f64 = 0.01;
/// … and tanks of different bandwidths leave as much as one cycle between the pulses would (6/32 of the power that cancels).
const CANCELLED_BY_TANKS: f64 = 0.08;

/// What the ripple says of tags fitted together in it.
pub struct Standing {
    placed: Vec<Placed>,
    /// What the tags leave, where all are there.
    rest: Vec<Complex32>,
    /// Power of what repeats and no number explains.
    unexplained: f64,
    /// Power of each tag.
    powers: Vec<f64>,
}

impl Standing {
    /// Each number, and each set of them that may change together, is sure; none that begin together are near numbers.
    pub fn is_sure(&self, limits: &ReadLimits) -> bool {
        let near = self.placed.iter().enumerate().any(|(k, one)| {
            self.placed[..k]
                .iter()
                .any(|other| one.begins_with(other) && are_near(one.code, other.code))
        });
        !near
            && (1u32..1 << self.placed.len()).all(|set| {
                let chosen: Vec<&Placed> = (0..self.placed.len())
                    .filter(|k| set >> k & 1 == 1)
                    .map(|k| &self.placed[k])
                    .collect();
                set_is_sure(&self.rest, &chosen, limits)
            })
    }

    /// More is left unexplained than the tags' edges account for.
    pub fn is_incomplete(&self) -> bool {
        let weakest = self.powers.iter().copied().fold(f64::INFINITY, f64::min);
        self.unexplained > (LEFT_BY_EDGES * self.all()).min(MOST_UNEXPLAINED * weakest)
    }

    /// Whether all the rest, were it one other tag's ripple, would be too weak to turn over a sign of this one's.
    pub fn outweighs(&self, tag: usize) -> bool {
        let own = self.powers[tag];
        self.all() - own + self.unexplained <= BENEATH * own
    }

    /// What no number explains is too weak to be another tag's ripple that the tags' own waveforms have swallowed.
    pub fn leaves_little(&self) -> bool {
        let weakest = self.powers.iter().copied().fold(f64::INFINITY, f64::min);
        self.unexplained < SWALLOWED * weakest
    }

    fn all(&self) -> f64 {
        self.powers.iter().sum()
    }
}

/// Asks the ripple, with one complex amplitude free for each tag: pulses fitted cycle by cycle have room for parts of
/// another tag's signs. `None` where the tags cannot be told from each other at all.
pub fn standing(ripple: &[Complex32], tags: &[Refined], limits: &ReadLimits) -> Option<Standing> {
    let shared = Shared::of(&tags.iter().collect::<Vec<_>>())?;
    let amplitudes = shared.amplitudes(ripple, limits.real)?;
    let Shared {
        span: shared,
        waves,
    } = shared;
    let mut rest = ripple[shared.clone()].to_vec();
    for (wave, amplitude) in waves.iter().zip(&amplitudes) {
        let amplitude = single(*amplitude);
        rest.iter_mut()
            .zip(*wave)
            .for_each(|(rest, value)| *rest -= value * amplitude);
    }
    let placed: Vec<Placed> = tags
        .iter()
        .zip(&amplitudes)
        .map(|(tag, amplitude)| Placed::new(tag, &shared, *amplitude))
        .collect();
    Some(Standing {
        unexplained: unexplained(&rest, limits),
        powers: placed.iter().map(|tag| tag.amplitude.norm_sqr()).collect(),
        placed,
        rest,
    })
}

/// One tag's boundaries in the part of the ripple that it shares with others.
struct Placed {
    code: u64,
    /// Cycles from the first shared value to its boundary 0, less than a bit.
    timing: f64,
    signs: [f64; TELEGRAM_BITS],
    inverts: bool,
    /// Edges as ideal as the noise lets see.
    ideal: bool,
    /// Cycles from the first shared value to the beginning of its telegram, less than a telegram.
    begin: f64,
    /// Mean boundary sum of its waveform along its signs.
    amplitude: Complex64,
}

fn set_is_sure(rest: &[Complex32], placed: &[&Placed], limits: &ReadLimits) -> bool {
    let first = placed[0];
    if !placed[1..].iter().all(|other| first.may_cancel(other)) {
        return true;
    }
    let telegrams = rest.len() as f64 / TELEGRAM as f64;
    let fold = Fold::new(rest, first.inverts);
    let noise_var = pulse_variance(rest, limits.real)
        * folded_excess(rest, first.inverts, telegrams, limits.real);
    // A change of all signs at a boundary takes 2·(the tags' pulses there) away: how likely the rest is with and without.
    let (mut sums, mut energies) = ([0.0; TELEGRAM_BITS], [0.0; TELEGRAM_BITS]);
    for tag in placed {
        let seen = fold.boundaries(tag.timing);
        for j in 0..TELEGRAM_BITS {
            let own = tag.amplitude * tag.signs[j];
            sums[j] += (seen.sums[j] * own.conj()).re;
            for other in placed {
                let both = own * (other.amplitude * other.signs[j]).conj();
                energies[j] += seen.energies[j] * both.re * tag.correlation(other);
            }
        }
    }
    let counts = fold.boundaries(first.timing).energies;
    let powers: f64 = placed.iter().map(|tag| tag.amplitude.norm_sqr()).sum();
    let mut parts = energies.iter().zip(&counts);
    let share = if placed.iter().all(|tag| tag.ideal) {
        CANCELLED
    } else {
        CANCELLED_BY_TANKS
    };
    if placed.len() > 1 && parts.any(|(energy, count)| *energy < share * powers * count) {
        return false;
    }
    let whole: f64 = counts.iter().sum();
    let strength = energies.iter().sum::<f64>() / whole.max(1e-300);
    if strength <= 0.0 || noise_var <= 0.0 {
        return false;
    }
    let amplitude = strength.sqrt();
    let boundaries = Boundaries {
        sums: std::array::from_fn(|j| first.signs[j] * (sums[j] + energies[j]) / amplitude),
        energies: energies.map(|energy| energy.max(0.0) / strength),
        overlap: 0.0,
        noise_var,
        inverts: first.inverts,
        amplitude: Some(amplitude),
        known: Known::Nothing,
    };
    decide(&boundaries).is_some_and(|decision| {
        decision.telegram.code == first.code
            && decision.odds_wrong <= limits.odds
            && fits_noise(decision.misfit)
    })
}

impl Placed {
    fn new(tag: &Refined, shared: &Range<usize>, amplitude: Complex64) -> Self {
        let attempt = &tag.attempt;
        let (decision, inverts) = (&attempt.decision, attempt.inverts);
        let late = attempt.timing - (shared.start - attempt.span.start) as f64;
        let bits = (late / BIT as f64).floor();
        let timing = late - bits * BIT as f64;
        let bits = bits as isize;
        let signs = std::array::from_fn(|j| {
            let index = j as isize - bits;
            let odd = index.div_euclid(TELEGRAM_BITS as isize) % 2 != 0;
            let sign = decision.signs[index.rem_euclid(TELEGRAM_BITS as isize) as usize];
            f64::from(if odd && inverts { -sign } else { sign })
        });
        let at = shared.start - attempt.span.start;
        let wave = Fold::new(&tag.plain[at..at + shared.len()], inverts).boundaries(timing);
        let along: Complex64 = wave.sums.iter().zip(&signs).map(|(y, sign)| y * sign).sum();
        let energy: f64 = wave.energies.iter().sum();
        Self {
            code: decision.telegram.code,
            timing,
            signs,
            inverts,
            ideal: attempt.ideal_edges,
            begin: (late + (decision.start * BIT) as f64).rem_euclid(TELEGRAM as f64),
            amplitude: amplitude * along / energy.max(1e-300),
        }
    }

    /// Correlation of the two tags' square pulses.
    fn correlation(&self, other: &Self) -> f64 {
        1.0 - 3.0 * (self.timing - other.timing).abs() / BIT as f64
    }

    /// Whether both send the same bit of their telegrams at once.
    fn begins_with(&self, other: &Self) -> bool {
        let later = (self.begin - other.begin).rem_euclid(TELEGRAM as f64);
        self.inverts == other.inverts && later.min(TELEGRAM as f64 - later) < SUM_BEGINS
    }

    /// Whether words of the one lie on words of the other, pulse on pulse, telegram for telegram.
    fn may_cancel(&self, other: &Self) -> bool {
        let grid = (BETWEEN_CONTROL_BITS * BIT) as f64;
        let later = (self.begin - other.begin).rem_euclid(TELEGRAM as f64);
        let later = later.min(TELEGRAM as f64 - later) % grid;
        self.inverts == other.inverts && later.min(grid - later) < APART
    }
}

/// Power of what repeats with the telegram, either parity; 0 where it may be noise.
fn unexplained(rest: &[Complex32], limits: &ReadLimits) -> f64 {
    let telegrams = rest.len() as f64 / TELEGRAM as f64;
    let noise = pulse_variance(rest, limits.real) / telegrams.max(1.0);
    let parts = if limits.real { 1.0 } else { 2.0 };
    [false, true]
        .map(|inverts| {
            let excess = folded_excess(rest, inverts, telegrams, limits.real);
            (excess - 1.0) * noise * parts
        })
        .into_iter()
        .fold(0.0, f64::max)
}
