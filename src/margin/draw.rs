//! What is drawn for one trial.

use crate::world::{Place, trial_generator, uniform};
use rand::Rng;

/// Random numbers of one trial: a function of the plan's seed, the point and the trial's number alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Draw {
    /// Seed of everything random in the capture, as `synth --seed` takes it.
    pub seed: u64,
    /// A ripple angle, uniform in (−90°, 90°], for scenes that leave it open.
    pub angle_deg: f64,
}

impl Draw {
    /// The draws of one trial.
    ///
    /// The values are part of the key, so a plan with more points draws the same for those it had before.
    pub fn new(seed: u64, values: &[f64], trial: u64) -> Self {
        let bits = |index: usize| values.get(index).map_or(0, |value| (value + 0.0).to_bits());
        let mut generator = trial_generator(seed, Place([bits(0), bits(1)]), trial);
        Self {
            seed: generator.next_u64(),
            angle_deg: 90.0 - 180.0 * uniform(&mut generator),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_trial_differs_and_the_first_is_frozen() {
        let first = Draw::new(1, &[-3.0], 0);
        for other in [
            Draw::new(2, &[-3.0], 0),
            Draw::new(1, &[-2.0], 0),
            Draw::new(1, &[-3.0, 1.0], 0),
            Draw::new(1, &[-3.0], 1),
        ] {
            assert_ne!(first, other);
        }
        assert_eq!(Draw::new(1, &[0.0], 5), Draw::new(1, &[-0.0], 5));
        // Frozen: a change makes old tables unrepeatable. First word of ChaCha8 with this key, by a script of its own.
        assert_eq!(first.seed, 0x5aa4_1c64_9e87_fd5d);
        assert!((-90.0..=90.0).contains(&first.angle_deg));
    }

    /// 10 000 angles lie in quarters within five standard deviations of a binomial count.
    #[test]
    fn angles_are_spread_evenly() {
        let mut quarters = [0u32; 4];
        for trial in 0..10_000 {
            let angle_deg = Draw::new(3, &[], trial).angle_deg;
            quarters[(((angle_deg + 90.0) / 45.0) as usize).min(3)] += 1;
        }
        let deviation = (10_000.0f64 * 0.25 * 0.75).sqrt();
        for count in quarters {
            assert!(
                (f64::from(count) - 2500.0).abs() < 5.0 * deviation,
                "{quarters:?}"
            );
        }
    }
}
