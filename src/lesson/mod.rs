//! The teaching pack: pages that explain the air interface with captures that the program made and read for them.
//!
//! A [`LessonPlan`] lists the captures, each by the command that makes it. Whoever runs the commands hands back [`Taken`]s: the
//! receiver's result as it is printed, and figures. A [`Book`] turns them into pages, or into text for a terminal. Every
//! number in a chapter comes from there or from the telegram of the example, none is written into the text.
//!
//! Exercises work the same way: [`exercises`] lists captures with hidden numbers and faults, [`Sheets`] makes work
//! sheet and answer sheet of their truth, and [`grade`] compares answers with the answer sheet.

mod book;
mod chapter;
mod curves;
mod decimal;
mod division;
mod exercise;
mod explore;
mod load;
mod long_division;
mod markup;
mod page_file;
mod parts;
mod plan;
mod recipe;
mod settings;
mod stepper;
mod steps;
mod strip;
mod taken;
mod values;

pub use book::Book;
pub use chapter::{CHAPTERS, Chapter, chapter};
pub use exercise::{
    Exercise, Fault, Grade, GradeError, KEY, Mark, Outcome, Sheets, exercises, grade, reference,
};
pub use page_file::PageFile;
pub use plan::LessonPlan;
pub use recipe::{Recipe, Scale};
pub use settings::Settings;
pub use taken::{Evidence, Picture, Taken};

/// Why a lesson cannot be made.
#[derive(Debug, thiserror::Error)]
pub enum LessonError {
    /// A figure cannot be drawn.
    #[error(transparent)]
    Draw(#[from] crate::draw::DrawError),
    /// A chapter or page cannot be filled.
    #[error("a page of the lesson cannot be filled: {0:#}")]
    Template(#[from] minijinja::Error),
    /// The bench of the lesson cannot be worked out.
    #[error(transparent)]
    Scenario(#[from] crate::world::scenario::ScenarioError),
    /// The page that reads captures cannot be made.
    #[error(transparent)]
    Page(#[from] crate::page::PageError),
    /// What pages to play with show cannot be worked out.
    #[error("a page to play with cannot be made: {0}")]
    Play(#[from] crate::play::Unanswered),
    /// See [`LessonError::Scenario`].
    #[error(transparent)]
    Link(#[from] crate::world::link::LinkError),
}
