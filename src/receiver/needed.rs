//! What a number needs to be read.

/// Folded Eb/N0 at which half of all telegrams have these odds: 2.1, 2.6, 3.0 and 3.4 dB at 1e-3, 1e-4, 1e-5 and 1e-6
/// (exact sum over CRC register × sign, derived), a straight line in the logarithm between and beyond.
pub fn needed_db(odds: f64) -> f64 {
    let nines = -odds.clamp(1e-12, 0.5).log10();
    3.0 + 0.43 * (nines - 5.0)
}
