//! What a limited band leaves of the ripple.

use super::fold::BIT;

/// Share of the boundary pulse's energy within ±`band_hz`.
///
/// A bit of length T with a change in its middle has the spectrum sin⁴(x)/x², x = πfT/2, whose integral over all x > 0
/// is π/4 (textbook; Manchester pulse).
pub fn energy_share(band_hz: f64, field_hz: f64) -> f64 {
    let end = 0.5 * std::f64::consts::PI * band_hz * BIT as f64 / field_hz;
    // sin⁴ has period π: 64 points a period integrate it to far below 1e-4.
    let steps = ((end / std::f64::consts::PI * 64.0).ceil() as usize).clamp(64, 100_000);
    let width = end / steps as f64;
    let sum: f64 = (0..steps)
        .map(|i| {
            let x = (i as f64 + 0.5) * width;
            x.sin().powi(4) / (x * x)
        })
        .sum();
    (sum * width / (0.25 * std::f64::consts::PI)).min(1.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Far out the mean of sin⁴ is 3/8, so what lies beyond x is 3/(8x) of π/4.
    #[test]
    fn the_share_approaches_its_asymptote() {
        for band_hz in [67_100.0, 200_000.0, 1e6] {
            let x = 0.5 * std::f64::consts::PI * band_hz * 32.0 / 134_200.0;
            let beyond = 1.0 - energy_share(band_hz, 134_200.0);
            let asymptote = 0.375 / x / (0.25 * std::f64::consts::PI);
            // Next term of the expansion is of order 1/x².
            assert!(
                (beyond - asymptote).abs() < 1.0 / (x * x),
                "{beyond} {asymptote}"
            );
        }
    }
}
