//! How far measured powers stray by chance, derived for white noise.

/// Boundaries in a folded telegram.
const BOUNDARIES: f64 = 128.0;

/// Relative variance of a ripple's power measured along known signs at a folded Eb/N0 of γ: the amplitude's is 1/(2·γ·128), its square
/// has four times that.
pub fn known_signs(folded: f64) -> f64 {
    4.0 / (2.0 * folded * BOUNDARIES)
}

/// Relative variance of a ripple's power measured without: the mean of 128 squares, less the noise, (8γ + 2)/(4·128·γ²).
pub fn unknown_signs(folded: f64) -> f64 {
    (8.0 * folded + 2.0) / (4.0 * BOUNDARIES * folded * folded)
}

/// Bits that noise remembers when it is seen through a boundary's step (half a bit of −1, half a bit of +1): the integral of the step's squared
/// autocorrelation, 2·(1/8 + 1/24) = 1/3 (derived). A mean square of two parts over T bits strays by √(1/(3·T)) of itself.
const MEMORY_BITS: f64 = 1.0 / 3.0;

/// Relative variance of the noise's density measured in so many telegrams: in all of them, less the part of one, along the ripple's axis, that
/// the ripple takes.
pub fn noise(telegrams: f64) -> f64 {
    MEMORY_BITS / (BOUNDARIES * (telegrams - 0.5).max(0.5))
}

/// Standard deviation in dB of a power of this relative variance.
pub fn in_db(variance: f64) -> f64 {
    10.0 / std::f64::consts::LN_10 * variance.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The level itself is known to half a decibel in a record of a telegram and a half, and to less than a tenth in a second's.
    #[test]
    fn deviations_are_those_of_short_and_long_records() {
        let at_limit = 2.0;
        let short = in_db(unknown_signs(at_limit) + noise(1.5));
        assert!((0.4..0.55).contains(&short), "{short}");
        let long = in_db(known_signs(at_limit * 100.0) + noise(33.0));
        assert!((0.05..0.1).contains(&long), "{long}");
    }
}
