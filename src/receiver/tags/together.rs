//! Whether numbers read from one ripple stand together: what is known of a sum of valid telegrams is asked for.
//!
//! Telegrams are words of an affine code, so what one word takes from a sum of two the other may give back: where the tags'
//! ripples nearly cancel, both numbers can change in the same places and hardly anything is seen of it. A number that fits
//! what the others leave therefore proves nothing by itself. Asked here, of the ripple as it was received:
//!
//! - every set of tags that begin together must be sure of the signs that they would change *together*, by the same exact odds
//!   and test of fit as a single number, and no two of them may be near numbers;
//! - what no number explains must be weak against the weakest of them, or it is a sum that has been taken apart wrongly.

use std::ops::Range;

use nalgebra::{DMatrix, DVector};
use num_complex::{Complex32, Complex64};

use super::near::are_near;
use super::near_sums::are_near_numbers_left;
use super::read::{ReadLimits, fits_noise};
use super::refine::{LEFT_BY_EDGES, Refined, folded_excess};
use crate::receiver::decision::{Boundaries, Known, decide};
use crate::receiver::dsp::phasor::{single, wide};
use crate::receiver::fold::pulse_noise::pulse_variance;
use crate::receiver::fold::sums::{BIT, Fold, TELEGRAM};
use crate::telegram::TELEGRAM_BITS;

/// Bits from one control bit to the next: words moved against each other by so many are words again.
const BETWEEN_CONTROL_BITS: usize = 9;

/// Square pulses this many cycles apart no longer cancel: their correlation is 1 − 3/32 of the distance.
const APART: f64 = 10.0;
/// Tags that share less than half a telegram are there one after the other, …
const SHARED: usize = TELEGRAM / 2;
/// … and so are those of which one is less than this share of itself in what they share: it was measured over more of the record than
/// it is there.
const THERE: f64 = 0.5;
/// A sum of tags that begin up to that apart, seen through tanks out of tune, passes for one that begins up to this far from any.
const SUM_BEGINS: f64 = 24.0;

/// Never may as much be left as this share of the weakest tag's power: a number that is not there leaves as much as the one that is.
const MOST_UNEXPLAINED: f64 = 0.25;

/// Half of a tag's pulses, as power: what is weaker leaves the sign of every sum of both as it is.
const BENEATH: f64 = 0.25;

/// Where the pulses of several tags cancel to less than this share of their power (levels within 1.2 dB at one angle and time), what is
/// left there is edges rather than signs: even ideal ones fall between values, …
const CANCELLED: f64 = 0.01;
/// … and tanks of different bandwidths leave as much as one cycle between the pulses would (6/32 of the power that cancels).
const CANCELLED_BY_TANKS: f64 = 0.08;

/// Waveforms of which another explains all but this share are not told apart.
const ALIKE: f64 = 1e-6;

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

/// What the ripple says of several tags, fitted together.
pub enum Stand {
    /// All count as read.
    Read,
    /// Each by itself would, but not together with the others.
    Tangled,
    /// Some do not.
    No,
}

impl Stand {
    /// Asks each number by itself, then all together.
    pub fn of(ripple: &[Complex32], tags: &[Refined], limits: &ReadLimits) -> Self {
        if !tags.iter().all(|tag| tag.is_read(limits)) {
            return Self::No;
        }
        let sure = |group: &Vec<Refined>| {
            group.len() < 2 || standing(ripple, group, limits).is_some_and(|standing| standing.sure)
        };
        if at_once(ripple, tags, limits).iter().all(sure) {
            Self::Read
        } else {
            Self::Tangled
        }
    }
}

/// The tags whose numbers cannot be sums of other ones: all of them, unless much is left unexplained or a number that explains
/// more cannot be told apart from those read. Then only a tag that outweighs everything else is left.
pub fn beyond_doubt(
    ripple: &[Complex32],
    tags: Vec<Refined>,
    tangled: &[Vec<u64>],
    limits: &ReadLimits,
) -> Vec<Refined> {
    let groups = at_once(ripple, &tags, limits);
    if groups.len() > 1 {
        let mut left = codes(&tags);
        for group in groups {
            let asked = codes(&group);
            let stand = codes(&beyond_doubt(ripple, group, tangled, limits));
            left.retain(|code| stand.contains(code) || !asked.contains(code));
        }
        let stands = |tag: &Refined| left.contains(&tag.attempt.decision.telegram.code);
        return tags.into_iter().filter(stands).collect();
    }
    let read = codes(&tags);
    match tags.len() {
        0 => tags,
        1 => {
            let is_tangled = tangled.iter().any(|codes| codes.contains(&read[0]));
            // A detector that is slow leaves much of its own.
            let outweighs =
                limits.real || standing(ripple, &tags, limits).is_some_and(|all| all.outweighs(0));
            if is_tangled || !outweighs || are_near_numbers_left(ripple, &tags[0]) {
                Vec::new()
            } else {
                tags
            }
        }
        // Of several signs at once a part of a telegram leaves too few to contradict others.
        _ if tags.iter().any(|tag| tag.attempt.telegrams < 1.0) => Vec::new(),
        _ => match standing(ripple, &tags, limits) {
            None => Vec::new(),
            Some(standing) if !standing.is_incomplete() => tags,
            Some(standing) => {
                let outweighs =
                    |k: &usize| standing.outweighs(*k) && !are_near_numbers_left(ripple, &tags[*k]);
                let strong = (0..tags.len()).find(outweighs);
                strong.map(|k| tags[k].clone()).into_iter().collect()
            }
        },
    }
}

/// The tags that are to be asked together: all of them where they are there at the same time, else each pair that is, and those
/// that are there alone.
fn at_once(ripple: &[Complex32], tags: &[Refined], limits: &ReadLimits) -> Vec<Vec<Refined>> {
    let meet = |some: &[&Refined]| {
        Shared::of(some).is_some_and(|shared| {
            let amplitudes = amplitudes(&ripple[shared.span.clone()], &shared.waves, limits.real);
            let there = |(tag, amplitude): (&&Refined, Complex64)| {
                (amplitude / tag.amplitude()).re > THERE
            };
            amplitudes.is_none_or(|all| some.iter().zip(all).all(there))
        })
    };
    if meet(&tags.iter().collect::<Vec<_>>()) {
        return vec![tags.to_vec()];
    }
    let mut groups: Vec<Vec<Refined>> = Vec::new();
    let mut alone = vec![true; tags.len()];
    for (k, tag) in tags.iter().enumerate() {
        for (other, before) in tags[..k].iter().enumerate() {
            if meet(&[before, tag]) {
                groups.push(vec![before.clone(), tag.clone()]);
                (alone[k], alone[other]) = (false, false);
            }
        }
    }
    let alone = tags.iter().zip(alone).filter(|(_, alone)| *alone);
    groups.extend(alone.map(|(tag, _)| vec![tag.clone()]));
    groups
}

/// The part of the ripple that several tags share, and their waveforms in it.
struct Shared<'a> {
    span: Range<usize>,
    waves: Vec<&'a [Complex32]>,
}

impl<'a> Shared<'a> {
    /// `None` where they share none.
    fn of(tags: &[&'a Refined]) -> Option<Self> {
        let from = tags.iter().map(|tag| tag.attempt.span.start).max()?;
        let upto = tags.iter().map(|tag| tag.attempt.span.end).min()?;
        let wave = |tag: &&'a Refined| {
            let at = from - tag.attempt.span.start;
            &tag.plain[at..at + upto - from]
        };
        (upto >= from + SHARED).then(|| Self {
            span: from..upto,
            waves: tags.iter().map(wave).collect(),
        })
    }
}

/// Whether tags leave noise of a ripple, as far as that repeats with the telegram.
pub fn leaves_noise(rest: &[Complex32], real: bool) -> bool {
    let telegrams = rest.len() as f64 / TELEGRAM as f64;
    [false, true]
        .iter()
        .all(|inverts| folded_excess(rest, *inverts, telegrams, real) <= 1.0)
}

/// The 64-bit codes of tags.
pub fn codes(tags: &[Refined]) -> Vec<u64> {
    let code = |tag: &Refined| tag.attempt.decision.telegram.code;
    tags.iter().map(code).collect()
}

/// What the ripple says of tags fitted together in it.
struct Standing {
    /// Each number, and each set of them that may change together, is sure; none that begin together are near numbers.
    sure: bool,
    /// Power of what repeats and no number explains.
    unexplained: f64,
    /// Power of each tag.
    powers: Vec<f64>,
}

impl Standing {
    /// More is left unexplained than the tags' edges account for.
    fn is_incomplete(&self) -> bool {
        let weakest = self.powers.iter().copied().fold(f64::INFINITY, f64::min);
        self.unexplained > (LEFT_BY_EDGES * self.all()).min(MOST_UNEXPLAINED * weakest)
    }

    /// Whether all the rest, were it one other tag's ripple, would be too weak to turn over a sign of this one's.
    fn outweighs(&self, tag: usize) -> bool {
        let own = self.powers[tag];
        self.all() - own + self.unexplained <= BENEATH * own
    }

    fn all(&self) -> f64 {
        self.powers.iter().sum()
    }
}

/// Asks the ripple, with one complex amplitude free for each tag: pulses fitted cycle by cycle have room for parts of
/// another tag's signs. `None` where the tags cannot be told from each other at all.
fn standing(ripple: &[Complex32], tags: &[Refined], limits: &ReadLimits) -> Option<Standing> {
    let Shared {
        span: shared,
        waves,
    } = Shared::of(&tags.iter().collect::<Vec<_>>())?;
    let amplitudes = amplitudes(&ripple[shared.clone()], &waves, limits.real)?;
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
    let sure = (1u32..1 << tags.len()).all(|set| {
        let chosen: Vec<&Placed> = (0..tags.len())
            .filter(|k| set >> k & 1 == 1)
            .map(|k| &placed[k])
            .collect();
        set_is_sure(&rest, &chosen, limits)
    });
    let near = placed.iter().enumerate().any(|(k, one)| {
        placed[..k]
            .iter()
            .any(|other| one.begins_with(other) && are_near(one.code, other.code))
    });
    Some(Standing {
        sure: sure && !near,
        unexplained: unexplained(&rest, limits),
        powers: placed.iter().map(|tag| tag.amplitude.norm_sqr()).collect(),
    })
}

/// Complex amplitudes of waveforms in a ripple, least squares; `None` where they are all but alike.
fn amplitudes(ripple: &[Complex32], waves: &[&[Complex32]], real: bool) -> Option<Vec<Complex64>> {
    let count = waves.len();
    let product = |a: &[Complex32], b: &[Complex32]| -> Complex64 {
        let sum: Complex64 = a
            .iter()
            .zip(b)
            .map(|(a, b)| wide(*a) * wide(*b).conj())
            .sum();
        if real {
            Complex64::new(sum.re, 0.0)
        } else {
            sum
        }
    };
    let gram = DMatrix::from_fn(count, count, |row, column| {
        product(waves[column], waves[row])
    });
    let along = DVector::from_fn(count, |row, _| product(ripple, waves[row]));
    let factors = gram.clone().cholesky()?;
    // A factor's diagonal holds what the waveforms before leave of each.
    let lower = factors.l();
    let apart = |k: usize| lower[(k, k)].norm_sqr() >= ALIKE * gram[(k, k)].re;
    (0..count)
        .all(apart)
        .then(|| factors.solve(&along).iter().copied().collect())
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
