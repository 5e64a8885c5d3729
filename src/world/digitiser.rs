//! An analogue-to-digital converter: range, steps, clipping.

/// Turns values into whole steps; the range is symmetric, ±`range`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Digitiser {
    /// Resolution in bits, 2 to 24.
    pub bits: u32,
    /// Full scale: `range` is one step above the largest code, `-range` the smallest.
    pub range: f64,
}

impl Digitiser {
    /// Fewest bits that mean anything here.
    pub const FEWEST_BITS: u32 = 2;
    /// Most bits; more would not fit the single-precision floats captures are read as.
    pub const MOST_BITS: u32 = 24;

    /// Smallest of 1, 2, 5, 10, 20 … (and 0.5, 0.2 …) above `peak`.
    pub fn range_for(peak: f64) -> f64 {
        // Whole powers of ten are exact; a negative exponent divides by one.
        let scale = |exponent: i32| {
            let power = (0..exponent.abs()).fold(1.0, |power, _| power * 10.0);
            move |factor: f64| {
                if exponent < 0 {
                    factor / power
                } else {
                    factor * power
                }
            }
        };
        (-9..9)
            .flat_map(|exponent| [1.0, 2.0, 5.0].map(scale(exponent)))
            .find(|&range| range > peak)
            .unwrap_or(peak)
    }

    /// One-sided density of the rounding to steps, step²/12 spread evenly up to half the rate, V²/Hz.
    pub fn density_v2_per_hz(&self, rate_hz: f64) -> f64 {
        self.step() * self.step() / (6.0 * rate_hz)
    }

    /// Size of one step, in the unit of `range`.
    pub fn step(&self) -> f64 {
        self.range / f64::from(1u32 << (self.bits - 1))
    }

    /// The code nearest to the value, clipped to the range; the flag tells whether it was clipped.
    #[inline]
    pub fn code(&self, value: f64) -> (i32, bool) {
        let half = f64::from(1u32 << (self.bits - 1));
        let scaled = value * (half / self.range);
        let clipped = !(scaled >= -half - 0.5 && scaled < half - 0.5);
        // Shifted to positive numbers, truncation is rounding down; `round` itself is a slow call on older machines.
        let code = (scaled.clamp(-half, half - 1.0) + (half + 0.5)) as i32 - half as i32;
        (code, clipped)
    }

    /// The value a code stands for.
    pub fn value(&self, code: i32) -> f64 {
        f64::from(code) * self.step()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_range_is_the_next_of_1_2_5() {
        for (peak, range) in [
            (0.99, 1.0),
            (1.0, 2.0),
            (1.01, 2.0),
            (2.5, 5.0),
            (7.0, 10.0),
            (123.0, 200.0),
            (0.03, 0.05),
            (1e-6, 2e-6),
        ] {
            assert!(
                (Digitiser::range_for(peak) / range - 1.0).abs() < 1e-12,
                "{peak}"
            );
        }
    }

    #[test]
    fn values_are_rounded_to_the_nearest_step_and_clipped() {
        let digitiser = Digitiser {
            bits: 8,
            range: 2.0,
        };
        for (value, code, clipped) in [
            (0.0, 0, false),
            (0.0156 / 2.0, 0, false),
            (0.0157 / 2.0, 1, false),
            (-1.0, -64, false),
            (-2.0, -128, false),
            (-2.1, -128, true),
            (1.99, 127, false),
            (2.0, 127, true),
            (f64::NAN, 0, true),
        ] {
            let (found, was_clipped) = digitiser.code(value);
            assert_eq!(was_clipped, clipped, "{value}");
            if !value.is_nan() {
                assert_eq!(found, code, "{value}");
                assert!(
                    clipped
                        || (digitiser.value(found) - value).abs() <= digitiser.step() / 2.0 + 1e-12
                );
            }
        }
    }
}
