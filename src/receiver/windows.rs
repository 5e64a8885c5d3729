//! Windows of a capture too long to be looked at in one → one reception, in which the evidence of all of them adds up.

use super::proof::{Measured, Reading};
use super::reception::Reception;
use crate::receiver::tags::attempt::Terms;
use crate::receiver::tags::long_fold::{CycleCount, LongFold};
use crate::receiver::tags::read::read_piece;

/// A reader that saves power, or listens for half-duplex answers, has its field on for 94 % of the time at most (50 ms on, 3 ms
/// off: from memory).
const NEARLY_THROUGHOUT: f64 = 0.95;

/// Puts the windows of one capture together, in their order. Memory does not grow with their number, but for its logarithm.
///
/// A number too weak for any window is found in sums over 2, 4, 8 … windows, aligned to such, and over all there are at the end: a
/// tag that was there for a part of the time is missed by 3 dB at most, as a sum holds at least half of it.
pub struct Windows {
    terms: Terms,
    whole: Option<Reception>,
    /// When the first window began, where its ripple adds up and is not added up yet: most captures have no second.
    waiting_s: Option<f64>,
    cycles: CycleCount,
    /// Sums over 2^level windows, the longest first, no two of one level.
    sums: Vec<(u32, LongFold)>,
}

impl Windows {
    /// Nothing yet, on these terms.
    pub fn new(terms: impl Into<Terms>) -> Self {
        Self {
            terms: terms.into(),
            whole: None,
            waiting_s: None,
            cycles: CycleCount::default(),
            sums: Vec::new(),
        }
    }

    /// Nothing was read so far.
    pub fn is_unread(&self) -> bool {
        self.whole.as_ref().is_none_or(Reception::is_unread)
    }

    /// Adds the next window, its first sample `offset_s` after the capture's. Says whether what is shown of the capture is now this
    /// window's.
    pub fn add(&mut self, mut reception: Reception, offset_s: f64) -> bool {
        reception.windows_add_up = is_on_throughout(&reception);
        let adds_up = reception.windows_add_up;
        let Some(mut whole) = self.whole.take() else {
            self.waiting_s = adds_up.then_some(offset_s);
            reception.shift(offset_s);
            self.whole = Some(reception);
            return true;
        };
        let first = self
            .waiting_s
            .take()
            .and_then(|begin_s| self.fold_of(&whole, begin_s));
        let this = adds_up
            .then(|| self.fold_of(&reception, offset_s))
            .flatten();
        reception.shift(offset_s);
        let telling = whole.is_outdone_by(&reception);
        whole.absorb(reception, self.terms.odds);
        self.whole = Some(whole);
        for fold in [first, this].into_iter().flatten() {
            self.add_up(fold);
        }
        telling
    }

    /// Adds a window's ripple to the sums, and reads those that are longer by it.
    fn add_up(&mut self, mut sum: LongFold) {
        let mut level = 0;
        while let Some((_, mut longer)) = self.sums.pop_if(|(other, _)| *other == level) {
            longer.add(&sum);
            sum = longer;
            level += 1;
            self.read(&sum);
        }
        self.sums.push((level, sum));
    }

    /// What all windows gave; `None` where there were none.
    pub fn finish(mut self) -> Option<Reception> {
        let mut sums = std::mem::take(&mut self.sums).into_iter().rev();
        if let Some((_, mut sum)) = sums.next() {
            for (_, mut longer) in sums {
                longer.add(&sum);
                sum = longer;
                self.read(&sum);
            }
        }
        self.whole
    }

    /// The ripple of a window.
    fn fold_of(&mut self, reception: &Reception, offset_s: f64) -> Option<LongFold> {
        let pieces = &reception.seen.as_ref()?.pieces;
        let mut fold: Option<LongFold> = None;
        for piece in pieces {
            let cycle = self.cycles.of(piece, offset_s);
            let next = LongFold::new(piece, cycle, offset_s);
            match &mut fold {
                None => fold = Some(next),
                Some(fold) => fold.add(&next),
            }
        }
        fold
    }

    fn read(&mut self, sum: &LongFold) {
        let (Some(whole), Some(piece)) = (&mut self.whole, sum.piece()) else {
            return;
        };
        let limits = self.terms.limits(false);
        let result = read_piece(&piece, piece.field.frequency_hz, &limits);
        for mut attempt in result.read {
            attempt.telegrams *= sum.times();
            attempt.ebn0 /= sum.times();
            let measured = Measured::new(attempt, sum.span_s(), limits.odds);
            if let Ok(reading) = Reading::of(measured, limits.odds) {
                whole.add_unseen(reading, limits.odds);
            }
        }
    }
}

/// The field of a window was on nearly throughout: after a pause a tag begins anew, and nothing adds up. Strong noise makes short pauses
/// that are none.
fn is_on_throughout(reception: &Reception) -> bool {
    let Some(seen) = &reception.seen else {
        return false;
    };
    let (Some(first), Some(last)) = (seen.pieces.first(), seen.pieces.last()) else {
        return false;
    };
    let seconds: f64 = seen
        .pieces
        .iter()
        .map(|piece| piece.to_s - piece.from_s)
        .sum();
    reception.kind.has_carrier() && seconds >= NEARLY_THROUGHOUT * (last.to_s - first.from_s)
}
