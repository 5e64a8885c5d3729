//! Samples → readings.
//!
//! The stages, each a pure function of the one before: [`to_cycles`] turns samples into one complex value per field
//! cycle, pieces divide the field out and keep the ripple, folds lay telegrams on top of each other, [`decision`]
//! turns soft boundary signs into a number with its odds, and [`receive`] runs them all.

pub mod decision;

mod chain;
mod doubts;
mod dsp;
mod field;
mod fold;
mod front;
mod joined;
mod long_sums;
mod look;
mod needed;
mod numbers;
mod other_kinds;
mod proof;
mod reception;
mod restated;
mod seen;
mod signal;
pub mod survey;
mod surveyed;
mod tags;
mod windows;

pub use chain::{glance, read_numbers, receive};
pub use doubts::Doubts;
pub use dsp::tones::{Spectrum, Tone, correlate, spectrum};
pub use field::clock_moves::ClockMoves;
pub use field::gain_steps::GainStep;
pub use field::interference::StrayTone;
pub use field::near_fields::NearField;
pub use field::other_field::OtherField;
pub use field::pieces::{FieldFit, Piece, with_carrier};
pub use fold::band::Kept;
pub use fold::pulse::Pulse;
pub use fold::shape::Shape;
pub use fold::sums::{BIT, BoundarySums, Fold, HALF, TELEGRAM};
pub use front::cycles::{Cycles, Tuning, to_cycles};
pub use front::edge::Edge;
pub use front::gap::{Gap, GapKind};
pub use front::hypotheses::{LEAST_RATE_HZ, NOMINAL_HZ, field_strength};
pub use joined::receive_joined;
pub use long_sums::LongSums;
pub use needed::needed_db;
pub use other_kinds::{
    HalfDuplexReading, HalfDuplexUnread, LoadFskTag, OtherKinds, OtherRate, PhaseKeyed, ReadOnlyTag,
};
pub use proof::{Measured, Reading};
pub use reception::{Field, Reception};
pub use seen::Seen;
pub use signal::{Kind, Samples, Signal};
pub use tags::attempt::{Attempt, ReadLimits, Terms, fits_noise};
pub use tags::effort::Effort;
pub use tags::join::join;
pub use tags::read::{PieceReading, read_piece};
pub use tags::stays::{ONE_STAY_S, Stay};
pub use windows::Windows;
