//! Weak second fields that what repeats does not show.
//!
//! Stray tones are found between a telegram's lines where two telegrams and more are at hand, and if they do not fall onto one. Else a
//! ripple's own lines stand out as well; but what a load does to the field has two sides of equal strength, and another field has one.

use num_complex::Complex32;

use super::interference::{measure, remove_line};
use super::near_fields::NearField;
use crate::receiver::dsp::transform::{forward, window};
use crate::receiver::fold::sums::TELEGRAM;

/// Some eight seconds: what is in the way for longer shows in a part of it.
const MOST_VALUES: usize = 1 << 20;
/// Below this there is no half telegram.
const LEAST_VALUES: usize = TELEGRAM / 2;
/// Half the width of the window's main lobe, lines of the record (four terms).
const LOBE: f64 = 4.0;
/// What is nearer to the field is its own drift, lines of the record.
const NEAREST: f64 = 6.0;
/// Power on the other side, as a share of the line's: a field that is switched or turned in phase has both alike.
const MIRRORED: f64 = 0.01;
/// Share of all the power beside the field, below which a line is not what is in the way.
const LEAST_SHARE: f64 = 0.25;
/// Fields looked for.
const MOST: usize = 3;

/// Takes steady lines without a mirror image off the values; says which they were.
pub fn take_off_one_sided(values: &mut [Complex32]) -> Vec<NearField> {
    let mut found = Vec::new();
    if !(LEAST_VALUES..MOST_VALUES).contains(&values.len()) {
        return found;
    }
    while found.len() < MOST
        && let Some((place, mirrored)) = strongest(values)
    {
        let [own, other] = [0.0, place].map(|place| measure(values, place));
        remove_line(values, place);
        found.push(NearField {
            offset: other.per_value - own.per_value,
            level: other.amplitude.norm() / own.amplitude.norm().max(f64::MIN_POSITIVE),
            mirrored,
        });
    }
    found
}

/// The strongest line and how strong its mirror image is against it, if it is one-sided and a good part of what is beside the field.
fn strongest(values: &[Complex32]) -> Option<(f64, f64)> {
    let count = values.len();
    let lines = (2 * count).next_power_of_two();
    let mut buffer: Vec<Complex32> = values
        .iter()
        .zip(window(count).iter())
        .map(|(v, w)| v * w)
        .collect();
    buffer.resize(lines, Complex32::default());
    forward(lines).process(&mut buffer);
    let power: Vec<f64> = buffer.iter().map(|v| f64::from(v.norm_sqr())).collect();
    let a_line = lines as f64 / count as f64;
    let signed = |line: usize| {
        if line >= lines / 2 {
            line as f64 - lines as f64
        } else {
            line as f64
        }
    };
    let nearest = NEAREST * a_line;
    let beside = || (0..lines).filter(|&line| signed(line).abs() > nearest);
    let best = beside().max_by(|&a, &b| power[a].total_cmp(&power[b]))?;
    let all: f64 = beside().map(|line| power[line]).sum();
    let lobe = (LOBE * a_line) as isize;
    // The main lobe about a place.
    let about = |line: isize| -> f64 {
        (line - lobe..=line + lobe)
            .map(|line| power[line.rem_euclid(lines as isize) as usize])
            .sum()
    };
    let best = best as isize;
    let (own, mirror) = (about(best), about(-best));
    let is_other = own > LEAST_SHARE * all && mirror < MIRRORED * own;
    let place = signed(best.rem_euclid(lines as isize) as usize) / lines as f64;
    is_other.then(|| (place, (mirror / own).sqrt()))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::receiver::dsp::phasor::single;
    use num_complex::Complex64;
    use std::f64::consts::TAU;

    fn record(ripple: f64, fields: &[(f64, f64)]) -> Vec<Complex32> {
        (0..6500u32)
            .map(|n| {
                let sign = if (n / 16).wrapping_mul(2_654_435_761) >> 30 & 1 == 1 {
                    1.0
                } else {
                    -1.0
                };
                let mut value = Complex64::new(1.0 + ripple * sign, 0.3 * ripple * sign);
                for (offset_hz, level) in fields {
                    value += Complex64::from_polar(
                        *level,
                        TAU * offset_hz / 134_200.0 * f64::from(n) + 1.0,
                    );
                }
                single(value)
            })
            .collect()
    }

    /// A field 38 dB down goes to below a weak ripple, and another one; a ripple alone is left as it is, whatever its data.
    #[test]
    fn a_weak_field_goes_and_a_ripple_stays() {
        for fields in [vec![(800.0, 0.012)], vec![(-2500.0, 1e-3), (900.0, 0.02)]] {
            let mut values = record(7e-5, &fields);
            assert_eq!(take_off_one_sided(&mut values).len(), fields.len());
            let clean = record(7e-5, &[]);
            let left: f64 = values
                .iter()
                .zip(&clean)
                .map(|(a, b)| f64::from((a - b).norm_sqr()))
                .sum();
            assert!((left / clean.len() as f64).sqrt() < 2e-5, "{left:e}");
        }
        for ripple in [1e-4, 0.01, 0.2] {
            let mut values = record(ripple, &[]);
            assert!(take_off_one_sided(&mut values).is_empty(), "{ripple}");
        }
        // A load that does nothing but switch evenly: two lines, one on each side.
        let mut even: Vec<Complex32> = (0..6500)
            .map(|n| Complex32::new(1.0, if n / 16 % 2 == 0 { 0.01 } else { -0.01 }))
            .collect();
        assert!(take_off_one_sided(&mut even).is_empty());
    }
}
