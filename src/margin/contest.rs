//! What each receiver makes of one capture.

use super::limit::told;
use super::outside::{Answer, Failure, Number, Outside, Trial};
use super::plain;
use super::scene::Recording;
use crate::receiver::read_numbers;
use crate::telegram::Identity;

/// Who tries to read a capture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Contestant {
    /// The program's own receiver.
    Own,
    /// The plain amplitude receiver.
    Plain,
    /// The exact limit: told everything but number and start.
    Limit,
    /// A decoder that is no part of this program.
    Yours,
    /// The program's own receiver at the second reader's antenna.
    Second,
    /// A reader that was played to, by what it printed.
    Reader,
    /// All that stand before it in the table, each its own number in the same trial.
    Both,
}

impl Contestant {
    /// All, in the order of tables.
    pub const ALL: [Self; 7] = [
        Self::Own,
        Self::Plain,
        Self::Limit,
        Self::Yours,
        Self::Second,
        Self::Reader,
        Self::Both,
    ];

    /// Name in tables.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Own => "own",
            Self::Plain => "plain",
            Self::Limit => "limit",
            Self::Yours => "yours",
            Self::Second => "second",
            Self::Reader => "reader",
            Self::Both => "both",
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
    /// There was no answer at all.
    pub failure: Option<Failure>,
}

impl Outcome {
    /// Of the numbers read, where the tags sent these, the first tag's first.
    pub fn of(read: &[Number], sent: &[Number]) -> Self {
        Self {
            read: sent.first().is_some_and(|first| read.contains(first)),
            wrong: read.iter().any(|number| !sent.contains(number)),
            failure: None,
        }
    }

    /// Whether all of them read, and whether any read a wrong number.
    pub fn all(outcomes: &[Self]) -> Self {
        Self {
            read: outcomes.iter().all(|one| one.read),
            wrong: outcomes.iter().any(|one| one.wrong),
            failure: None,
        }
    }

    /// Of an answer from outside.
    pub fn of_answer(answer: &Answer, sent: &[Number]) -> Self {
        match answer {
            Answer::Numbers(read) => Self::of(read, sent),
            Answer::Failed(failure) => Self {
                failure: Some(*failure),
                ..Self::default()
            },
        }
    }
}

/// Codes read with the program's own receiver.
fn own(recording: &Recording, odds: f64) -> Vec<u64> {
    read_numbers(&recording.signal(), odds)
        .iter()
        .map(|reading| reading.attempt.decision.telegram.code)
        .collect()
}

/// A code as people write it.
pub(super) fn number(code: u64) -> Number {
    let identity = Identity::from_code(code);
    (identity.country, identity.national)
}

impl Contestant {
    /// Lets the receiver try; its own receiver calls a number read at these odds. `outside` is [`Contestant::Yours`], who without it
    /// reads nothing; `before` is what came of those before it in the table.
    pub fn attempt(
        self,
        trial: &Trial<'_>,
        odds: f64,
        outside: Option<&dyn Outside>,
        before: &[Outcome],
    ) -> Outcome {
        let (mut scene, recording) = (trial.scene, trial.recording);
        let mut sent = scene.sent();
        let codes: Vec<u64> = match self {
            Self::Own => own(recording, odds),
            Self::Second => {
                let Some(second) = scene.second() else {
                    return Outcome::default();
                };
                scene = second;
                sent = scene.sent();
                own(&scene.record(), odds)
            }
            Self::Both => return Outcome::all(before),
            // It was somewhere else.
            Self::Reader => return Outcome::default(),
            Self::Plain => plain::read(&recording.signal(), recording.rectified, scene.field_hz()),
            Self::Limit => told(scene, recording, odds).into_iter().collect(),
            // It says country and number only; the flags before them are not asked of it.
            Self::Yours => {
                let sent: Vec<Number> = sent.iter().map(|one| number(one.code)).collect();
                return outside.map_or_else(Outcome::default, |outside| {
                    Outcome::of_answer(&outside.read(trial), &sent)
                });
            }
        };
        // Compared with every flag, which is stricter than the number alone.
        let sent: Vec<u64> = sent.iter().map(|one| one.code).collect();
        Outcome {
            read: sent.first().is_some_and(|first| codes.contains(first)),
            wrong: codes.iter().any(|code| !sent.contains(code)),
            failure: None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_capture_may_count_as_read_and_wrong() {
        let outcome = |read: &[u64], sent: &[u64]| {
            let numbers = |all: &[u64]| all.iter().map(|&one| (999, one)).collect::<Vec<Number>>();
            let outcome = Outcome::of(&numbers(read), &numbers(sent));
            (outcome.read, outcome.wrong)
        };
        assert_eq!(outcome(&[5], &[5, 6]), (true, false));
        assert_eq!(outcome(&[6], &[5, 6]), (false, false));
        assert_eq!(outcome(&[7, 5], &[5]), (true, true));
        assert_eq!(outcome(&[7], &[]), (false, true));
        assert_eq!(outcome(&[], &[]), (false, false));
    }
}
