//! Interference wider than a line: transmitters with modulation, supplies whose frequency wanders.
//!
//! Where the noise between a tag's lines rises over its surroundings, the ripple is weighted with what is left of its
//! signal-to-noise ratio (the whitening of a matched filter in coloured noise; textbook).

use num_complex::Complex32;

use crate::order::median;
use crate::receiver::dsp::transform::{WINDOW_MEAN_SQUARE, forward, inverse};

/// Noise is averaged over at least this many Hz over the field frequency: 60 Hz of 134.2 kHz, below what a transmitter's
/// 200 Bd or a wandering supply take.
const WIDTH: f64 = 4.5e-4;

/// … and over at least this many independent lines: their mean then stays below four times its expectation in all but
/// 1e-9 of cases (gamma distribution of shape 12).
const LEAST_LINES: f64 = 12.0;

/// A hill rises above its surroundings by this factor.
const RISES: f64 = 4.0;

/// The surroundings: 3 kHz of 134.2 to each side, several times the widest hill expected.
const SURROUNDINGS: f64 = 0.022;

/// Weights of the spectrum around the field.
#[derive(Clone, Debug)]
pub struct Hills {
    /// Weight of each line, 1 where there is no hill.
    weights: Vec<f32>,
}

impl Hills {
    /// From the power of the noise at each line (0 where it is not known) of a transform of `count` values, padded to
    /// the length of `power`. `None` where no hill rises, or none of at least this power.
    pub fn in_noise(power: &[f64], count: usize, least: f64) -> Option<Self> {
        let lines = power.len();
        let padding = lines as f64 / count as f64;
        // A window that spreads each line over about two makes half of them independent.
        let width = (WIDTH * lines as f64)
            .max(2.0 * LEAST_LINES * padding)
            .ceil() as usize;
        let bands: Vec<f64> = power
            .chunks(width)
            .map(|chunk| {
                let known = chunk.iter().filter(|p| **p > 0.0).count();
                if known * 4 < chunk.len() {
                    return 0.0;
                }
                chunk.iter().sum::<f64>() / known as f64
            })
            .collect();
        let reach = ((SURROUNDINGS * lines as f64) / width as f64).ceil() as usize;
        let total = bands.len();
        // By Parseval: what the mean power of a band's lines must be for the band to hold that much.
        let least = least * WINDOW_MEAN_SQUARE * count as f64 * lines as f64 / width as f64;
        // The floor changes slowly: it is looked for once in every eighth of the surroundings.
        let stride = (reach / 8).max(1);
        let floors: Vec<Option<f64>> = (0..total)
            .step_by(stride)
            .map(|band| {
                let band = band + stride / 2;
                let mut near: Vec<f64> = (band + total - reach.min(total / 2)
                    ..=band + total + reach.min(total / 2))
                    .map(|k| bands[k % total])
                    .filter(|p| *p > 0.0)
                    .collect();
                median(&mut near)
            })
            .collect();
        let mut rises = false;
        let of_bands: Vec<f64> = bands
            .iter()
            .enumerate()
            .map(|(band, power)| match floors[band / stride] {
                Some(floor) if *power > least.max(RISES * floor) => {
                    rises = true;
                    floor / power
                }
                _ => 1.0,
            })
            .collect();
        rises.then(|| Self {
            weights: (0..lines)
                .map(|line| of_bands[line / width] as f32)
                .collect(),
        })
    }

    /// The ripple with every line weighted.
    pub fn weigh(&self, ripple: &mut Vec<Complex32>) {
        let count = ripple.len();
        let lines = count.next_power_of_two();
        let mut buffer = ripple.clone();
        buffer.resize(lines, Complex32::default());
        forward(lines).process(&mut buffer);
        let own = self.weights.len();
        let scale = 1.0 / lines as f32;
        for (line, value) in buffer.iter_mut().enumerate() {
            *value *= self.weights[line * own / lines] * scale;
        }
        inverse(lines).process(&mut buffer);
        buffer.truncate(count);
        *ripple = buffer;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, Exp1};

    /// Exponentially distributed powers, the smaller of two as in the receiver, with one hill of ten times the noise.
    #[test]
    fn a_hill_is_found_and_flat_noise_has_none() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(4);
        for round in 0..20 {
            let mut power: Vec<f64> = (0..65_536)
                .map(|_| {
                    let (a, b): (f64, f64) = (Exp1.sample(&mut rng), Exp1.sample(&mut rng));
                    a.min(b)
                })
                .collect();
            assert!(
                Hills::in_noise(&power, 60_000, 0.0).is_none(),
                "round {round}"
            );
            // 600 Hz wide, 1.4 kHz above the field.
            let hill = 537..830;
            power[hill.clone()].iter_mut().for_each(|p| *p *= 10.0);
            let hills = Hills::in_noise(&power, 60_000, 0.0).expect("a hill");
            assert!(hills.weights[680] < 0.2, "{}", hills.weights[680]);
            // 293 lines of five on average; a band takes in a third of the hill or less.
            let held = 293.0 * 5.0 / (65_536.0 * 60_000.0 * WINDOW_MEAN_SQUARE);
            assert!(Hills::in_noise(&power, 60_000, held).is_none());
            assert!(Hills::in_noise(&power, 60_000, 0.01 * held).is_some());
            let outside = |line: usize| !(500..870).contains(&line);
            assert!(
                (0..65_536)
                    .filter(|&l| outside(l))
                    .all(|l| hills.weights[l] == 1.0)
            );
        }
    }
}
