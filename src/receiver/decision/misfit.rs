//! Test of fit: do the signs that contradict the word chosen stay within what noise does?

use super::code::CODED_SIGNS;

/// Points of the cost axis, from 0 to the cost asked about.
const POINTS: usize = 512;

/// Probability that noise alone makes a right word cost at least `cost` (sum of |LLR| over contradicted signs).
///
/// A right sign of mean LLR m is contradicted with LLR −d, d > 0, where the LLR is normal with mean m and variance 2m
/// (white noise). The distribution of the sum over the 102 signs is their convolution, cut off at `cost`; each sign's
/// cost is rounded down by at most cost/512, towards "fits".
pub fn misfit_probability(means: &[f64; CODED_SIGNS], cost: f64) -> f64 {
    if cost <= 0.0 {
        return 1.0;
    }
    let step = cost / POINTS as f64;
    let mut product = vec![0.0; POINTS];
    product[0] = 1.0;
    // Means differ only by how many telegrams cover a sign: few distinct values.
    let mut sorted = *means;
    sorted.sort_by(f64::total_cmp);
    let mut at = 0;
    while at < CODED_SIGNS {
        let mean = sorted[at];
        let mut next = at + 1;
        while next < CODED_SIGNS && sorted[next] - mean <= 1e-6 * mean.abs() {
            next += 1;
        }
        // Power by squaring.
        let mut power = one_sign(mean, step);
        let mut exponent = next - at;
        while exponent > 0 {
            if exponent & 1 == 1 {
                product = convolve(&product, &power);
            }
            exponent >>= 1;
            if exponent > 0 {
                power = convolve(&power, &power);
            }
        }
        at = next;
    }
    (1.0 - product.iter().sum::<f64>()).clamp(0.0, 1.0)
}

/// Product of two densities, sums past the axis dropped.
fn convolve(a: &[f64], b: &[f64]) -> Vec<f64> {
    let mut product = vec![0.0; POINTS];
    for (i, &value) in a.iter().enumerate().filter(|(_, value)| **value > 0.0) {
        for (sum, other) in product[i..].iter_mut().zip(b) {
            *sum += value * other;
        }
    }
    product
}

/// Distribution of one sign's cost on the grid: bin i holds costs in [i, i+1)·step, bin 0 also "not contradicted".
fn one_sign(mean: f64, step: f64) -> Vec<f64> {
    let deviation = (2.0 * mean.max(1e-9)).sqrt();
    // P(cost ≥ d) for d > 0
    let beyond = |d: f64| 0.5 * libm::erfc((d + mean) / (deviation * std::f64::consts::SQRT_2));
    let mut density = Vec::with_capacity(POINTS);
    let mut above = 1.0;
    for i in 1..=POINTS {
        let next = beyond(i as f64 * step);
        density.push(above - next);
        above = next;
    }
    density
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    /// Against the same sum drawn at random: 20 000 draws, 4 standard deviations of a binomial share.
    #[test]
    fn the_distribution_is_that_of_random_draws() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(3);
        let mean = 6.0f64;
        let draws = 20_000;
        for cost in [0.5, 3.0, 8.0] {
            let mut beyond = 0;
            for _ in 0..draws {
                let total: f64 = (0..CODED_SIGNS)
                    .map(|_| {
                        let z: f64 = StandardNormal.sample(&mut rng);
                        (-(mean + (2.0 * mean).sqrt() * z)).max(0.0)
                    })
                    .sum();
                beyond += u32::from(total >= cost);
            }
            let share = f64::from(beyond) / f64::from(draws);
            let theory = misfit_probability(&[mean; CODED_SIGNS], cost);
            let sigma = (theory * (1.0 - theory) / f64::from(draws)).sqrt();
            // Rounding of each contradicted sign to the grid: at most a few bins of cost/512.
            assert!(
                (share - theory).abs() < 4.0 * sigma + 0.01 * theory,
                "{cost}: {share} {theory}"
            );
        }
        assert!(misfit_probability(&[40.0; CODED_SIGNS], 80.0) < 1e-9);
    }
}
