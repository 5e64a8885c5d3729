//! Soft boundary signs → the number, with the odds that it is wrong and a test of fit.

mod code;
mod decide;
mod dual;
mod evidence;
mod known;
mod misfit;
mod ordered;
mod search;

pub use code::{ANY, CODED_SIGNS, Code, Step, USUAL, usual_fields, word_of};
pub use decide::{Boundaries, Decision, Likeliest, ODDS_FLOOR, decide, likeliest_number};
pub use evidence::{Signs, Weights};
pub use known::{Known, USUAL_SHARE};
pub use misfit::misfit_probability;
pub use ordered::{Candidate, ordered_statistics};
