//! With a number's signs known: timing, amplitude, pulse shape and noise once more, and the odds that follow.

use std::ops::Range;

use num_complex::{Complex32, Complex64};

use super::acquire::Acquired;
use super::attempt::{Attempt, ReadLimits};
use super::band::Band;
use super::best_shape::best_shape;
use super::noise_left::noise_left;
use super::waveform::{SignedRipple, Waveform, along};
use crate::receiver::decision::{Boundaries, Decision, ODDS_FLOOR, decide};
use crate::receiver::dsp::phasor::fold_angle;
use crate::receiver::fold::shape::Shape;
use crate::receiver::fold::sums::{BIT, Fold, TELEGRAM, signs_along};
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

/// Edges that are not the tanks' alone leave up to this share of a tag's power unexplained (tags of the bench's circuits: 2 to 4 %).
pub const LEFT_BY_EDGES: f64 = 0.05;

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
    let fold = Fold::new(ripple, inverts);
    let (shape, timing) = best_shape(&fold, &found.signs, found.shape, found.timing, limits.real);
    let waveform = SignedRipple::new(ripple, found, timing, limits.real).waveform(&shape, band);
    let noise = Noise::beside(ripple, &waveform, found, &shape, limits.real);
    let axis = if limits.real {
        0.0
    } else {
        waveform.amplitude.arg()
    };
    let sums = shape.matched_fold(&fold).boundaries(timing);
    let (sums_along, _) = sums.along(axis);
    limits.count_decision();
    let mut decision = decide(&Boundaries {
        sums: sums_along,
        energies: sums.energies.map(|energy| energy * shape.energy),
        overlap: shape.overlap,
        noise_var: noise.through_shape,
        inverts,
        amplitude: None,
        known: limits.known,
    })?;
    widen_odds(&mut decision, found.share);
    let attempt = Attempt {
        decision,
        span,
        timing,
        inverts,
        shape,
        angle: if limits.real {
            0.0
        } else {
            fold_angle(0.5 * waveform.square.arg())
        },
        depth: waveform.mean_power.sqrt(),
        telegrams: ripple.len() as f64 / TELEGRAM as f64,
        // The noise was measured through the pulse in the receiver's band.
        ebn0: waveform.mean_power * band.kept.of_noise() / (2.0 * noise.of_pulse),
        ideal_edges: waveform.ideal_edges,
    };
    Some(Refined {
        settled: attempt.decision.signs == found.signs,
        attempt,
        share: found.share,
        log_likelihood: found.log_likelihood,
        wave: waveform.wave,
        plain: waveform.plain,
    })
}

/// Noise variances of what a waveform leaves of the ripple.
struct Noise {
    /// Of a boundary pulse.
    of_pulse: f64,
    /// The same, seen through the filter that matches a shape.
    through_shape: f64,
}

impl Noise {
    fn beside(
        ripple: &[Complex32],
        waveform: &Waveform,
        found: &Acquired,
        shape: &Shape,
        real: bool,
    ) -> Self {
        let telegrams = ripple.len() as f64 / TELEGRAM as f64;
        let least = 1e-14 * waveform.mean_power;
        let of = |left: &[Complex32]| noise_left(left, found.inverts, telegrams, real).max(least);
        let left = waveform.left_of(ripple);
        let of_pulse = of(&left);
        let through_shape = if shape.is_ideal() {
            of_pulse
        } else {
            of(&shape.matched(&left)) / shape.energy
        };
        Self {
            of_pulse,
            through_shape,
        }
    }
}

/// Odds hold for one timing, parity and shape; the number may have needed another, which `share` says the chance of. And timing
/// and axis were chosen to suit this number, which others were not asked for.
fn widen_odds(decision: &mut Decision, share: f64) {
    for odds in [&mut decision.odds_wrong, &mut decision.odds_unaided] {
        let right = (1.0 - *odds) * (-CHOSEN).exp();
        if *odds > ODDS_FLOOR {
            *odds /= *odds + right;
        }
        // 1 − (1 − odds)·share, without rounding what is small.
        *odds += (1.0 - share) * (1.0 - *odds);
    }
}
