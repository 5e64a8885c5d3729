//! With a number's signs known: timing, amplitude, pulse shape and noise once more, and the odds that follow.

use std::ops::Range;

use num_complex::{Complex32, Complex64};

use super::acquire::Acquired;
use super::attempt::{Attempt, ReadLimits};
use crate::receiver::decision::{Boundaries, ODDS_FLOOR, decide};
use crate::receiver::dsp::phasor::{fold_angle, power, power_between, single, wide};
use crate::receiver::field::pieces::Piece;
use crate::receiver::fold::band::Kept;
use crate::receiver::fold::pulse::Pulse;
use crate::receiver::fold::pulse_noise::{folded_variance, pulse_variance};
use crate::receiver::fold::shape::Shape;
use crate::receiver::fold::sums::{BIT, Fold, TELEGRAM, signs_along};
use crate::receiver::front::edge::Edge;
use crate::telegram::TELEGRAM_BITS;

/// A number with everything measured, and the waveform it explains.
#[derive(Clone)]
pub struct Refined {
    /// The number with its measurements.
    pub attempt: Attempt,
    /// See [`Acquired`].
    share: f64,
    log_likelihood: f64,
    /// The number decided for is the one that was measured. Else its waveform is another one's, and proves nothing.
    pub settled: bool,
    /// The measured number's part of the ripple, over its span.
    pub wave: Vec<Complex32>,
    /// The same as the tanks' shape alone makes it, of unit size: one complex amplitude is free.
    pub plain: Vec<Complex32>,
}

impl Refined {
    /// Whether this counts as a number read.
    pub fn is_read(&self, limits: &ReadLimits) -> bool {
        self.settled && self.attempt.is_read(limits)
    }

    /// Size and angle of its wave beside the plain one.
    pub fn amplitude(&self) -> Complex64 {
        along(&self.wave, &self.plain, false)
    }

    /// Where to begin refining it again.
    pub fn as_found(&self) -> Acquired {
        self.as_found_from(self.attempt.span.start)
    }

    /// The same in a span that begins whole bits earlier or later.
    pub fn as_found_from(&self, start: usize) -> Acquired {
        let later = (start as isize - self.attempt.span.start as isize) / BIT as isize;
        let (signs, inverts) = (&self.attempt.decision.signs, self.attempt.inverts);
        let mut moved = *signs;
        moved.copy_from_slice(&signs_along(signs, inverts, later, TELEGRAM_BITS));
        Acquired {
            signs: moved,
            timing: self.attempt.timing,
            inverts: self.attempt.inverts,
            shape: self.attempt.shape,
            log_likelihood: self.log_likelihood,
            share: self.share,
        }
    }
}

/// By this (natural logarithm) timing, axis and amplitude make the number likelier that they were chosen for: each gains it ½ on
/// average, and others that differ in a few signs nearly as much. Measured: benches/odds, stated odds against wrong
/// numbers.
const CHOSEN: f64 = 0.28;

/// Ideal edges explain this much of the ripple's power where its shape departs from them only in small things, such as
/// edges that fall between samples; a tank of Q 20 leaves far less.
const NEARLY_IDEAL: f64 = 0.98;

/// Edges that are not the tanks' alone leave up to this share of a tag's power unexplained (tags of the bench's circuits: 2 to 4 %).
pub const LEFT_BY_EDGES: f64 = 0.05;

/// What the receiver's band does to ripple and noise.
pub struct Band<'a> {
    /// Its response to a sudden change.
    pub edge: &'a Edge,
    /// What it leaves of boundary pulses.
    pub kept: Kept,
    /// Independent values among as many cycles, as a share.
    pub fullness: f64,
}

impl<'a> Band<'a> {
    /// The band of a piece.
    pub fn of(piece: &'a Piece, field_hz: f64) -> Self {
        Self {
            edge: &piece.edge,
            kept: Kept::new(piece.band_hz, field_hz),
            fullness: (2.0 * piece.band_hz / field_hz).min(1.0),
        }
    }
}

/// Turns after which a number must have settled: each measures anew with the signs that the one before decided for.
const TURNS: usize = 4;

/// Measures a number alone in `ripple` until the one decided for is the one that was measured; see [`measure`].
pub fn refine(
    ripple: &[Complex32],
    span: Range<usize>,
    found: &Acquired,
    band: &Band<'_>,
    limits: &ReadLimits,
) -> Option<Refined> {
    let mut refined = measure(ripple, span.clone(), found, band, limits)?;
    for _ in 1..TURNS {
        if refined.settled {
            break;
        }
        refined = measure(ripple, span.clone(), &refined.as_found(), band, limits)?;
    }
    Some(refined)
}

/// Measures a number found in `ripple` (with other tags' waveforms already removed), which is `span` of a stretch, its signs
/// taken as known, and decides anew.
pub fn measure(
    ripple: &[Complex32],
    span: Range<usize>,
    found: &Acquired,
    band: &Band<'_>,
    limits: &ReadLimits,
) -> Option<Refined> {
    let inverts = found.inverts;
    let telegrams = ripple.len() as f64 / TELEGRAM as f64;
    let fold = Fold::new(ripple, inverts);
    let known = &found.signs;
    let (shape, timing) = best_shape(&fold, known, found.shape, found.timing, limits.real);
    let whole = timing.floor();
    // Two bits early, so that the pulses of boundaries before the first value are laid out too.
    let begin = whole as isize - 2 * BIT as isize;
    let signs = signs_along(known, inverts, -2, ripple.len() / BIT + 4);
    let lay_out = |pulse: &Pulse| {
        let mut wave = vec![Complex32::default(); ripple.len()];
        pulse.add_to(&mut wave, begin, &signs, 1.0);
        wave
    };

    let (unit, pulses) = crate::threads::join(
        || lay_out(&Pulse::of(&shape, timing - whole, band.edge)),
        || Pulse::fits(ripple, begin, &signs),
    );
    let count = ripple.len() as f64;
    let (amplitude, unit_square) = crate::threads::join(
        || along(ripple, &unit, limits.real),
        || square_of(&unit) / count,
    );
    let unit_power = power(&unit) / count;
    let (mut wave, mut ideal_edges) = (unit.clone(), shape.is_ideal());
    wave.iter_mut()
        .for_each(|value| *value = single(amplitude * wide(*value)));
    let (mut mean_power, mut square) = (amplitude.norm_sqr(), amplitude * amplitude);
    let mut free = 1;
    if !ideal_edges {
        mean_power *= unit_power;
        square *= unit_square;
        // Bandwidth and detuning are two real numbers.
        free += 1;
    }
    // Of ideal edges the receiver's band takes a share that is known: their depth is the amplitude.
    let mut candidates: Vec<(Vec<Complex32>, usize)> =
        crate::threads::map(&pulses, |pulse| (lay_out(pulse), pulse.free));
    // A load that closes faster than it opens adds what no pulse of either sign has.
    if let Some((fitted, used)) = candidates.last() {
        let mut uneven = fitted.clone();
        let added = add_uneven(&mut uneven, ripple, begin, &signs);
        let used = used + added;
        candidates.push((uneven, used));
    }
    let mut left_before = power_between(ripple, &wave);
    for (fitted, used) in candidates {
        let left_fitted = power_between(ripple, &fitted);
        // Free values take their share of the noise; what they take beyond that by six standard deviations is shape.
        // Only as many of them are independent as the band holds.
        let more = (used - free) as f64;
        let noise = left_fitted / count;
        let share = noise * more * (1.0 + 6.0 / (more * band.fullness).sqrt());
        if left_before - left_fitted > share {
            let power = (power(&fitted) - noise * used as f64).max(0.0) / count;
            ideal_edges = amplitude.norm_sqr() * unit_power > NEARLY_IDEAL * power;
            if !ideal_edges {
                mean_power = power;
                square = square_of(&fitted) / count;
            }
            wave = fitted;
            free = used;
            left_before = left_fitted;
        }
    }
    let left: Vec<Complex32> = ripple.iter().zip(&wave).map(|(r, w)| r - w).collect();
    let noise_var = noise_left(&left, inverts, telegrams, limits.real).max(1e-14 * mean_power);

    let sums = shape.matched_fold(&fold).boundaries(timing);
    let axis = if limits.real { 0.0 } else { amplitude.arg() };
    let (sums_along, _) = sums.along(axis);
    let noise_seen = if shape.is_ideal() {
        noise_var
    } else {
        let left = shape.matched(&left);
        noise_left(&left, inverts, telegrams, limits.real).max(1e-14 * mean_power) / shape.energy
    };
    let mut decision = decide(&Boundaries {
        sums: sums_along,
        energies: sums.energies.map(|energy| energy * shape.energy),
        overlap: shape.overlap,
        noise_var: noise_seen,
        inverts,
        amplitude: None,
        known: limits.known,
    })?;
    // The odds hold for this timing, parity and shape; the number may have needed another. And timing and axis were chosen
    // to suit this number, which others were not asked for.
    for odds in [&mut decision.odds_wrong, &mut decision.odds_unaided] {
        let right = (1.0 - *odds) * (-CHOSEN).exp();
        if *odds > ODDS_FLOOR {
            *odds /= *odds + right;
        }
        // 1 − (1 − odds)·share, without rounding what is small.
        *odds += (1.0 - found.share) * (1.0 - *odds);
    }
    let attempt = Attempt {
        decision,
        span,
        timing,
        inverts,
        shape,
        angle: if limits.real {
            0.0
        } else {
            fold_angle(0.5 * square.arg())
        },
        depth: mean_power.sqrt(),
        telegrams,
        // The noise was measured through the pulse in the receiver's band.
        ebn0: mean_power * band.kept.of_noise() / (2.0 * noise_var),
        ideal_edges,
    };
    Some(Refined {
        settled: attempt.decision.signs == found.signs,
        attempt,
        share: found.share,
        log_likelihood: found.log_likelihood,
        wave,
        plain: unit,
    })
}

/// Adds to a fitted waveform what the ripple has besides, alike in all bits that have the same two bits around their
/// beginning, whatever the signs: the mean of what is left there, cycle by cycle. Returns how many complex numbers that is.
fn add_uneven(fitted: &mut [Complex32], ripple: &[Complex32], begin: isize, signs: &[i8]) -> usize {
    const CONTEXTS: usize = 4;
    let context = |j: usize| {
        let bit = |from: usize| usize::from(signs[from] != signs[from + 1]);
        2 * bit(j - 1) + bit(j)
    };
    let cells = |j: usize| {
        let from = begin + (BIT * j) as isize;
        (from >= 0 && (from as usize + BIT) <= ripple.len())
            .then(|| from as usize..from as usize + BIT)
    };
    let whole = || (1..signs.len().saturating_sub(1)).filter_map(|j| Some((context(j), cells(j)?)));
    let mut sums = vec![[Complex64::default(); BIT]; CONTEXTS];
    let mut counts = [0.0; CONTEXTS];
    for (context, cells) in whole() {
        counts[context] += 1.0;
        for (sum, cell) in sums[context].iter_mut().zip(cells) {
            *sum += wide(ripple[cell] - fitted[cell]);
        }
    }
    for (context, cells) in whole() {
        for (sum, cell) in sums[context].iter().zip(cells) {
            fitted[cell] += single(sum / counts[context]);
        }
    }
    CONTEXTS * BIT
}

/// Complex amplitude of a waveform of unit size in the ripple, least squares.
fn along(ripple: &[Complex32], unit: &[Complex32], real: bool) -> Complex64 {
    let (mut sum, mut energy) = (Complex64::default(), 0.0);
    for (r, u) in ripple.iter().zip(unit) {
        sum += wide(*r) * wide(*u).conj();
        energy += f64::from(u.norm_sqr());
    }
    let amplitude = sum / energy.max(1e-300);
    if real {
        Complex64::new(amplitude.re, 0.0)
    } else {
        amplitude
    }
}

fn square_of(values: &[Complex32]) -> Complex64 {
    values.iter().map(|&v| wide(v) * wide(v)).sum()
}

/// Noise variance of a boundary pulse in what is left. Something that repeats with the telegram, another tag, does not
/// average out as noise does: where the folded rest is larger than noise would be, it counts.
fn noise_left(left: &[Complex32], inverts: bool, telegrams: f64, real: bool) -> f64 {
    let each = pulse_variance(left, real);
    each * excess(each, left, inverts, telegrams, real)
}

/// How many times the variance of the folded rest is what noise would leave; 1 where it may be noise.
pub fn folded_excess(left: &[Complex32], inverts: bool, telegrams: f64, real: bool) -> f64 {
    excess(pulse_variance(left, real), left, inverts, telegrams, real)
}

fn excess(each: f64, left: &[Complex32], inverts: bool, telegrams: f64, real: bool) -> f64 {
    let folded = folded_variance(&Fold::new(left, inverts), real);
    let excess = folded / (telegrams.max(1.0) * each.max(1e-300));
    // The fold has some 700 independent values: 1.3 is six standard deviations of its variance.
    if excess > 1.3 { excess } else { 1.0 }
}

/// Steps of bandwidth and detuning tried from a shape of the bank, as shares of the bandwidth; the last is far below
/// what noise lets see.
const SHAPE_STEPS: [f64; 3] = [0.4, 0.2, 0.1];

/// The shape near `shape` and the timing that explain most of the ripple, its signs known.
fn best_shape(
    fold: &Fold,
    signs: &[i8; TELEGRAM_BITS],
    shape: Shape,
    timing: f64,
    real: bool,
) -> (Shape, f64) {
    let at = |shape: Shape, timing: f64| {
        let seen = shape.matched_fold(fold);
        let (strength, timing) = best_timing(&seen, signs, timing);
        (strength * strength / shape.energy, shape, timing)
    };
    let mut best = at(shape, timing);
    for share in SHAPE_STEPS {
        let mut moved = true;
        let mut turns = 0;
        while moved && turns < 4 {
            moved = false;
            turns += 1;
            for near in best.1.neighbours(share, real) {
                let trial = at(near, best.2);
                if trial.0 > best.0 {
                    best = trial;
                    moved = true;
                }
            }
        }
    }
    (best.1, best.2)
}

/// Timing at which the signed boundary sums are largest, near `timing`, and how large.
fn best_timing(fold: &Fold, signs: &[i8; TELEGRAM_BITS], timing: f64) -> (f64, f64) {
    let strength = |timing: f64| {
        let sums = fold.boundaries(timing);
        let signed = sums.sums.iter().zip(signs).map(|(y, &b)| y * f64::from(b));
        signed.sum::<Complex64>().norm()
    };
    let mut best = (strength(timing), timing);
    let mut consider = |moved: f64| {
        let value = strength(moved);
        if value > best.0 {
            best = (value, moved);
        }
        best
    };
    // Near its top the correlation of square pulses is a triangle, equally steep on both sides …
    let (before, after) = (strength(timing - 2.0), strength(timing + 2.0));
    let here = strength(timing);
    let steepest = (here - before).max(here - after).max(1e-300);
    let (_, mut place) = consider(timing + ((after - before) / steepest).clamp(-2.0, 2.0));
    // … rounded by the receiver's band within a cycle of the top.
    for step in [0.5, 0.25] {
        let (before, here, after) = (
            strength(place - step),
            strength(place),
            strength(place + step),
        );
        let bend = before - 2.0 * here + after;
        if bend < 0.0 {
            let shift = 0.5 * (before - after) / bend;
            (_, place) = consider(place + step * shift.clamp(-1.0, 1.0));
        }
    }
    consider(place)
}
