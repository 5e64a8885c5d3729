//! The folded telegram as it stands: hard bits, nothing asked of header, control bits or check.

use num_complex::Complex32;

use super::presence::Presence;
use crate::receiver::fold::sums::Fold;
use crate::telegram::TELEGRAM_BITS;

/// Bits of a folded telegram.
#[derive(Clone, Debug)]
pub struct Bare {
    /// Boundary sums along their axis over the noise's standard deviation.
    pub over_noise: [f32; TELEGRAM_BITS],
    /// Bits from an arbitrary start on.
    pub bits: [bool; TELEGRAM_BITS],
    /// Bits expected to be wrong from noise alone.
    pub expected_errors: f64,
}

impl Bare {
    /// The least energy of any sixteen neighbouring boundaries, relative to the mean of such: a telegram's boundaries are alike,
    /// a field that strays once leaves its energy at one place.
    pub fn evenness(&self) -> f64 {
        const GROUP: usize = 16;
        let energy = |values: &[f32]| values.iter().map(|v| f64::from(v * v)).sum::<f64>();
        let mean = energy(&self.over_noise) * GROUP as f64 / TELEGRAM_BITS as f64;
        let least = self
            .over_noise
            .chunks(GROUP)
            .map(energy)
            .fold(f64::INFINITY, f64::min);
        least / mean.max(f64::MIN_POSITIVE)
    }
}

/// Takes the signs of the boundary sums.
pub fn bare(ripple: &[Complex32], found: &Presence, real: bool) -> Option<Bare> {
    let fold = Fold::new(ripple, found.inverts);
    let sums = fold.boundaries(found.timing);
    let axis = if real { 0.0 } else { sums.axis() };
    let (along, _) = sums.along(axis);
    if sums.energies.iter().any(|e| *e <= 0.0) || found.noise_var <= 0.0 {
        return None;
    }
    let over_noise: [f32; TELEGRAM_BITS] =
        std::array::from_fn(|j| (along[j] / (found.noise_var * sums.energies[j]).sqrt()) as f32);
    let bits = std::array::from_fn(|j| {
        let seam = j + 1 == TELEGRAM_BITS && found.inverts;
        let next = over_noise[(j + 1) % TELEGRAM_BITS];
        (over_noise[j] > 0.0) != ((next > 0.0) != seam)
    });
    let wrong = |z: f32| 0.5 * libm::erfc(f64::from(z.abs()) / std::f64::consts::SQRT_2);
    // A wrong sign spoils the bits on both sides.
    let expected_errors = 2.0 * over_noise.iter().map(|&z| wrong(z)).sum::<f64>();
    Some(Bare {
        over_noise,
        bits,
        expected_errors,
    })
}
