//! Samples → readings. (Front page follows with the chain.)

pub mod decision;
