//! Captures with unknown numbers and faults, their sheets, and marks for answers.

mod cell;
mod draw;
mod grade;
mod pairs;
mod sheets;
mod solvable;

pub use draw::{Exercise, Fault, exercises, reference};
pub use grade::{Grade, GradeError, Mark, Outcome, grade};
pub use sheets::{KEY, Sheets};
