//! Windows of a capture or a stream → numbers too weak for any of them, in sums of their ripple.

use super::proof::{Measured, Reading};
use super::reception::Reception;
use crate::receiver::tags::attempt::Terms;
use crate::receiver::tags::long_fold::{CycleCount, LongFold};
use crate::receiver::tags::read::read_piece;

/// A reader that saves power, or listens for half-duplex answers, has its field on for 94 % of the time at most (50 ms on, 3 ms
/// off: from memory).
const NEARLY_THROUGHOUT: f64 = 0.95;

/// Adds the ripple of windows up, in their order. Memory does not grow with their number, but for its logarithm.
///
/// A number too weak for any window is found in sums over 2, 4, 8 … windows, aligned to such, and over all there are at the end: a
/// tag that was there for a part of the time is missed by 3 dB at most, as a sum holds at least half of it.
pub struct LongSums {
    terms: Terms,
    cycles: CycleCount,
    /// Sums over 2^level windows, the longest first, no two of one level.
    sums: Vec<(u32, LongFold)>,
}

impl LongSums {
    /// Nothing yet, on these terms.
    pub fn new(terms: impl Into<Terms>) -> Self {
        Self {
            terms: terms.into(),
            cycles: CycleCount::default(),
            sums: Vec::new(),
        }
    }

    /// Adds a window, whose times count from its own first sample and that one is `offset_s` after the first window's; gives the numbers
    /// in sums that are longer by it. A window whose ripple does not add up is left out.
    pub fn add(&mut self, window: &Reception, offset_s: f64) -> Vec<Reading> {
        let mut found = Vec::new();
        if !ripple_adds_up(window) {
            return found;
        }
        let Some(mut sum) = self.fold_of(window, offset_s) else {
            return found;
        };
        let mut level = 0;
        while let Some((_, mut longer)) = self.sums.pop_if(|(other, _)| *other == level) {
            longer.add(&sum);
            sum = longer;
            level += 1;
            found.extend(self.numbers_in(&sum));
        }
        self.sums.push((level, sum));
        found
    }

    /// The numbers in sums over all windows from some on.
    pub fn finish(mut self) -> Vec<Reading> {
        let mut sums = std::mem::take(&mut self.sums).into_iter().rev();
        let mut found = Vec::new();
        if let Some((_, mut sum)) = sums.next() {
            for (_, mut longer) in sums {
                longer.add(&sum);
                sum = longer;
                found.extend(self.numbers_in(&sum));
            }
        }
        found
    }

    /// The ripple of a window.
    fn fold_of(&mut self, window: &Reception, offset_s: f64) -> Option<LongFold> {
        let pieces = &window.seen.as_ref()?.pieces;
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

    fn numbers_in(&self, sum: &LongFold) -> Vec<Reading> {
        let Some(piece) = sum.piece() else {
            return Vec::new();
        };
        let limits = self.terms.limits(false);
        let result = read_piece(&piece, piece.field.frequency_hz, &limits);
        let readings = result.read.into_iter().filter_map(|mut attempt| {
            attempt.telegrams *= sum.times();
            attempt.ebn0 /= sum.times();
            let measured = Measured::new(attempt, sum.span_s(), limits.odds);
            Reading::of(measured, limits.odds).ok()
        });
        readings.collect()
    }
}

/// The ripple of a window adds up with that of others: its field was on nearly throughout. After a pause a tag begins anew. Strong noise
/// makes short pauses that are none.
pub(super) fn ripple_adds_up(window: &Reception) -> bool {
    let Some(seen) = &window.seen else {
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
    window.kind.has_carrier() && seconds >= NEARLY_THROUGHOUT * (last.to_s - first.from_s)
}
