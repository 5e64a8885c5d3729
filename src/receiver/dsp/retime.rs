//! Values between values: a stretch evaluated where the field's own cycles fall.

use num_complex::Complex32;

/// Half width of the interpolator: so many values at either end are wrong where the shift is not whole.
pub const ENDS: usize = 6;
const REACH: isize = ENDS as isize;
/// Its positions per value.
const POSITIONS: usize = 64;

/// Evaluates `values` at i − ahead(i): where the field has run ahead, cycle i came earlier.
///
/// Windowed sinc over 12 values; the values hold nothing above half their rate less a quarter, where it is flat to
/// 0.1 %.
pub fn retime(values: &[Complex32], ahead: impl Fn(usize) -> f64) -> Vec<Complex32> {
    let width = 2 * REACH as usize;
    let table: Vec<f32> = (0..=POSITIONS)
        .flat_map(|position| {
            let shift = position as f64 / POSITIONS as f64;
            let raw: Vec<f64> = (0..width)
                .map(|k| {
                    let x = k as f64 - (REACH - 1) as f64 - shift;
                    let window = (0.5 * std::f64::consts::PI * x / REACH as f64)
                        .cos()
                        .max(0.0)
                        .powi(2);
                    let angle = std::f64::consts::PI * x;
                    window
                        * if angle.abs() < 1e-12 {
                            1.0
                        } else {
                            angle.sin() / angle
                        }
                })
                .collect();
            let sum: f64 = raw.iter().sum();
            raw.into_iter().map(move |tap| (tap / sum) as f32)
        })
        .collect();
    let count = values.len();
    let mut shifted = Vec::with_capacity(count);
    for i in 0..count {
        let place = i as f64 - ahead(i);
        let whole = place.floor();
        let position = ((place - whole) * POSITIONS as f64).round() as usize;
        let begin = whole as isize - (REACH - 1);
        let taps = &table[position * width..(position + 1) * width];
        let mut sum = Complex32::default();
        for (k, tap) in taps.iter().enumerate() {
            let at = begin + k as isize;
            if at >= 0 && (at as usize) < count {
                sum += values[at as usize] * *tap;
            }
        }
        shifted.push(sum);
    }
    shifted
}

#[cfg(test)]
mod tests {
    use super::*;
    use num_complex::Complex64;

    fn single(value: Complex64) -> Complex32 {
        Complex32::new(value.re as f32, value.im as f32)
    }

    #[test]
    fn retiming_moves_a_slow_wave_by_what_is_asked() {
        let wave = |x: f64| Complex64::cis(0.3 * x);
        let values: Vec<Complex32> = (0..500).map(|i| single(wave(f64::from(i)))).collect();
        let moved = retime(&values, |_| 0.4);
        for (i, value) in moved.iter().enumerate().skip(10).take(480) {
            assert!((value - single(wave(i as f64 - 0.4))).norm() < 3e-3, "{i}");
        }
    }
}
