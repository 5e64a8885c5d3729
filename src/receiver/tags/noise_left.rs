//! Noise in what is left of a ripple once its numbers are removed.

use num_complex::Complex32;

use crate::receiver::fold::pulse_noise::{folded_variance, pulse_variance};
use crate::receiver::fold::sums::Fold;

/// Noise variance of a boundary pulse in what is left. Something that repeats with the telegram, another tag, does not
/// average out as noise does: where the folded rest is larger than noise would be, it counts.
pub(super) fn noise_left(left: &[Complex32], inverts: bool, telegrams: f64, real: bool) -> f64 {
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
