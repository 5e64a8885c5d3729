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

/// Relative variance of the noise's power: 2 over its degrees of freedom, one a boundary from the other axis, and two a boundary for
/// each further telegram.
pub fn noise(telegrams: f64) -> f64 {
    2.0 / (BOUNDARIES * (1.0 + 2.0 * (telegrams - 1.0).max(0.0)))
}

/// Standard deviation in dB of a power of this relative variance.
pub fn in_db(variance: f64) -> f64 {
    10.0 / std::f64::consts::LN_10 * variance.sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// "The level itself is known to 0.6 dB in a record of a telegram and a half", and to little more than a tenth in a second's.
    #[test]
    fn deviations_are_those_of_short_and_long_records() {
        let at_limit = 2.0;
        let short = in_db(unknown_signs(at_limit) + noise(1.5));
        assert!((0.5..0.7).contains(&short), "{short}");
        let long = in_db(known_signs(at_limit * 100.0) + noise(33.0));
        assert!((0.05..0.1).contains(&long), "{long}");
    }
}
