//! 1/f noise: first-order processes an octave apart.

use super::super::normal::NormalDeviates;
use rand::rngs::ChaCha8Rng;

/// Lowest corner; below it the density is flat.
const LOWEST_HZ: f64 = 1.0;

/// Real noise with density D²·(1 kHz)/f from a few Hz to a twentieth of the rate; folding makes it 10 % more at a seventh.
#[derive(Debug)]
pub struct PinkNoise {
    normal: NormalDeviates,
    random: ChaCha8Rng,
    /// Factor kept from sample to sample, random part, state.
    stages: Vec<(f64, f64, f64)>,
}

impl PinkNoise {
    /// A process of variance v and corner c has the density v·(2/πc)/(1 + (f/c)²); corners an octave apart add up to v/(ln 2·f) within 1 %.
    pub fn new(nv_per_rthz_at_1khz: f64, rate_hz: f64, mut random: ChaCha8Rng) -> Self {
        let normal = NormalDeviates::new();
        let variance = (nv_per_rthz_at_1khz * 1e-9).powi(2) * 1e3 * std::f64::consts::LN_2;
        let sigma = variance.sqrt();
        let mut stages = Vec::new();
        let mut corner_hz = LOWEST_HZ;
        while corner_hz < rate_hz {
            let stay = libm::exp(-std::f64::consts::TAU * corner_hz / rate_hz);
            let state = sigma * normal.draw(&mut random);
            stages.push((stay, sigma * (1.0 - stay * stay).sqrt(), state));
            corner_hz *= 2.0;
        }
        Self {
            normal,
            random,
            stages,
        }
    }

    pub fn add(&mut self, block: &mut [f64]) {
        for sample in block {
            for (stay, kick, state) in &mut self.stages {
                *sample += *state;
                *state = *stay * *state + *kick * self.normal.draw(&mut self.random);
            }
        }
    }
}
