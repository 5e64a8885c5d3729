//! Numbers that one look alone does not prove.
//!
//! The odds of a reading hold where a tag is there. Most looks at a stream hold none, and there are twenty thousand an hour: what noise
//! passes for a number once in so many looks would be in the list of a night. So a number is told when looks that share no sample have
//! given it with odds whose product is the square of those asked for: one look of a strong tag, two of a weak one.

use super::heard::Heard;

/// Smallest odds that a look states, as a power of ten: it is enough, whatever is asked for.
const FLOOR: f64 = -12.0;

/// A number that is not given again within this is forgotten, seconds: the two close looks that come next.
const FORGOTTEN_S: f64 = 2.5;

/// Numbers that wait for a second look.
#[derive(Default)]
pub(super) struct Doubts {
    waiting: Vec<Waiting>,
}

struct Waiting {
    code: u64,
    kind: &'static str,
    /// Powers of ten of the odds: of looks before the last that share nothing with it, and of the last.
    before: f64,
    last: f64,
    /// End of the last of them.
    until_s: f64,
    /// Begin of its first stay.
    since_s: f64,
}

impl Doubts {
    /// Since when a number is there that is proven by this look and those before it; `odds` is what is asked for.
    pub fn proven_since(
        &mut self,
        heard: &Heard,
        (from_s, to_s): (f64, f64),
        odds: f64,
    ) -> Option<f64> {
        self.waiting
            .retain(|waiting| from_s - waiting.until_s < FORGOTTEN_S);
        let power = heard.odds_wrong.max(f64::MIN_POSITIVE).log10();
        let same = |waiting: &Waiting| waiting.code == heard.code && waiting.kind == heard.kind;
        let place = match self.waiting.iter().position(same) {
            Some(place) => place,
            None => {
                self.waiting.push(Waiting {
                    code: heard.code,
                    kind: heard.kind,
                    before: 0.0,
                    last: 0.0,
                    until_s: from_s,
                    since_s: heard.stays.first().map_or(from_s, |stay| stay.from_s),
                });
                self.waiting.len() - 1
            }
        };
        let waiting = &mut self.waiting[place];
        if from_s >= waiting.until_s {
            waiting.before += waiting.last;
            waiting.last = power;
            waiting.until_s = to_s;
        } else if power < waiting.last {
            // Of looks that share samples the surer one counts.
            waiting.last = power;
            waiting.until_s = to_s;
        }
        let proven = waiting.before + waiting.last <= (2.0 * odds.log10()).max(FLOOR);
        proven.then(|| self.waiting.remove(place).since_s)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::telegram::Identity;

    fn heard(code: u64, odds_wrong: f64) -> Heard {
        Heard {
            code,
            identity: Identity::from_code(code),
            kind: "fdx-b",
            odds_wrong,
            stays: Vec::new(),
        }
    }

    #[test]
    fn one_sure_look_or_two_that_share_nothing() {
        let mut doubts = Doubts::default();
        let mut proven = |code: u64, odds_wrong: f64, span_s: (f64, f64), odds: f64| {
            doubts.proven_since(&heard(code, odds_wrong), span_s, odds)
        };
        assert_eq!(proven(1, 1e-11, (0.0, 1.0), 1e-5), Some(0.0));
        assert_eq!(proven(1, 1e-6, (0.0, 1.0), 1e-5), None);
        // Half of it was in the look before.
        assert_eq!(proven(1, 1e-6, (0.5, 1.5), 1e-5), None);
        assert_eq!(proven(2, 1e-6, (1.0, 2.0), 1e-5), None);
        assert_eq!(proven(1, 1e-6, (1.0, 2.0), 1e-5), Some(0.0));
        // Too long ago.
        assert_eq!(proven(2, 1e-6, (8.0, 9.0), 1e-5), None);
        // Nothing surer is ever stated.
        assert_eq!(proven(3, 1e-12, (9.0, 10.0), 1e-9), Some(9.0));
    }
}
