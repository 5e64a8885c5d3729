//! Ripple → telegrams laid on each other, and what slow tanks do to their edges.

pub(super) mod band;
pub(super) mod bank;
pub(super) mod pulse;
pub(super) mod pulse_noise;
pub(super) mod shape;
pub(super) mod sums;
