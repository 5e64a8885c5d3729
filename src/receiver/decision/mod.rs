//! Soft boundary signs → the number, with the odds that it is wrong and a test of fit.

mod boundaries;
mod code;
mod decide;
mod dual;
mod evidence;
mod known;
mod misfit;
mod ordered;
mod search;
mod signs;
mod starts;
mod weighed;
mod words;

pub use boundaries::Boundaries;
pub use code::{ANY, CODED_SIGNS, Code, Step, USUAL, usual_fields, word_of};
pub use decide::{Decision, Likeliest, decide, likeliest_number};
pub use known::{Known, USUAL_SHARE};
pub use misfit::misfit_probability;
pub use ordered::{Candidate, ordered_statistics};
pub use signs::{Signs, Weights};
pub use starts::log_of_starts;
pub use weighed::ODDS_FLOOR;
