//! Windows of a capture too long to be looked at in one → one reception, in which the evidence of all of them adds up.

use super::long_sums::{LongSums, ripple_adds_up};
use super::proof::Reading;
use super::reception::Reception;
use crate::receiver::tags::attempt::Terms;

/// Puts the windows of one capture together, in their order. Memory does not grow with their number, but for its logarithm.
pub struct Windows {
    terms: Terms,
    whole: Option<Reception>,
    /// When the first window began, where it is not in the sums yet: most captures have no second.
    waiting_s: Option<f64>,
    sums: LongSums,
}

impl Windows {
    /// Nothing yet, on these terms.
    pub fn new(terms: impl Into<Terms>) -> Self {
        let terms = terms.into();
        Self {
            whole: None,
            waiting_s: None,
            sums: LongSums::new(terms),
            terms,
        }
    }

    /// Nothing was read so far.
    pub fn is_unread(&self) -> bool {
        self.whole.as_ref().is_none_or(Reception::is_unread)
    }

    /// Adds the next window, its first sample `offset_s` after the capture's. Says whether what is shown of the capture is now this
    /// window's.
    pub fn add(&mut self, mut reception: Reception, offset_s: f64) -> bool {
        reception.windows_add_up = ripple_adds_up(&reception);
        let Some(mut whole) = self.whole.take() else {
            self.waiting_s = Some(offset_s);
            reception.shift(offset_s);
            self.whole = Some(reception);
            return true;
        };
        if let Some(begin_s) = self.waiting_s.take() {
            // Alone it makes no sum longer, and gives no number anew.
            self.sums.add(&whole, begin_s);
        }
        let found = self.sums.add(&reception, offset_s);
        reception.shift(offset_s);
        let telling = whole.is_outdone_by(&reception);
        whole.absorb(reception, self.terms.odds);
        self.whole = Some(whole);
        self.take(found);
        telling
    }

    /// What all windows gave; `None` where there were none.
    pub fn finish(mut self) -> Option<Reception> {
        let sums = std::mem::replace(&mut self.sums, LongSums::new(self.terms));
        self.take(sums.finish());
        self.whole
    }

    fn take(&mut self, found: Vec<Reading>) {
        if let Some(whole) = &mut self.whole {
            for reading in found {
                whole.add_from_sum(reading);
            }
        }
    }
}
