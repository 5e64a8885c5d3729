//! Captures with unknown numbers and faults, their sheets, and marks for answers.

mod draw;
mod grade;
mod sheets;
mod solvable;

pub use draw::{Exercise, Fault, exercises, reference};
pub use grade::{Grade, GradeError, Mark, grade};
pub use sheets::Sheets;
