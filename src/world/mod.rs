//! A bench in numbers → samples. Everything here is repeatable bit for bit: the same description and seed give the same
//! samples on every machine and with any number of threads.
//!
//! That is why sines, logarithms and exponentials come from `libm` (the standard library's differ from one platform to
//! the next), why nothing uses fused multiply-add, and why random numbers are ChaCha8 streams with our own normal
//! deviates ([`NormalDeviates`]).

pub mod circuit;
pub mod coil;
pub mod link;
pub mod scenario;

mod bench;
mod carrier;
mod digitiser;
mod direct;
mod interferer;
mod load_switch;
mod noise_level;
mod normal;
mod other_tag;
mod pulses;
mod random;
mod ripple_tag;

pub use bench::{Bench, BenchSource, Derived, DerivedTag};
pub use digitiser::Digitiser;
pub use direct::{BLOCK_SAMPLES, DirectSignal, DirectSource, SampleForm};
pub use load_switch::LoadSwitch;
pub use noise_level::{noise_sigma, ripple_rms};
pub use normal::NormalDeviates;
pub use other_tag::OtherSent;
pub use pulses::Pulses;
pub use random::{Place, Stream, generator, trial_generator, uniform};
pub use ripple_tag::RippleTag;
