//! What each receiver makes of one capture.

use super::limit::told;
use super::plain;
use super::scene::{Recording, Scene};
use crate::receiver::read_numbers;

/// Who tries to read a capture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Contestant {
    /// The program's own receiver.
    Own,
    /// The plain amplitude receiver.
    Plain,
    /// The exact limit: told everything but number and start.
    Limit,
}

impl Contestant {
    /// All, in the order of tables.
    pub const ALL: [Self; 3] = [Self::Own, Self::Plain, Self::Limit];

    /// Name in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Own => "own",
            Self::Plain => "plain",
            Self::Limit => "limit",
        }
    }

    /// By that name.
    pub fn of_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|one| one.name() == name)
    }
}

/// What one receiver made of one trial.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Outcome {
    /// The first tag's number was read.
    pub read: bool,
    /// A number was read that no tag sent.
    pub wrong: bool,
}

impl Outcome {
    fn of(codes: &[u64], sent: &[u64]) -> Self {
        Self {
            read: sent.first().is_some_and(|first| codes.contains(first)),
            wrong: codes.iter().any(|code| !sent.contains(code)),
        }
    }
}

impl Contestant {
    /// Lets the receiver try; its own receiver calls a number read at these odds.
    pub fn attempt(self, scene: &Scene, recording: &Recording, odds: f64) -> Outcome {
        let sent: Vec<u64> = scene.sent().iter().map(|telegram| telegram.code).collect();
        let codes = match self {
            Self::Own => read_numbers(&recording.signal(), odds)
                .iter()
                .map(|reading| reading.attempt.decision.telegram.code)
                .collect(),
            Self::Plain => plain::read(&recording.signal(), recording.rectified, scene.field_hz()),
            Self::Limit => told(scene, recording, odds).into_iter().collect(),
        };
        Outcome::of(&codes, &sent)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_capture_may_count_as_read_and_wrong() {
        let outcome = |codes: &[u64], sent: &[u64]| {
            let outcome = Outcome::of(codes, sent);
            (outcome.read, outcome.wrong)
        };
        assert_eq!(outcome(&[5], &[5, 6]), (true, false));
        assert_eq!(outcome(&[6], &[5, 6]), (false, false));
        assert_eq!(outcome(&[7, 5], &[5]), (true, true));
        assert_eq!(outcome(&[7], &[]), (false, true));
        assert_eq!(outcome(&[], &[]), (false, false));
    }
}
