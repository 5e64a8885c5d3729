//! Field cycles → stretches of ripple: interference removed, the field divided out, on the right clock.

mod between;
pub(super) mod clock;
pub(super) mod clock_moves;
pub(super) mod gain_steps;
pub(super) mod gaps;
pub(super) mod hills;
pub(super) mod holes;
pub(super) mod interference;
mod lines;
pub(super) mod near_fields;
pub(super) mod one_sided;
pub(super) mod other_field;
pub(super) mod pieces;
pub(super) mod track;
