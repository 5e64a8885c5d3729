//! The solenoid as a cylindrical current sheet: Lorenz's formula, a yardstick for the sum over turns.

use super::MU_0;
use super::carlson::complete;

/// Inductance of a cylindrical current sheet (Lorenz 1879): with m = 4r²/(4r² + l²),
/// L = (8/3)µ0N²r³/l²·\[(2m − 1)m^(−3/2)·E(m) + (1 − m)m^(−3/2)·K(m) − 1\].
pub fn current_sheet_h(radius_m: f64, length_m: f64, turns: f64) -> f64 {
    let square = 4.0 * radius_m * radius_m;
    let complement = length_m * length_m / (square + length_m * length_m);
    let m = 1.0 - complement;
    let (k, e) = complete(complement);
    let bracket = ((2.0 * m - 1.0) * e + complement * k) / m.powf(1.5) - 1.0;
    8.0 / 3.0 * MU_0 * turns * turns * radius_m.powi(3) / (length_m * length_m) * bracket
}

#[cfg(test)]
mod tests {
    use super::*;

    /// r 1 m, one turn. 20.7463e-7 and 28.85335e-7 H are published (Lyle 1914 p. 429, as quoted in an open test file); the other
    /// digits are Lorenz's formula (derived). Half a unit of the last digit.
    #[test]
    fn published_and_derived_values() {
        let at = |length| current_sheet_h(1.0, length, 1.0);
        assert!(
            (at(2.0) / MU_0 - 1.081_371_7).abs() < 0.501e-7,
            "{}",
            at(2.0) / MU_0
        );
        assert!(
            (at(1.0) - 2.074_630_419e-6).abs() < 0.501e-15,
            "{}",
            at(1.0)
        );
        assert!((at(0.5) - 2.885_334_61e-6).abs() < 0.501e-14, "{}", at(0.5));
        assert!((at(1.0) - 20.7463e-7).abs() < 0.501e-11);
        assert!((at(0.5) - 28.853_35e-7).abs() < 0.501e-12);
    }

    /// A long one tends to µ0N²πr²/l·(1 − 8r/(3πl)) (derived from Nagaoka's coefficient).
    #[test]
    fn long_solenoid() {
        let got = current_sheet_h(0.01, 1.0, 100.0);
        let want = MU_0
            * 1e4
            * std::f64::consts::PI
            * 1e-4
            * (1.0 - 8.0 * 0.01 / (3.0 * std::f64::consts::PI));
        assert!((got / want - 1.0).abs() < 1e-4, "{got} {want}");
    }
}
