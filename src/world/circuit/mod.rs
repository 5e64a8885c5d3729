//! Circuits: readers and tags as tuned circuits that hear each other through mutual inductance.
//!
//! Signals are x(t) = Re{A(t)·e^{+jωt}} with peak amplitudes. Every circuit here is linear while nothing switches, so
//! between two switchings the solution is a sum of exponentials and is evaluated exactly; only a tag's clamp is not linear, and
//! is replaced by the conductance that draws the same fundamental current.

mod brute;
mod clamp;
mod clamp_level;
mod clamp_steps;
mod clock;
mod first_above;
mod joining;
mod modes;
mod network;
mod parts;
mod plan;
mod probe;
mod ripple;
mod run;
mod settled;
mod track;

#[cfg(test)]
mod dynamics_tests;

pub use brute::integrate;
pub use clamp::Clamp;
pub use joining::CircuitError;
pub use network::Network;
pub use parts::{Modulator, Reader, Tag, Topology, resonance_capacitance_f, resonance_hz};
pub use plan::{Change, CircuitPlan, LoadPlan, PlanError};
pub use probe::Probe;
pub use ripple::{Ripple, ripple_of_track};
pub use run::run;
pub use settled::{Settled, settle};
pub use track::Track;
