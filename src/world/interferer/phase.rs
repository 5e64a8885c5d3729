//! Phase noise of an oscillator.

use super::super::normal::NormalDeviates;
use super::super::scenario::PhaseNoise;
use num_complex::Complex64;
use rand::rngs::ChaCha8Rng;

/// Turns samples by a wandering phase: a random walk (20 dB a decade) and a floor.
///
/// A walk whose variance grows by D rad² a second has L(f) = D/(4π²f²); a white phase of variance σ² at rate f_s has
/// L = σ²/f_s (both small-angle, single sideband relative to the carrier), and twice that in real samples, where the equally wide floor
/// of the carrier's negative frequency lies on top.
#[derive(Debug)]
pub struct PhaseWander {
    normal: NormalDeviates,
    random: ChaCha8Rng,
    step: f64,
    floor: f64,
    phase: f64,
}

impl PhaseWander {
    pub fn new(keys: &PhaseNoise, rate_hz: f64, random: ChaCha8Rng) -> Self {
        let density = |dbc_per_hz: f64| libm::pow(10.0, dbc_per_hz / 10.0);
        let at_hz = std::f64::consts::TAU * 1e3;
        let diffusion = density(keys.dbc_per_hz_at_1khz) * at_hz * at_hz;
        Self {
            normal: NormalDeviates::new(),
            random,
            step: (diffusion / rate_hz).sqrt(),
            floor: keys
                .floor_dbc_per_hz
                .map_or(0.0, |dbc| (density(dbc) * rate_hz / 2.0).sqrt()),
            phase: 0.0,
        }
    }

    pub fn turn(&mut self, block: &mut [Complex64]) {
        for sample in block {
            self.phase += self.step * self.normal.draw(&mut self.random);
            let jump = self.floor * self.normal.draw(&mut self.random);
            let (sin, cos) = libm::sincos(self.phase + jump);
            *sample *= Complex64::new(cos, sin);
        }
    }
}
