//! Folds → every number in a piece, and in several pieces together.

pub(super) mod acquire;
pub(super) mod apart;
pub(super) mod attempt;
pub(super) mod band;
pub(super) mod best_shape;
pub(super) mod bursts;
pub(super) mod effort;
pub(super) mod find;
pub(super) mod join;
pub(super) mod laying;
pub(super) mod left_alike;
pub(super) mod long_fold;
pub(super) mod near;
mod near_patterns;
pub(super) mod near_sums;
pub(super) mod noise_left;
pub(super) mod read;
pub(super) mod refine;
pub(super) mod shared;
pub(super) mod standing;
pub(super) mod stays;
pub(super) mod there;
pub(super) mod together;
pub(super) mod told;
pub(super) mod waveform;
