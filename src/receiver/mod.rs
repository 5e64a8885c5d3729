//! Samples → readings.
//!
//! The stages, each a pure function of the one before: [`to_cycles`] turns samples into one complex value per field
//! cycle, pieces divide the field out and keep the ripple, folds lay telegrams on top of each other, [`decision`]
//! turns soft boundary signs into a number with its odds, and [`receive`] runs them all.

pub mod decision;

mod acquire;
mod apart;
mod band;
mod bursts;
mod chain;
mod clock;
mod edge;
mod fold;
mod front;
mod hills;
mod interference;
mod join;
mod kept;
mod kernel;
mod other_field;
mod other_kinds;
mod phasor;
mod pieces;
mod proof;
mod pulse;
mod pulse_noise;
mod read;
mod reception;
mod refine;
mod retime;
mod shape;
mod signal;
pub mod survey;
mod together;
mod tones;
mod track;
mod transform;
mod views;

pub use band::Kept;
pub use chain::{read_numbers, receive, receive_joined};
pub use edge::Edge;
pub use fold::{BIT, BoundarySums, Fold, HALF, TELEGRAM};
pub use front::{Cycles, Tuning, to_cycles};
pub use interference::StrayTone;
pub use join::join;
pub use other_kinds::{HalfDuplexReading, HalfDuplexUnread, LoadFskTag, OtherKinds, ReadOnlyTag};
pub use pieces::{FieldFit, Piece, with_carrier};
pub use proof::{Measured, Reading};
pub use pulse::Pulse;
pub use read::{Attempt, PieceReading, ReadLimits, Terms, read_piece};
pub use reception::{Field, Reception, Seen, needed_db};
pub use shape::Shape;
pub use signal::{Kind, Samples, Signal};
pub use tones::{Spectrum, Tone, correlate, spectrum};
pub use views::{NOMINAL_HZ, field_strength};
