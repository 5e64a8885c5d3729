//! How much work goes into other ways of reading, where the first one gives nothing.
//!
//! A good capture is read in a few decisions, the hardest that were ever read (three tags in a switched field) took 620. A
//! field that is cut to pieces and has others beside it can be looked at in so many ways that it takes ten thousand.

use std::sync::atomic::{AtomicBool, AtomicI64, Ordering};

/// Decisions for any capture: half of them, which is what the first hypothesis may spend, are twice what the hardest capture of a third of a
/// second took (chosen by that).
const ANYWAY: i64 = 2400;
/// … and for each telegram's worth of field, as pieces and tags are more in longer captures (chosen).
const A_TELEGRAM: f64 = 50.0;

/// Decisions that are left. The first way of each hypothesis is always tried to its end; others are begun while some are left.
/// Decisions on several threads add up to the same number, so that what is tried does not depend on threads.
#[derive(Debug)]
pub struct Effort {
    left: AtomicI64,
    /// Kept for later hypotheses.
    kept: AtomicI64,
    gave_up: AtomicBool,
}

impl Effort {
    /// For a capture of so many telegrams.
    pub fn of(telegrams: f64) -> Self {
        let left = ANYWAY.saturating_add((A_TELEGRAM * telegrams) as i64);
        Self {
            left: AtomicI64::new(left),
            kept: AtomicI64::new(0),
            gave_up: AtomicBool::new(false),
        }
    }

    /// A hypothesis begins: it may spend half of what is left.
    pub fn begin_hypothesis(&self) {
        let left = self.left.load(Ordering::Relaxed).max(0);
        self.kept.store(left / 2, Ordering::Relaxed);
    }

    /// A decision is made.
    pub fn spend(&self) {
        self.left.fetch_sub(1, Ordering::Relaxed);
    }

    /// Whether another way may be tried.
    pub fn is_left(&self) -> bool {
        let is_left = self.left.load(Ordering::Relaxed) > self.kept.load(Ordering::Relaxed);
        if !is_left {
            self.gave_up.store(true, Ordering::Relaxed);
        }
        is_left
    }

    /// Whether some way was not tried.
    pub fn gave_up(&self) -> bool {
        self.gave_up.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_hypothesis_has_half_of_what_is_left() {
        let effort = Effort::of(0.0);
        for allowed in [1200, 600, 300] {
            effort.begin_hypothesis();
            for _ in 0..allowed {
                assert!(effort.is_left() && !(allowed == 1200 && effort.gave_up()));
                effort.spend();
            }
            assert!(!effort.is_left() && effort.gave_up());
        }
    }

    /// What is spent beyond the limit by ways that are always tried leaves nothing to others, and is no debt.
    #[test]
    fn overspending_is_no_debt() {
        let effort = Effort::of(2.0);
        effort.begin_hypothesis();
        for _ in 0..5000 {
            effort.spend();
        }
        effort.begin_hypothesis();
        assert!(!effort.is_left());
        assert!(Effort::of(1e300).is_left() && Effort::of(f64::NAN).is_left());
    }
}
