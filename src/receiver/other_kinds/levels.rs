//! Levels of a half-duplex answer and of the noise it is in, measured with its place and its first bits given.

use num_complex::Complex32;

use super::bit_path::{Levels, Place};
use crate::telegram::HALF_DUPLEX_BITS as BITS;

/// Noise is not taken as less than this share of the answer's power (per value): quantiser and tones that drift are never better.
const LEAST_NOISE: f64 = 1e-3;

/// A lone tag's power varies from bit to bit by no more than this share of it, besides noise and the fall along the answer (common
/// practice, no source): a second tag 10 dB below, whose tones beat with it, already has it vary by 45 %.
const WOBBLE: f64 = 0.3;

/// One bit's deviation counts for no more than this many times what is expected: an antenna that still rings spoils the first few.
const MOST_OF_ONE: f64 = 9.0;

/// Levels, given the first bits. `None` where nothing of them is in the values.
pub fn levels_of(
    values: &[Complex32],
    place: &Place<'_>,
    bits: &[bool],
    full_share: f64,
) -> Option<Levels> {
    // Per tone and half of the answer: bits, Σ|C|²/length.
    let mut sums = [[(0.0, 0.0); 2]; 2];
    let mut ones = 0;
    for (index, &bit) in bits.iter().enumerate() {
        let tone = place.tones[usize::from(bit)];
        if let Some(energy) = tone.energy(place.begin_of(index, ones)) {
            let sum = &mut sums[usize::from(bit)][usize::from(2 * index >= BITS)];
            *sum = (sum.0 + 1.0, sum.1 + energy / tone.length);
        }
        ones += usize::from(bit);
    }
    let from = place.begin as usize;
    let to = (place.begin_of(bits.len(), ones) as usize).min(values.len());
    if to <= from {
        return None;
    }
    let all: f64 = values[from..to]
        .iter()
        .map(|v| f64::from(v.norm_sqr()))
        .sum();
    let count: f64 = sums.iter().flatten().map(|sum| sum.0).sum();
    let fitted: f64 = sums.iter().flatten().map(|sum| sum.1).sum();
    // Each bit takes one of its values' freedoms; those that the front end's filter took are not there either.
    let freedoms = (to - from) as f64 * full_share - count;
    let noise =
        ((all - fitted).max(0.0) / freedoms.max(1.0)).max(LEAST_NOISE * all / (to - from) as f64);
    if noise <= 0.0 {
        return None;
    }
    let of = |bit: usize, halves: &[usize]| {
        let (count, energy) = halves
            .iter()
            .map(|&half| sums[bit][half])
            .fold((0.0, 0.0), |a, b| (a.0 + b.0, a.1 + b.1));
        (count > 0.0).then(|| (energy / count - noise).max(0.0) / place.tones[bit].length)
    };
    let powers = [of(0, &[0, 1]), of(1, &[0, 1])];
    let known = powers[0].or(powers[1])?;
    // Halves of the answer are 56 bits apart; weights are the bits in the second half.
    let mut falls = (0.0, 0.0);
    for (bit, halves) in sums.iter().enumerate() {
        if let (Some(first), Some(second)) = (of(bit, &[0]), of(bit, &[1]))
            && first > 0.0
            && second > 0.0
        {
            let weight = halves[1].0;
            falls = (
                falls.0 + weight,
                falls.1 + weight * 0.5 * (first / second).ln(),
            );
        }
    }
    let fading = if falls.0 > 0.0 {
        falls.1 / falls.0 / (0.5 * BITS as f64)
    } else {
        0.0
    };
    Some(Levels {
        amplitude: powers.map(|power| power.unwrap_or(known).sqrt()),
        // Beyond this nothing is left at the answer's end; a rise is noise.
        fading: fading.clamp(0.0, 0.03),
        noise,
    })
}

/// Mean square by which the power of the bits differs from what tones of these levels in noise have, over what is expected: near 1 for
/// a lone tag, several times that for tags that answer at once.
pub fn unsteadiness(place: &Place<'_>, bits: &[bool], levels: &Levels) -> f64 {
    let (mut ones, mut sum, mut count) = (0, 0.0, 0.0);
    for (index, &bit) in bits.iter().enumerate() {
        let tone = place.tones[usize::from(bit)];
        if let Some(energy) = tone.energy(place.begin_of(index, ones)) {
            let expected = levels.amplitude_of(index, bit).powi(2) * tone.length / levels.noise;
            // |tone + noise|² over the noise has a mean of 1 and a variance of 1 beyond the tone's (noncentral χ², two freedoms).
            let difference = energy / tone.length / levels.noise - expected - 1.0;
            let variance = 2.0 * expected + 1.0 + (WOBBLE * expected).powi(2);
            sum += (difference * difference / variance).min(MOST_OF_ONE);
            count += 1.0;
        }
        ones += usize::from(bit);
    }
    if count > 0.0 { sum / count } else { 0.0 }
}
