//! What makes a number a reading: odds within the limit, and a fit that noise allows. There is no other way to one.

use std::ops::Deref;

use super::needed::needed_db;
use crate::receiver::fold::sums::TELEGRAM;
use crate::receiver::front::hypotheses::NOMINAL_HZ;
use crate::receiver::tags::attempt::Attempt;
use crate::receiver::tags::stays::{Stay, in_order};
use crate::telegram::Identity;

/// What taking the usual fields as known is worth at odds of 1e-5, dB (measured: benches/limit).
const USUAL_FIELDS_DB: f64 = 0.5;

/// Half of all numbers are read at 0 dB to spare, and none at 3 dB less (derived); where this little of what there is is the
/// number's, odds that call it sure rest on noise that is none.
const LEAST_SPARE_DB: f64 = -6.0;

/// A number with what was decided and measured of it, whether or not it counts as read.
#[derive(Clone, Debug)]
pub struct Measured {
    /// What was decided and measured, over all stretches that gave this number.
    pub attempt: Attempt,
    /// From the first to the last stretch used, seconds from the first sample.
    pub from_s: f64,
    /// See `from_s`.
    pub to_s: f64,
    /// When the tag was there, in order, with what was measured of it in each; within `from_s` and `to_s` or a little beyond.
    pub stays: Vec<Stay>,
    /// The ripple could be this much weaker and still be read, dB; negative for candidates.
    pub spare_db: f64,
    /// Its odds hold only with the fields taken as known that usual tags have; else they are those with nothing known.
    pub relies_on_usual_fields: bool,
}

/// A number that was read: only one function makes one, and it asks for the odds and for the fit. What was measured of it
/// can be looked at and not be changed.
#[derive(Clone, Debug)]
pub struct Reading {
    measured: Measured,
}

/// Folded Eb/N0 that half of all numbers need, dB.
fn needed_at(odds: f64, relies_on_usual_fields: bool) -> f64 {
    let usual_db = if relies_on_usual_fields {
        USUAL_FIELDS_DB
    } else {
        0.0
    };
    needed_db(odds) - usual_db
}

/// Trailers less sure than this are not stated.
pub(super) const TRAILER_SURE: f64 = 0.999;

impl Measured {
    /// The number and what else its code says.
    pub fn identity(&self) -> Identity {
        Identity::from_code(self.attempt.decision.telegram.code)
    }

    /// The trailer, six hexadecimal digits, where its bits are as good as certain.
    pub fn trailer(&self) -> Option<String> {
        let decision = &self.attempt.decision;
        (decision.trailer_sure >= TRAILER_SURE)
            .then(|| format!("{:06X}", decision.telegram.trailer))
    }

    /// How much weaker the ripple could be in one stay alone and still be read there, dB; `odds` are those asked for.
    pub fn spare_in(&self, stay: &Stay, odds: f64) -> f64 {
        let telegrams = stay.seconds() * NOMINAL_HZ / TELEGRAM as f64;
        let folded_db = 10.0 * (stay.ebn0 * telegrams).max(1e-30).log10();
        folded_db - needed_at(odds, self.relies_on_usual_fields)
    }

    /// An attempt over a stretch (seconds), against a limit of odds.
    pub(super) fn new(mut attempt: Attempt, (from_s, to_s): (f64, f64), odds: f64) -> Self {
        let decision = &mut attempt.decision;
        let relies_on_usual_fields = decision.odds_unaided > odds && decision.odds_wrong <= odds;
        if !relies_on_usual_fields && decision.odds_unaided <= odds {
            decision.odds_wrong = decision.odds_unaided;
        }
        let needed_db = needed_at(odds, relies_on_usual_fields);
        Self {
            stays: vec![Stay::throughout(&attempt, (from_s, to_s))],
            spare_db: attempt.folded_db() - needed_db,
            attempt,
            from_s,
            to_s,
            relies_on_usual_fields,
        }
    }
}

impl Reading {
    /// The number as a reading, or what was measured of it where its odds are above the limit, noise does not explain what
    /// contradicts it, or hardly any of what there is is its ripple.
    // Both ways out hold the same; a box would only hide it.
    #[allow(clippy::result_large_err)]
    pub(super) fn of(measured: Measured, odds: f64) -> Result<Self, Measured> {
        let within = measured.attempt.decision.odds_wrong <= odds
            && measured.attempt.fits()
            && measured.spare_db > LEAST_SPARE_DB;
        if within {
            Ok(Self { measured })
        } else {
            Err(measured)
        }
    }

    /// What was measured, of a number that is doubted after all.
    pub(super) fn into_measured(self) -> Measured {
        self.measured
    }

    /// Adds another stretch that gave the same number. Each is proven by itself: the surer one's odds hold.
    pub(super) fn add(&mut self, other: &Self, odds: f64) {
        let mut both = self.measured.attempt.clone();
        let new = &other.measured.attempt;
        let (before, after) = (both.telegrams, new.telegrams);
        let mean = |a: f64, b: f64| (a * before + b * after) / (before + after);
        both.depth = mean(both.depth, new.depth);
        both.ebn0 = mean(both.ebn0, new.ebn0);
        both.telegrams = before + after;
        let decision = &mut both.decision;
        decision.odds_wrong = decision.odds_wrong.min(new.decision.odds_wrong);
        decision.odds_unaided = decision.odds_unaided.min(new.decision.odds_unaided);
        let span = (self.from_s.min(other.from_s), self.to_s.max(other.to_s));
        let mut stays = std::mem::take(&mut self.measured.stays);
        stays.extend_from_slice(&other.stays);
        self.measured = Measured::new(both, span, odds);
        self.measured.stays = in_order(stays);
    }

    /// Adds what another window gave of the same number where evidence does not add up from one window to the next: the ripple
    /// could be weaker by what the better one spares.
    pub(super) fn beside(&mut self, other: &Self, odds: f64) {
        let spare_db = self.spare_db.max(other.spare_db);
        self.add(other, odds);
        self.measured.spare_db = spare_db;
    }

    /// Takes what a sum over more of the same ripple gave of the same number, where that has more to spare. When the tag was there is known
    /// better from windows that gave the number by themselves.
    pub(super) fn take_longer(&mut self, longer: Self) {
        let covers = longer.from_s <= self.from_s && longer.to_s >= self.to_s;
        if !covers || longer.spare_db <= self.spare_db {
            return;
        }
        let stays = std::mem::take(&mut self.measured.stays);
        let from_a_sum =
            matches!(stays[..], [stay] if (stay.from_s, stay.to_s) == (self.from_s, self.to_s));
        *self = longer;
        if !from_a_sum {
            self.measured.stays = stays;
        }
    }

    /// Counts its times from a moment `offset_s` earlier.
    pub(super) fn shift(&mut self, offset_s: f64) {
        self.measured.shift(offset_s);
    }
}

impl Measured {
    /// Counts its times from a moment `offset_s` earlier.
    pub(super) fn shift(&mut self, offset_s: f64) {
        self.from_s += offset_s;
        self.to_s += offset_s;
        for stay in &mut self.stays {
            stay.from_s += offset_s;
            stay.to_s += offset_s;
        }
    }
}

impl Deref for Reading {
    type Target = Measured;

    fn deref(&self) -> &Measured {
        &self.measured
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::receiver::decision::Decision;
    use crate::receiver::fold::shape::Shape;
    use crate::telegram::{TELEGRAM_BITS, Telegram};

    fn measured(odds_wrong: f64, misfit: f64) -> Measured {
        measured_over(1.0, 0.03, odds_wrong, misfit)
    }

    fn measured_over(telegrams: f64, to_s: f64, odds_wrong: f64, misfit: f64) -> Measured {
        let decision = Decision {
            telegram: Telegram::new(1),
            trailer_sure: 1.0,
            start: 0,
            signs: [1; TELEGRAM_BITS],
            odds_wrong,
            odds_unaided: odds_wrong,
            amplitude: 1.0,
            misfit,
            contradicted: 0,
            log_likelihood: 0.0,
        };
        let attempt = Attempt {
            decision,
            span: 0..4096,
            timing: 0.0,
            inverts: false,
            angle: 0.0,
            depth: 0.01,
            shape: Shape::ideal(),
            telegrams,
            ebn0: 10.0,
            ideal_edges: true,
        };
        Measured::new(attempt, (0.0, to_s), 1e-5)
    }

    #[test]
    fn odds_and_fit_are_both_asked_for() {
        for (odds, misfit, read) in [
            (1e-5, 0.5, true),
            (1.1e-5, 0.5, false),
            (0.54, 0.5, false),
            (1.0, 1.0, false),
            (1e-12, 1e-4, false),
            (f64::NAN, 0.5, false),
            (1e-12, f64::NAN, false),
        ] {
            let made = Reading::of(measured(odds, misfit), 1e-5);
            assert_eq!(made.is_ok(), read, "{odds} {misfit}");
        }
    }

    /// Nothing adds up from one window to the next; over pieces of one window twice the telegrams add 3 dB.
    #[test]
    fn windows_spare_what_the_better_one_does() {
        let reading = || Reading::of(measured(1e-12, 0.5), 1e-5).unwrap();
        let one = reading();
        let (mut beside, mut added) = (reading(), reading());
        beside.beside(&one, 1e-5);
        added.add(&one, 1e-5);
        assert_eq!(beside.spare_db, one.spare_db);
        assert!((added.spare_db - one.spare_db - 10.0 * 2f64.log10()).abs() < 1e-9);
        assert_eq!(beside.attempt.telegrams, 2.0);
    }

    /// Twice the ripple has 3 dB more to spare; half of it nothing new; and when the tag was there is not told worse than it was.
    #[test]
    fn a_longer_sum_outdoes_a_shorter_one() {
        let over = |telegrams: f64| {
            let measured = measured_over(telegrams, 0.03 * telegrams, 1e-12, 0.5);
            Reading::of(measured, 1e-5).unwrap()
        };
        let (one, two) = (over(1.0), over(2.0));
        let mut taken = one.clone();
        taken.take_longer(two.clone());
        assert!((taken.spare_db - one.spare_db - 10.0 * 2f64.log10()).abs() < 1e-9);
        assert_eq!(taken.stays, two.stays);
        taken.take_longer(one.clone());
        assert_eq!(taken.spare_db, two.spare_db);
        let mut in_windows = one.clone();
        in_windows.measured.stays[0].from_s = 0.01;
        let stays = in_windows.stays.clone();
        in_windows.take_longer(two.clone());
        assert_eq!(
            (in_windows.spare_db, &in_windows.stays),
            (two.spare_db, &stays)
        );
    }
}
