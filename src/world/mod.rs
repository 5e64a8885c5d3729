//! A bench in numbers: coils, circuits and what they do to each other.

pub mod circuit;
pub mod coil;
pub mod link;
