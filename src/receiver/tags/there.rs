//! In which telegrams of a record a number's ripple is there.
//!
//! A number is measured over those in which it is: tags that come one after the other are not there at once. And of many parts of a
//! record one may give a number by accident that the whole contradicts, a telegram that is damaged alike every time is one: a
//! number counts only from half of the time on in which its ripple is there.

use std::ops::Range;

use num_complex::{Complex32, Complex64};

use super::refine::Refined;
use crate::receiver::fold::sums::{BIT, Fold, TELEGRAM};
use crate::telegram::TELEGRAM_BITS;

/// A telegram's ripple is the number's where it is this much like it, relative to where it is there: another's is so by chance
/// within ±1/√128 of none.
const ALIKE: f64 = 0.5;

/// Least Eb/N0 of a telegram that tells: it is then known to a fifth how much alike it is.
const TELLING: f64 = 0.1;

/// An end of the stretch is moved where that makes the ripple likelier by this (natural logarithm). Where it is right, noise makes it so in
/// one of e^9 = 8000 ripples at most, however many bits are tried (Wald, Sequential Analysis, 1947).
const SURE_OF_END: f64 = 9.0;

/// Where a number's ripple is.
pub struct There {
    /// The stretch of whole telegrams, counted from the number's span, in which it is there.
    pub span: Range<usize>,
    /// Telegrams beside it that are the number's but for their sign: each is inverted against the one before where the number says that
    /// it is not, or the other way round. A bit that is wrong in every telegram does that, and one telegram alone may hide it in its seam.
    pub turned: usize,
    /// Telegrams beyond the stretch in which it is there again.
    pub again: usize,
    /// The ripple's height at each boundary of the record, relative to where it is there, …
    heights: Vec<f64>,
    /// … of the first of which the bit begins here, …
    first: usize,
    /// … and how well one tells, as the Eb/N0 of a bit.
    ebn0: f64,
}

impl There {
    /// The stretch around `about` in which the ripple is there, to the bit: whole bits later or earlier, by a telegram at most, where the
    /// ripple says so. A tag comes and goes at any time, and what a number leaves of a part of a telegram is searched for another tag.
    pub fn to_the_bit(&self, about: &Range<usize>) -> Range<usize> {
        // What a bit adds to the likelihood of being in the stretch against being out of it.
        let tells: Vec<f64> = self
            .heights
            .iter()
            .map(|height| 2.0 * self.ebn0 * (height - 0.5))
            .collect();
        let bit = |cell: usize| {
            cell.saturating_sub(self.first)
                .div_ceil(BIT)
                .min(tells.len())
        };
        let (from, to) = (bit(about.start), bit(about.end));
        let middle = usize::midpoint(from, to);
        let (before, behind) = tells.split_at(middle);
        let inwards = |bits: &mut dyn Iterator<Item = &f64>, own: usize| {
            let mut sum = 0.0;
            let sums: Vec<f64> = std::iter::once(0.0)
                .chain(bits.map(|tells| {
                    sum += tells;
                    sum
                }))
                .take(own + TELEGRAM_BITS + 1)
                .collect();
            let least = own.saturating_sub(TELEGRAM_BITS);
            let best = (least..sums.len()).max_by(|a, b| sums[*a].total_cmp(&sums[*b]));
            best.filter(|best| sums[*best] > sums[own] + SURE_OF_END)
        };
        let start = inwards(&mut before.iter().rev(), middle - from);
        let end = inwards(&mut behind.iter(), to - middle);
        let at = |bit: usize| self.first + bit * BIT;
        start.map_or(about.start, |bits| at(middle - bits))
            ..end.map_or(about.end, |bits| at(middle + bits))
    }
}

/// Where a number's ripple is; `None` where noise hides it.
pub fn there(ripple: &[Complex32], tag: &Refined) -> Option<There> {
    let attempt = &tag.attempt;
    let span = &attempt.span;
    let sums = |ripple: &[Complex32]| {
        Fold::new(ripple, attempt.inverts)
            .boundaries(attempt.timing)
            .sums
    };
    let own = sums(&tag.plain);
    let first = span.start % TELEGRAM;
    let own_place = span.start / TELEGRAM;
    // Each telegram is inverted against the one before or not.
    let seen = |part: &[Complex32], is_odd: bool| -> [Complex64; TELEGRAM_BITS] {
        let sign = if attempt.inverts && is_odd { -1.0 } else { 1.0 };
        let seen = sums(part);
        std::array::from_fn(|j| own[j].conj() * seen[j] * sign)
    };
    let telegrams = ripple.get(first..)?.chunks_exact(TELEGRAM);
    let last = telegrams.remainder();
    let along: Vec<[Complex64; TELEGRAM_BITS]> = telegrams
        .enumerate()
        .map(|(place, part)| seen(part, place.abs_diff(own_place) % 2 == 1))
        .collect();
    let likes: Vec<Complex64> = along.iter().map(|bits| bits.iter().sum()).collect();
    let within = || own_place..(own_place + span.len() / TELEGRAM).min(likes.len());
    let angle = likes.get(within())?.iter().sum::<Complex64>().arg();
    let likes: Vec<f64> = likes
        .iter()
        .map(|like| (like * Complex64::cis(-angle)).re)
        .collect();
    let most = within().max_by(|a, b| likes[*a].total_cmp(&likes[*b]))?;
    let strong = within().filter(|place| likes[*place] > ALIKE * likes[most]);
    let usual = strong.clone().map(|place| likes[place]).sum::<f64>() / strong.count() as f64;
    // Measured over more telegrams than it is there in, it seems weaker than it is in those.
    let mean = within().map(|place| likes[place]).sum::<f64>() / within().count() as f64;
    let ebn0 = attempt.ebn0 * (usual / mean).powi(2);
    if ebn0 < TELLING {
        return None;
    }
    let is_there = |place: &usize| likes[*place] > ALIKE * usual;
    let before = (0..most).rev().take_while(is_there).count();
    let after = (most + 1..likes.len()).take_while(is_there).count();
    let at = |place: usize| first + place * TELEGRAM;
    let alike = (0..likes.len()).filter(is_there).count();
    let turned = likes.iter().filter(|like| **like < -ALIKE * usual);
    // Of the telegrams at the record's ends a part is there.
    let nothing = [Complex32::default(); TELEGRAM];
    let before_first = [&nothing[first..], &ripple[..first]].concat();
    let behind_last = [last, &nothing[last.len()..]].concat();
    let leading = &seen(&before_first, own_place.is_multiple_of(2))[TELEGRAM_BITS - first / BIT..];
    let trailing =
        &seen(&behind_last, likes.len().abs_diff(own_place) % 2 == 1)[..last.len() / BIT];
    let straight = Complex64::cis(-angle) * TELEGRAM_BITS as f64 / usual;
    let heights = leading.iter().chain(along.iter().flatten()).chain(trailing);
    Some(There {
        heights: heights.map(|bit| (bit * straight).re).collect(),
        first: first % BIT,
        ebn0,
        span: at(most - before)..at(most + after + 1),
        turned: turned.count(),
        again: alike - (before + 1 + after),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ripple in bits 300 to 1000 of 1280 at Eb/N0 of 10 dB, and told so from any whole number of telegrams around it.
    #[test]
    fn ends_are_found_to_the_bit() {
        let there = There {
            span: 0..0,
            turned: 0,
            again: 0,
            heights: (0..1280)
                .map(|bit| {
                    f64::from(u8::from((300..1000).contains(&bit))) + 0.1 * f64::from(bit).sin()
                })
                .collect(),
            first: 7,
            ebn0: 10.0,
        };
        let at = |bit: usize| 7 + bit * BIT;
        for (from, to) in [(256, 1024), (384, 896), (300, 1000), (256, 1000)] {
            assert_eq!(there.to_the_bit(&(at(from)..at(to))), at(300)..at(1000));
        }
        // Noise as strong as the ripple says nothing.
        let noisy = There {
            ebn0: 0.05,
            ..there
        };
        assert_eq!(noisy.to_the_bit(&(at(290)..at(1000))), at(290)..at(1000));
    }
}
