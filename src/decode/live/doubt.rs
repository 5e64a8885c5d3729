//! Numbers that one look alone does not prove.
//!
//! The odds of a reading hold where a tag is there. Most looks at a stream hold none, and there are twenty thousand an hour: what noise
//! passes for a number once in so many looks would be in the list of a night. So a number is told when looks that share no sample have
//! given it with odds whose product is the square of those asked for: one look of a strong tag, two of a weak one.
//!
//! The first looks of a stream are few, and the first one is what a file of that length is. A close look proves a number by itself with
//! the odds asked for divided by the square of the looks so far: over a stream without end that adds up to π²/6 times those odds.

use super::heard::Heard;

/// Smallest odds that a look states, as a power of ten: it is enough, whatever is asked for.
const FLOOR: f64 = -12.0;

/// A number that is not given again within this is forgotten, seconds: the two close looks that come next.
const FORGOTTEN_S: f64 = 2.5;

/// What is asked of the odds.
#[derive(Clone, Copy)]
pub(super) struct Demand {
    /// By the user.
    pub odds: f64,
    /// Which close look this is, counted from 1; `None` for a glance, which is one of many at the same samples.
    pub close: Option<u64>,
}

impl Demand {
    /// Looks that share no sample and state odds of this power of ten together prove a number.
    fn is_met_by(self, power: f64) -> bool {
        power <= (2.0 * self.odds.log10()).max(FLOOR)
    }

    /// One look or sum that states odds of this power of ten proves a number by itself.
    pub fn is_met_alone_by(self, power: f64) -> bool {
        let among = |close: u64| self.odds.log10() - 2.0 * (close as f64).log10();
        self.is_met_by(power) || self.close.is_some_and(|close| power <= among(close))
    }
}

/// The power of ten of odds.
pub(super) fn power_of(odds_wrong: f64) -> f64 {
    odds_wrong.max(f64::MIN_POSITIVE).log10()
}

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
    /// Since when a number is there that is proven by this look and those before it.
    pub fn proven_since(
        &mut self,
        heard: &Heard,
        (from_s, to_s): (f64, f64),
        demand: Demand,
    ) -> Option<f64> {
        self.waiting
            .retain(|waiting| from_s - waiting.until_s < FORGOTTEN_S);
        let power = power_of(heard.odds_wrong);
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
        let proven =
            demand.is_met_by(waiting.before + waiting.last) || demand.is_met_alone_by(power);
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
            let demand = Demand { odds, close: None };
            doubts.proven_since(&heard(code, odds_wrong), span_s, demand)
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

    #[test]
    fn a_close_look_proves_by_itself_the_less_the_more_there_were() {
        let proves = |odds_wrong: f64, close| {
            let demand = Demand { odds: 1e-5, close };
            let mut doubts = Doubts::default();
            let since_s = doubts.proven_since(&heard(1, odds_wrong), (0.0, 1.0), demand);
            since_s.is_some()
        };
        assert!(proves(1e-5, Some(1)) && !proves(1.1e-5, Some(1)));
        assert!(proves(1e-7, Some(10)) && !proves(1.1e-7, Some(10)));
        // A glance is asked for the square, and no look for more than that.
        assert!(proves(1e-10, None) && !proves(1.1e-10, None));
        assert!(proves(1e-10, Some(1_000_000)));
        // The odds that each look proves a number with, of all looks but those that are asked for the square, are no more than twice what
        // was asked for once.
        let proven_at = |close: u64| {
            let demand = Demand {
                odds: 1e-5,
                close: Some(close),
            };
            let powers = (0..1200).map(|step| -0.01 * f64::from(step));
            let least_sure = powers
                .into_iter()
                .find(|power| demand.is_met_alone_by(*power));
            10f64.powf(least_sure.expect("none is asked for more than 10^-12"))
        };
        let all: f64 = (1..=316).map(proven_at).sum();
        assert!(all > 1e-5 && all < 2e-5, "{all}");
    }
}
