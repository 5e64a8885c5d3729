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
        let fold = self.fold_of(&reception, offset_s);
        reception.windows_add_up = fold.is_some();
        reception.shift(offset_s);
        let telling = match &mut self.whole {
            None => {
                self.whole = Some(reception);
                true
            }
            Some(whole) => {
                let telling = whole.is_outdone_by(&reception);
                whole.absorb(reception, self.terms.odds);
                telling
            }
        };
        let Some(mut sum) = fold else {
            return telling;
        };
        let mut level = 0;
        while let Some((_, mut longer)) = self.sums.pop_if(|(other, _)| *other == level) {
            longer.add(&sum);
            sum = longer;
            level += 1;
            self.read(&sum);
        }
        self.sums.push((level, sum));
        telling
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

    /// The ripple of a window whose field was on nearly throughout: after a pause a tag begins anew, and nothing adds up. Strong
    /// noise makes short pauses that are none.
    fn fold_of(&mut self, reception: &Reception, offset_s: f64) -> Option<LongFold> {
        let pieces = &reception.seen.as_ref()?.pieces;
        let seconds: f64 = pieces.iter().map(|piece| piece.to_s - piece.from_s).sum();
        let whole_s = pieces.last()?.to_s - pieces.first()?.from_s;
        if !reception.kind.has_carrier() || seconds < NEARLY_THROUGHOUT * whole_s {
            return None;
        }
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
