//! Samples → one complex value per field cycle.

pub(super) mod cycles;
pub(super) mod edge;
pub(super) mod folded;
pub(super) mod gap;
pub(super) mod hypotheses;
pub(super) mod kernel;
