//! Steady tones beside the field, found between the lines that a tag's telegram can have, and removed.
//!
//! A tag repeats every 4096 cycles, inverted or not, so `z[n] − z[n+4096]` or `z[n] + z[n+4096]` holds nothing of it. A
//! steady tone shows in both (unless it falls onto a line of the telegram's comb), scaled by a factor that its frequency
//! gives. What stands out in the smaller of the two spectra is no tag's.

use num_complex::{Complex32, Complex64};
use std::ops::Range;

use super::between::{Between, after_a_telegram, difference, of_coming_and_going, of_mended};
use super::hills::Hills;
use super::lines::{BELIEVED, TONES_A_PASS, peaks, standing_out};
use crate::receiver::dsp::phasor::{BLOCK, Oscillator, power, wide};
use crate::receiver::dsp::transform::{forward, window};
use crate::receiver::fold::sums::TELEGRAM;

/// Below this there is no second telegram to take the difference with.
const LEAST_VALUES: usize = 2 * TELEGRAM + TELEGRAM / 4;

/// Passes over the spectrum, in each of which a handful of tones is removed.
const PASSES: usize = 10;

/// Of all the power beside the field, what is this far below disturbs nothing: if the rest is a ripple, it is 60 dB
/// stronger; in noise over a second a tone stands out from 1e-4 on only (28/count: [`STANDS_OUT`] medians in a window that
/// makes two lines of one). A digitiser's rounding leaves many such tones.
const FAR_BELOW: f64 = 1e-6;

/// A tone that is neither field nor ripple.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StrayTone {
    /// Distance from the field, in cycles per value (times the field frequency: Hz).
    pub per_value: f64,
    /// Complex amplitude at the first value.
    pub amplitude: Complex64,
}

/// Finds steady tones in a stretch of field phasors and removes them; the field itself (the steady part) stays. Beside
/// the tones comes what the rest is to be weighted with, if its noise is not the same everywhere. `mended` is where the record
/// had nothing of the ripple: it does not repeat there, and is no noise for that.
pub fn remove_tones(
    values: &mut [Complex32],
    mended: &[Range<usize>],
) -> (Vec<StrayTone>, Option<Hills>) {
    let mut tones: Vec<StrayTone> = Vec::new();
    if values.len() < LEAST_VALUES {
        return (tones, None);
    }
    let mut hills = None;
    // The field's skirts hide what is near; it is put back in the end.
    let padded = (values.len() - TELEGRAM).next_power_of_two();
    let (field, _) = crate::threads::join(
        || {
            let field = measure(values, 0.0);
            subtract(values, &field);
            field
        },
        || forward(padded),
    );
    for _ in 0..PASSES {
        let mut left_out = of_mended(mended);
        left_out.extend(of_coming_and_going(values, &left_out));
        let between = Between::of(values, &left_out);
        let least = FAR_BELOW * power(values) / values.len() as f64;
        let lines;
        (hills, lines) = crate::threads::join(
            || Hills::in_noise(&between.power, between.count, least),
            || between.stray_lines(least),
        );
        if lines.is_empty() {
            break;
        }
        let mut differences: [Vec<Complex32>; 2] =
            [1.0, -1.0].map(|sign| difference(values, sign, &left_out));
        for line in lines {
            // Measured where the ripple is not: its lines are close by and may be stronger.
            let sign = if line.turned { -1.0 } else { 1.0 };
            let seen = measure(&differences[usize::from(line.turned)], line.per_value);
            let gain = |sign: f64| 1.0 - sign * after_a_telegram(seen.per_value);
            let tone = StrayTone {
                amplitude: seen.amplitude / gain(sign),
                ..seen
            };
            let part = |sign: f64| StrayTone {
                amplitude: tone.amplitude * gain(sign),
                ..tone
            };
            let [repeating, inverting] = &mut differences;
            crate::threads::join(
                || subtract(values, &tone),
                || {
                    subtract(repeating, &part(1.0));
                    subtract(inverting, &part(-1.0));
                },
            );
            // A second pass over the same tone mends what the others spoiled in the first.
            match tones
                .iter_mut()
                .find(|old| ((old.per_value - tone.per_value) * values.len() as f64).abs() < 0.5)
            {
                Some(old) => old.amplitude += tone.amplitude,
                None => tones.push(tone),
            }
        }
    }
    let back = StrayTone {
        amplitude: -field.amplitude,
        ..field
    };
    subtract(values, &back);
    tones.sort_by(|a, b| b.amplitude.norm().total_cmp(&a.amplitude.norm()));
    (tones, hills)
}

/// Takes off what stands out of the ripple's own spectrum, for stretches too short to show what repeats. That may be the
/// ripple itself where the data repeat within a telegram: for another try where the ripple as it is gave no number.
pub fn without_lines(ripple: &[Complex32]) -> Option<Vec<Complex32>> {
    if !(TELEGRAM / 2..LEAST_VALUES).contains(&ripple.len()) {
        return None;
    }
    let mut left = ripple.to_vec();
    let count = left.len();
    let lines = count.next_power_of_two();
    let shape = window(count);
    let fft = forward(lines);
    let reach = (4.0 * lines as f64 / count as f64).ceil() as isize + 1;
    for pass in 0..PASSES {
        let mut buffer: Vec<Complex32> =
            left.iter().zip(shape.iter()).map(|(v, w)| v * w).collect();
        buffer.resize(lines, Complex32::default());
        fft.process(&mut buffer);
        let power: Vec<f64> = buffer.iter().map(|v| f64::from(v.norm_sqr())).collect();
        let Some(standing_out) = standing_out(&power) else {
            return (pass > 0).then_some(left);
        };
        let strongest = standing_out.iter().copied().fold(0.0, f64::max);
        let found = peaks(&standing_out, reach, BELIEVED * strongest, TONES_A_PASS);
        if found.is_empty() {
            return (pass > 0).then_some(left);
        }
        for place in found {
            remove_line(&mut left, place);
        }
    }
    Some(left)
}

/// Offsets (cycles per value) of the lines that could be the tag's clock, strongest first: the strongest line of all and
/// those within `down` of its amplitude. A single one is where the values are tuned to and is not measured.
pub fn clock_lines(values: &[Complex32], down: f64, most: usize) -> Vec<f64> {
    if is_alone(values, down) {
        return vec![0.0];
    }
    let (used, lines) = quick_length(values.len());
    let shape = window(used);
    let windowed = values.iter().zip(shape.iter()).map(|(v, w)| v * w);
    let mut buffer: Vec<Complex32> = windowed.collect();
    buffer.resize(lines, Complex32::default());
    forward(lines).process(&mut buffer);
    let power: Vec<f64> = buffer.iter().map(|v| f64::from(v.norm_sqr())).collect();
    let strongest = power.iter().copied().fold(0.0, f64::max);
    let reach = (4.0 * lines as f64 / used.max(1) as f64).ceil() as isize + 1;
    let found = peaks(&power, reach, down * down * strongest, most);
    if found.len() < 2 {
        return found;
    }
    found
        .into_iter()
        .map(|place| measure(values, place).per_value)
        .collect()
}

/// A second field of this share of the first makes the values' size swing by as much to either side, and noise makes it swing
/// more. Where it swings less there is none, and no spectrum is needed to know; two lines that leave the size alone are one
/// field's phase modulation. A beat of any frequency is met within 0.9 of its extremes.
fn is_alone(values: &[Complex32], share: f64) -> bool {
    const MET: f64 = 0.9;
    let (mut least, mut most) = (f32::INFINITY, 0.0f32);
    for value in values {
        let size = value.norm_sqr();
        least = least.min(size);
        most = most.max(size);
    }
    let (least, most) = (f64::from(least).sqrt(), f64::from(most).sqrt());
    most - least < MET * share * (most + least)
}

/// How many of so many values to transform, and to what length: all of them, padded to a power of two or five or six
/// eighths of one; or a little fewer where that saves the padding.
fn quick_length(count: usize) -> (usize, usize) {
    let whole = count.next_power_of_two();
    if whole / 2 >= count - count / 10 {
        return (whole / 2, whole / 2);
    }
    let lines = [whole / 8 * 5, whole / 4 * 3, whole]
        .into_iter()
        .find(|length| *length >= count)
        .unwrap_or(whole);
    (count, lines)
}

/// Takes off the tone nearest to an offset (cycles per value).
pub fn remove_line(values: &mut [Complex32], place: f64) {
    let tone = measure(values, place);
    subtract(values, &tone);
}

/// Frequency and amplitude of the tone nearest to `place`, by the peak of the windowed transform.
pub(in crate::receiver) fn measure(values: &[Complex32], place: f64) -> StrayTone {
    let shape = window(values.len());
    let weight: f64 = shape.iter().map(|&w| f64::from(w)).sum();
    // The search stays within two lines of the place: turned back to it, sums of a few values tell frequencies as well,
    // and lose 2e-6 of the amplitude.
    let each = 1 << (values.len() / 2048).clamp(1, BLOCK).ilog2();
    let still = Oscillator::new(-place).weighted_sums(values, &shape, each);
    let at = |off: f64| -> Complex64 {
        let mut turned = still.clone();
        Oscillator::new(-off * each as f64).turn(&mut turned, Complex64::ONE);
        turned.into_iter().map(wide).sum()
    };
    let mut off = 0.0;
    for step in [1.0, 0.5, 0.25, 0.125] {
        let step = step / values.len() as f64;
        let [before, here, after] = [off - step, off, off + step]
            .map(|per_value| at(per_value).norm().max(f64::MIN_POSITIVE).ln());
        let bend = before - 2.0 * here + after;
        if bend < 0.0 {
            off += step * (0.5 * (before - after) / bend).clamp(-1.0, 1.0);
        }
    }
    // Each sum stands for its middle.
    let middle = 0.5 * (each - 1) as f64;
    let turn = Complex64::cis(-std::f64::consts::TAU * off * middle);
    StrayTone {
        per_value: place + off,
        amplitude: at(off) * turn / weight,
    }
}

fn subtract(values: &mut [Complex32], tone: &StrayTone) {
    Oscillator::new(tone.per_value).add_to(values, -tone.amplitude);
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::receiver::dsp::phasor::single;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    /// Field 1, ripple 1 % (random signs, repeating), noise and a tone: the tone goes, everything else stays.
    #[test]
    fn a_tone_goes_and_a_repeating_ripple_stays() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(1);
        let mut noise = |sigma: f32| {
            let z: f32 = StandardNormal.sample(&mut rng);
            sigma * z
        };
        let signs: Vec<f32> = (0..256u32)
            .map(|j| {
                if (j.wrapping_mul(2_654_435_761) >> 30) & 1 == 1 {
                    1.0
                } else {
                    -1.0
                }
            })
            .collect();
        let clean: Vec<Complex32> = (0..60_000)
            .map(|n| Complex32::new(1.0 + 0.01 * signs[n / 16 % 256] + noise(0.01), noise(0.01)))
            .collect();
        for (offset_hz, level) in [(37.0, 1.0), (-1234.5, 3.0), (3400.0, 0.05), (500.0, 0.01)] {
            let per_value = offset_hz / 134_200.0;
            let mut values = clean.clone();
            for (n, v) in values.iter_mut().enumerate() {
                *v += single(Complex64::from_polar(
                    level,
                    std::f64::consts::TAU * per_value * n as f64 + 1.0,
                ));
            }
            let (tones, _) = remove_tones(&mut values, &[]);
            assert!(
                ((tones[0].per_value - per_value) * 134_200.0).abs() < 0.1,
                "{offset_hz}: {tones:?}"
            );
            let left = values
                .iter()
                .zip(&clean)
                .map(|(a, b)| f64::from((a - b).norm_sqr()))
                .sum::<f64>()
                / 60_000.0;
            // What is left of the tone is well below the ripple's 1e-4.
            assert!(
                left < 1e-5,
                "{offset_hz} Hz, level {level}: {left:e}, {tones:?}"
            );
        }
        assert!(remove_tones(&mut clean.clone(), &[]).0.is_empty());
        // Half a telegram lost: what the ripple does not repeat there is no noise, whether or not it is known where.
        let lost = 22_000..24_200;
        let mut mended = clean;
        mended[lost.clone()].fill(Complex32::ONE);
        assert!(remove_tones(&mut mended.clone(), &[]).1.is_none());
        assert!(remove_tones(&mut mended, &[lost]).1.is_none());
    }
}
