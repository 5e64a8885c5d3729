//! 125 kHz tags that switch their load at field/8 and field/10 in turn: recognised by these two frequencies, not decoded.

use num_complex::{Complex32, Complex64};

/// Field cycles of a bit (common practice, from memory).
const BIT: usize = 50;

/// Load frequencies, per field cycle.
const EIGHTH: f64 = 1.0 / 8.0;
const TENTH: f64 = 1.0 / 10.0;

/// Where neither they nor their third harmonics are, but the spectra of ripple in other codes.
const BESIDE: [f64; 5] = [0.02, 0.04, 0.06, 0.17, 0.2];

/// Fewest bits to judge by.
const LEAST_BITS: usize = 32;

/// Both load frequencies hold at least this much more than any place beside them. Of 32 bits of noise the mean power (χ² of four
/// freedoms) strays by 1/√(2·32), an eighth: this is twelve times that.
const LEAST_ABOVE: f64 = 2.5;

/// Mean of |p₈ − p₁₀|/(p₈ + p₁₀) over bits: 1 where each bit has one of the two, 3/8 in noise (both are χ² of four freedoms), less where
/// both are there all the time.
const LEAST_CONTRAST: f64 = 0.7;

/// Share of bits of either kind: of one frequency alone a thirtieth shows in the other's place.
const LEAST_SHARE: std::ops::RangeInclusive<f64> = 0.1..=0.9;

/// A tag that switches its load at field/8 and field/10.
#[derive(Clone, Copy, Debug)]
pub struct LoadFskTag {
    /// How much stronger the weaker of the two load frequencies is than what is beside them, a power ratio.
    pub above: f64,
    /// Mean contrast between the two in a bit, 0 to 1.
    pub contrast: f64,
    /// Bits judged.
    pub bits: usize,
    /// Share of bits at field/10.
    pub tenths: f64,
    /// Ripple depth, as a share of the field.
    pub depth: f64,
}

/// Looks at a stretch of ripple, one value a field cycle. Steady lines must still be in it: a word sent over and over is full of them.
pub fn load_fsk(ripple: &[Complex32]) -> Option<LoadFskTag> {
    let bits = (ripple.len() / BIT)
        .checked_sub(1)
        .filter(|&bits| bits >= LEAST_BITS)?;
    let mean_of = |place: f64| powers(ripple, place, 0).iter().sum::<f64>();
    let beside = BESIDE.into_iter().map(mean_of).fold(0.0, f64::max);
    let weaker = mean_of(EIGHTH).min(mean_of(TENTH));
    // Bits that straddle two windows halve what is seen here at the worst.
    if weaker <= 0.5 * LEAST_ABOVE * beside {
        return None;
    }
    let (contrast, begin, tenths) = (0..BIT)
        .step_by(2)
        .map(|begin| {
            let pairs: Vec<(f64, f64)> = powers(ripple, EIGHTH, begin)
                .into_iter()
                .zip(powers(ripple, TENTH, begin))
                .collect();
            let contrast = pairs
                .iter()
                .map(|(a, b)| (a - b).abs() / (a + b).max(f64::MIN_POSITIVE))
                .sum::<f64>()
                / pairs.len() as f64;
            let tenths = pairs.iter().filter(|(a, b)| b > a).count() as f64 / pairs.len() as f64;
            (contrast, begin, tenths)
        })
        .fold(
            (0.0, 0, 0.0),
            |best, this| if this.0 > best.0 { this } else { best },
        );
    let at_begin = |place: f64| powers(ripple, place, begin).iter().sum::<f64>();
    let beside = BESIDE.into_iter().map(at_begin).fold(0.0, f64::max);
    let (eighth, tenth) = (at_begin(EIGHTH), at_begin(TENTH));
    let above = eighth.min(tenth) / beside.max(f64::MIN_POSITIVE);
    let one_alone = !LEAST_SHARE.contains(&tenths);
    if above < LEAST_ABOVE || contrast < LEAST_CONTRAST || one_alone {
        return None;
    }
    // A square wave of height d has 2d/π in each of the two lines at ± its frequency.
    let line = ((eighth + tenth) / (2 * bits) as f64).sqrt() / BIT as f64;
    Some(LoadFskTag {
        above,
        contrast,
        bits,
        tenths,
        depth: line * std::f64::consts::FRAC_PI_2,
    })
}

/// Power at ± a frequency in each bit, bits beginning at `begin`.
fn powers(ripple: &[Complex32], place: f64, begin: usize) -> Vec<f64> {
    let turns: Vec<Complex64> = (0..BIT)
        .map(|n| Complex64::cis(std::f64::consts::TAU * place * n as f64))
        .collect();
    ripple[begin..]
        .chunks_exact(BIT)
        .map(|bit| {
            let (mut above, mut below) = (Complex64::default(), Complex64::default());
            for (value, turn) in bit.iter().zip(&turns) {
                let value = Complex64::new(value.re.into(), value.im.into());
                above += value * turn.conj();
                below += value * turn;
            }
            above.norm_sqr() + below.norm_sqr()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn states(bits: impl Iterator<Item = bool>) -> Vec<Complex32> {
        bits.flat_map(|bit| {
            (0..BIT).map(move |n| {
                if n / if bit { 5 } else { 4 } % 2 == 0 {
                    0.01
                } else {
                    -0.01
                }
            })
        })
        .map(|state| Complex32::new(state, -state))
        .collect()
    }

    #[test]
    fn alternating_load_frequencies_are_recognised() {
        let ripple = states((0..200).map(|k| k * k % 7 < 3));
        for from in [0, 13, 37] {
            let tag = load_fsk(&ripple[from..]).unwrap();
            assert!(
                (tag.depth / (0.01 * std::f64::consts::SQRT_2) - 1.0).abs() < 0.15,
                "{tag:?}"
            );
        }
    }

    /// One load frequency alone, both at once, ripple in biphase code, and a sequence without any order: all something else.
    #[test]
    fn other_ripple_is_not() {
        assert!(load_fsk(&states((0..200).map(|_| true))).is_none());
        let both: Vec<Complex32> = states((0..200).map(|_| true))
            .iter()
            .zip(states((0..200).map(|_| false)))
            .map(|(a, b)| a + b)
            .collect();
        assert!(load_fsk(&both).is_none());
        let bits: Vec<bool> = (0..300u32).map(|k| k * k % 11 < 5).collect();
        let biphase: Vec<Complex32> = crate::linecode::load_states(&bits, 1)
            .into_iter()
            .flat_map(|state| std::iter::repeat_n(Complex32::new(f32::from(state), 0.0), 16))
            .collect();
        assert!(load_fsk(&biphase).is_none());
        let mut register = 1u32;
        let noise: Vec<Complex32> = (0..10_000)
            .map(|_| {
                register = register.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                Complex32::new((register >> 16) as f32 / 65_536.0 - 0.5, 0.0)
            })
            .collect();
        assert!(load_fsk(&noise).is_none());
    }
}
