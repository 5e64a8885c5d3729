//! What else is in the air and on the wires. Each adds to a block of complex samples z; a probe sees Re z, a detector |z|, so all of
//! them are analytic (frequencies above zero only). Levels are peak volts at the digitiser.

mod band;
mod carrier;
mod fsk;
mod hum;
mod impulses;
mod phase;
mod pink;
mod supply;

#[cfg(test)]
mod density_tests;

pub(super) use band::band_noise;
pub(super) use carrier::tone;
pub(super) use fsk::fsk;
pub(super) use hum::hum;
pub(super) use impulses::impulses;
pub(super) use phase::PhaseWander;
pub(super) use pink::PinkNoise;
pub(super) use supply::supply;

use num_complex::Complex64;

/// Adds to consecutive blocks of samples.
pub(super) type Adder = Box<dyn FnMut(&mut [Complex64]) + Send>;

/// e^{2πj·cycles}, the same on every machine.
pub(super) fn turn(cycles: f64) -> Complex64 {
    let (sin, cos) = libm::sincos((cycles - libm::floor(cycles)) * std::f64::consts::TAU);
    Complex64::new(cos, sin)
}
