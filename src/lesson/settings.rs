//! What a lesson is made from.

use crate::telegram::{Identity, Telegram};
use crate::world::{Stream, generator, uniform};

/// The example that runs through the lesson.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Settings {
    /// Seed of everything random.
    pub seed: u64,
    /// Number of the tag.
    pub identity: Identity,
    /// Depth of its ripple.
    pub depth: f64,
    /// Samples a second.
    pub rate_hz: f64,
}

impl Settings {
    /// The example of a seed: a test number drawn from it.
    pub fn new(seed: u64) -> Self {
        let drawn = uniform(&mut generator(seed, Stream::Tag(0)));
        Self {
            seed,
            identity: test_number(drawn),
            depth: 0.01,
            rate_hz: 500_000.0,
        }
    }

    /// The telegram of the example.
    pub fn telegram(&self) -> Telegram {
        Telegram::new(self.identity.code())
    }

    /// A second number, of another batch: numbers next to each other are not told apart where their telegrams begin together.
    pub fn neighbour(&self) -> Identity {
        let mut other = self.identity;
        other.national = (other.national + OTHER_BATCH) % (Identity::NATIONAL_MAX + 1);
        other
    }
}

/// From a number to that of another batch: any large number that is no power of two.
const OTHER_BATCH: u64 = 123_456_789;

/// A number under the test code 999, from a share of all national numbers.
pub(super) fn test_number(share: f64) -> Identity {
    let national = (share * Identity::NATIONAL_MAX as f64) as u64;
    Identity::new(999, national.min(Identity::NATIONAL_MAX))
        .expect("999 and 38 bits are within what a code holds")
}

/// A number as it is typed.
pub(super) fn typed(identity: &Identity) -> String {
    format!("{}:{}", identity.country, identity.national)
}
