//! Decoders that are no part of this program: what they are shown and what they may answer.

use super::draw::Draw;
use super::scene::{Recording, Scene};

/// One trial, as whoever stands beside it sees it.
#[derive(Clone, Copy, Debug)]
pub struct Trial<'a> {
    /// Place of its point in the plan.
    pub point: usize,
    /// Its number over all parts of the plan.
    pub number: u64,
    /// What was drawn for it.
    pub draw: &'a Draw,
    /// What was captured.
    pub scene: &'a Scene,
    /// The samples.
    pub recording: &'a Recording,
}

/// A number as people write it: country or issuer, and national number.
pub type Number = (u16, u64);

/// What came back from an outside decoder.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Answer {
    /// The numbers it read; none is an answer too.
    Numbers(Vec<Number>),
    /// It gave none.
    Failed(Failure),
}

/// Ways not to answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash)]
pub enum Failure {
    /// It took too long.
    TimedOut,
    /// It ended by a signal, with a code that says so, or without an answer.
    Crashed,
    /// It wrote something that is no number.
    Garbage,
}

impl Failure {
    /// All, in the order of tables.
    pub const ALL: [Self; 3] = [Self::TimedOut, Self::Crashed, Self::Garbage];

    /// Name in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::TimedOut => "timed_out",
            Self::Crashed => "crashed",
            Self::Garbage => "garbage",
        }
    }
}

/// An outside decoder; it may be asked from several threads at once.
pub trait Outside: Sync {
    /// Lets it try a capture.
    fn read(&self, trial: &Trial<'_>) -> Answer;
}
