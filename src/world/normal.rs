//! Normal deviates that are the same on every machine.
//!
//! Marsaglia and Tsang, "The ziggurat method for generating random variables", Journal of Statistical Software 5(8),
//! 2000, with 256 layers and separate bits for layer, sign and position (the correction of Doornik, 2005). The ready-made
//! distribution of the `rand` family was not taken: its tails call the standard library's `exp` and `ln`, which are not
//! the same everywhere.

use rand::Rng;

use super::random::uniform;

const LAYERS: usize = 256;
/// Where the tail begins, for 256 layers (Marsaglia and Tsang 2000).
const TAIL_START: f64 = 3.654_152_885_361_009;
/// Position within a layer: 53 bits.
const POSITION: f64 = 1.0 / (1u64 << 53) as f64;

/// Draws standard normal deviates (mean 0, standard deviation 1).
#[derive(Clone, Debug)]
pub struct NormalDeviates {
    /// Right edge of each layer, the base layer first (widened to hold the tail's area), 0 last.
    edge: [f64; LAYERS + 1],
    /// Density at each edge (without 1/√2π).
    density: [f64; LAYERS + 1],
}

impl Default for NormalDeviates {
    fn default() -> Self {
        Self::new()
    }
}

fn density(x: f64) -> f64 {
    libm::exp(-0.5 * x * x)
}

impl NormalDeviates {
    /// Works out the layers.
    pub fn new() -> Self {
        // Area of each layer: the base box and the tail, ∫ exp(−x²/2) from r = √(π/2)·erfc(r/√2).
        let tail =
            (std::f64::consts::PI / 2.0).sqrt() * libm::erfc(TAIL_START / std::f64::consts::SQRT_2);
        let area = TAIL_START * density(TAIL_START) + tail;
        let mut edges = [0.0; LAYERS + 1];
        edges[0] = area / density(TAIL_START);
        edges[1] = TAIL_START;
        for layer in 2..LAYERS {
            let below = edges[layer - 1];
            edges[layer] = (-2.0 * libm::log(area / below + density(below))).sqrt();
        }
        edges[LAYERS] = 0.0;
        Self {
            edge: edges,
            density: edges.map(density),
        }
    }

    /// One deviate.
    #[inline]
    pub fn draw(&self, generator: &mut impl Rng) -> f64 {
        loop {
            let word = generator.next_u64();
            let layer = (word & 0xFF) as usize;
            let position = (word >> 11) as f64 * POSITION;
            let x = position * self.edge[layer];
            let inside = x < self.edge[layer + 1];
            // Bit 8 is the sign; bits 0 to 7 choose the layer and 11 to 63 the position.
            let negative = word & 0x100 != 0;
            if inside || self.accepted(layer, x, generator) {
                return if negative { -x } else { x };
            }
            if layer == 0 {
                let x = tail(generator);
                return if negative { -x } else { x };
            }
        }
    }

    /// The wedge beside a layer: accepted under the curve. Never for the base layer, whose rest is the tail.
    #[cold]
    fn accepted(&self, layer: usize, x: f64, generator: &mut impl Rng) -> bool {
        if layer == 0 {
            return false;
        }
        let (low, high) = (self.density[layer], self.density[layer + 1]);
        low + (high - low) * uniform(generator) < density(x)
    }

    /// Adds noise of standard deviation `sigma` to the samples.
    pub fn add(&self, sigma: f64, samples: &mut [f64], generator: &mut impl Rng) {
        for sample in samples {
            *sample += sigma * self.draw(generator);
        }
    }
}

/// A deviate beyond the start of the tail (Marsaglia 1964).
#[cold]
fn tail(generator: &mut impl Rng) -> f64 {
    loop {
        // 1 − uniform is in (0, 1]: the logarithm is finite.
        let x = -libm::log(1.0 - uniform(generator)) / TAIL_START;
        let y = -libm::log(1.0 - uniform(generator));
        if y + y > x * x {
            return TAIL_START + x;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::random::{Stream, generator};
    use super::*;

    #[test]
    fn layers_have_equal_areas_up_to_the_top() {
        let normal = NormalDeviates::new();
        let area = normal.edge[1] * normal.density[1]
            + (std::f64::consts::PI / 2.0).sqrt() * libm::erfc(TAIL_START / 2f64.sqrt());
        for layer in 1..LAYERS {
            let here = normal.edge[layer] * (normal.density[layer + 1] - normal.density[layer]);
            // The start of the tail is given to 16 digits; the recursion loses about three of them by the top layer.
            assert!((here / area - 1.0).abs() < 1e-11, "{layer}: {here} {area}");
        }
    }

    /// Shares beyond 0.5, 1, 2, 3, 3.7 (in the tail) and 4.2 against erfc, each within five standard deviations; first four
    /// moments likewise.
    #[test]
    fn shares_and_moments_are_those_of_a_normal_distribution() {
        const N: usize = 4_000_000;
        let normal = NormalDeviates::new();
        let mut source = generator(7, Stream::Noise);
        let draws: Vec<f64> = (0..N).map(|_| normal.draw(&mut source)).collect();
        let n = N as f64;
        for limit in [0.5, 1.0, 2.0, 3.0, 3.7, 4.2] {
            let expected = 0.5 * libm::erfc(limit / 2f64.sqrt());
            for sign in [-1.0, 1.0] {
                let share = draws.iter().filter(|&&x| x * sign > limit).count() as f64 / n;
                let deviation = (expected * (1.0 - expected) / n).sqrt();
                assert!(
                    (share - expected).abs() < 5.0 * deviation,
                    "{limit}: {share} instead of {expected}"
                );
            }
        }
        // Variances of the mean powers 1 to 4: 1, 2, 15, 96, each over n.
        for (power, mean, variance) in [
            (1, 0.0, 1.0),
            (2, 1.0, 2.0),
            (3, 0.0, 15.0),
            (4, 3.0, 96.0f64),
        ] {
            let moment = draws.iter().map(|x| x.powi(power)).sum::<f64>() / n;
            assert!(
                (moment - mean).abs() < 5.0 * (variance / n).sqrt(),
                "{power}: {moment}"
            );
        }
        // White: neighbours do not depend on each other.
        let neighbours = draws.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / n;
        assert!(neighbours.abs() < 5.0 / n.sqrt(), "{neighbours}");
    }
}
