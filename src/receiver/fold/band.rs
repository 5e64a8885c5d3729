//! What a limited band leaves of the ripple.

use super::sums::BIT;

/// Bits over which a cut band still ties neighbouring pulses together; beyond, what a band of 10 kHz leaves is below 2 %.
const LAGS: usize = 5;

/// What a band of ±`band_hz` leaves of the boundary pulse: its correlation with the whole pulse k bits away, as a share
/// of the whole pulse's energy. Without a limit it is 1 at k = 0 and 0 elsewhere.
#[derive(Clone, Copy, Debug)]
pub struct Kept([f64; LAGS]);

impl Kept {
    /// A bit of length T with a change in its middle has the spectrum sin⁴(x)/x², x = πfT/2, whose integral over all
    /// x > 0 is π/4 (textbook; Manchester pulse).
    pub fn new(band_hz: f64, field_hz: f64) -> Self {
        let end = 0.5 * std::f64::consts::PI * band_hz * BIT as f64 / field_hz;
        // sin⁴ has period π: 64 points a period integrate it to far below 1e-4.
        let steps = ((end / std::f64::consts::PI * 64.0).ceil() as usize).clamp(64, 100_000);
        let width = end / steps as f64;
        let mut shares = [0.0; LAGS];
        for i in 0..steps {
            let x = (i as f64 + 0.5) * width;
            let density = x.sin().powi(4) / (x * x) * width / (0.25 * std::f64::consts::PI);
            for (k, share) in shares.iter_mut().enumerate() {
                // k bits away: phase 2πf·kT = 4kx.
                *share += density * (4.0 * k as f64 * x).cos();
            }
        }
        Self(shares)
    }

    /// Share of the energy of white noise seen through the pulse.
    pub fn of_noise(&self) -> f64 {
        self.0[0]
    }

    /// Share of the energy (and of the mean boundary sum) of a ripple with these boundary signs, which repeat, inverted
    /// each time or not.
    pub fn of_ripple(&self, signs: &[i8], inverts: bool) -> f64 {
        let count = signs.len();
        let mut total = self.0[0];
        for (lag, share) in self.0.iter().enumerate().skip(1) {
            let products: i32 = (0..count)
                .map(|j| {
                    let seam = j + lag >= count && inverts;
                    let product = i32::from(signs[j]) * i32::from(signs[(j + lag) % count]);
                    if seam { -product } else { product }
                })
                .sum();
            total += 2.0 * share * f64::from(products) / count as f64;
        }
        total
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Far out the mean of sin⁴ is 3/8, so what lies beyond x is 3/(8x) of π/4.
    #[test]
    fn the_share_approaches_its_asymptote() {
        for band_hz in [67_100.0, 200_000.0, 1e6] {
            let x = 0.5 * std::f64::consts::PI * band_hz * 32.0 / 134_200.0;
            let beyond = 1.0 - Kept::new(band_hz, 134_200.0).of_noise();
            let asymptote = 0.375 / x / (0.25 * std::f64::consts::PI);
            // Next term of the expansion is of order 1/x².
            assert!(
                (beyond - asymptote).abs() < 1.0 / (x * x),
                "{beyond} {asymptote}"
            );
        }
    }
}
