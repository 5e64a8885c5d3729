//! One of the two tones of a half-duplex answer: how much of it any stretch of 16 of its cycles holds.

use num_complex::{Complex32, Complex64};

/// Cycles of a tone in a bit (the encyclopedia's article "ISO 11784 and ISO 11785").
pub const TONE_CYCLES: f64 = 16.0;

/// Running sums of the values turned back by a tone.
#[derive(Clone, Debug)]
pub struct ToneSums {
    /// Frequency, Hz.
    pub hz: f64,
    /// Length of a bit, in values.
    pub length: f64,
    /// Sum over all values before each one.
    sums: Vec<Complex64>,
}

impl ToneSums {
    /// Of values that stand for field cycles: a field at `field_hz` is a constant in them.
    pub fn new(values: &[Complex32], hz: f64, field_hz: f64) -> Self {
        let step = Complex64::cis(-std::f64::consts::TAU * (hz / field_hz).fract());
        let mut turn = Complex64::new(1.0, 0.0);
        let mut sum = Complex64::default();
        let mut sums = Vec::with_capacity(values.len() + 1);
        sums.push(sum);
        for value in values {
            sum += Complex64::new(value.re.into(), value.im.into()) * turn;
            // A pause has some thousands of values: the size of `turn` is off by 1e-12 at its end.
            turn *= step;
            sums.push(sum);
        }
        Self {
            hz,
            length: TONE_CYCLES * field_hz / hz,
            sums,
        }
    }

    fn at(&self, place: f64) -> Option<Complex64> {
        let whole = place.floor();
        let before = *self.sums.get(whole as usize)?;
        let after = *self.sums.get(whole as usize + 1)?;
        Some(before + (after - before) * (place - whole))
    }

    /// |Σ|² over the bit that begins at `from` ≥ 0 (value n covers n to n + 1); `None` where it is not all there.
    pub fn energy(&self, from: f64) -> Option<f64> {
        Some((self.at(from + self.length)? - self.at(from)?).norm_sqr())
    }
}

/// ln I0(x), the logarithm of the modified Bessel function, for x ≥ 0: polynomials 9.8.1 and 9.8.2 of Abramowitz & Stegun; the
/// second is good to 1.9e-7 of values near 0.4, a relative 5e-7.
pub fn ln_i0(x: f64) -> f64 {
    const SMALL: [f64; 7] = [
        1.0,
        3.515_622_9,
        3.089_942_4,
        1.206_749_2,
        0.265_973_2,
        0.036_076_8,
        0.004_581_3,
    ];
    const LARGE: [f64; 9] = [
        0.398_942_28,
        0.013_285_92,
        0.002_253_19,
        -0.001_575_65,
        0.009_162_81,
        -0.020_577_06,
        0.026_355_37,
        -0.016_476_33,
        0.003_923_77,
    ];
    let polynomial =
        |coefficients: &[f64], t: f64| coefficients.iter().rev().fold(0.0, |sum, c| sum * t + c);
    if x < 3.75 {
        polynomial(&SMALL, (x / 3.75).powi(2)).ln()
    } else {
        x - 0.5 * x.ln() + polynomial(&LARGE, 3.75 / x).ln()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// I0 as the mean of e^{x·cos φ}, which a sum over 200 angles gives exactly for these x.
    #[test]
    fn the_bessel_function_is_right() {
        for x in [0.0, 0.5, 3.7, 3.8, 10.0, 60.0] {
            let mean = (0..200)
                .map(|k| (x * (std::f64::consts::TAU * f64::from(k) / 200.0).cos() - x).exp())
                .sum::<f64>()
                / 200.0;
            assert!((ln_i0(x) - x - mean.ln()).abs() < 5e-7, "{x}");
        }
    }

    /// Against the sum itself, at places between values.
    #[test]
    fn sums_hold_the_energy_of_a_stretch() {
        let (hz, field_hz) = (124_350.0, 134_200.0);
        let values: Vec<Complex32> = (0..300)
            .map(|n| {
                let turns = (hz - field_hz) / field_hz * f64::from(n) + 0.2;
                let v = Complex64::cis(std::f64::consts::TAU * turns) * 0.7;
                Complex32::new(v.re as f32, v.im as f32)
            })
            .collect();
        let sums = ToneSums::new(&values, hz, field_hz);
        for from in [0.0, 17.3, 250.75] {
            let energy = sums.energy(from).unwrap();
            assert!(
                (energy.sqrt() / (0.7 * sums.length) - 1.0).abs() < 1e-5,
                "{from}"
            );
        }
        assert_eq!(sums.energy(290.0), None);
    }
}
