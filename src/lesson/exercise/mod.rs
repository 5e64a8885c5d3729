//! Captures with unknown numbers and faults, their sheets, and marks for answers.

mod draw;
mod grade;
mod sheets;

pub use draw::{Exercise, Fault, exercises};
pub use grade::{Grade, GradeError, Mark, grade};
pub use sheets::Sheets;
