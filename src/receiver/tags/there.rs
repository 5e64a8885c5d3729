//! In which telegrams of a record a number's ripple is there.
//!
//! A number is measured over those in which it is: tags that come one after the other are not there at once. And of many parts of a
//! record one may give a number by accident that the whole contradicts, a telegram that is damaged alike every time is one: a
//! number counts only from half of the time on in which its ripple is there.

use std::ops::Range;

use num_complex::{Complex32, Complex64};

use super::refine::Refined;
use crate::receiver::fold::sums::{Fold, TELEGRAM};

/// A telegram's ripple is the number's where it is this much like it, relative to where it is there: another's is so by chance
/// within ±1/√128 of none.
const ALIKE: f64 = 0.5;

/// Least Eb/N0 of a telegram that tells: it is then known to a fifth how much alike it is.
const TELLING: f64 = 0.1;

/// Where a number's ripple is.
pub struct There {
    /// The stretch of whole telegrams, counted from the number's span, in which it is there.
    pub span: Range<usize>,
    /// Telegrams beside it that are the number's but for their sign: each is inverted against the one before where the number says that
    /// it is not, or the other way round. A bit that is wrong in every telegram does that, and one telegram alone may hide it in its seam.
    pub turned: usize,
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
    let likes: Vec<Complex64> = ripple
        .get(first..)?
        .chunks_exact(TELEGRAM)
        .enumerate()
        .map(|(place, part)| {
            let along: Complex64 = own
                .iter()
                .zip(sums(part))
                .map(|(own, y)| own.conj() * y)
                .sum();
            let is_turned = attempt.inverts && place.abs_diff(own_place) % 2 == 1;
            if is_turned { -along } else { along }
        })
        .collect();
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
    if attempt.ebn0 * (usual / mean).powi(2) < TELLING {
        return None;
    }
    let is_there = |place: &usize| likes[*place] > ALIKE * usual;
    let before = (0..most).rev().take_while(is_there).count();
    let after = (most + 1..likes.len()).take_while(is_there).count();
    let at = |place: usize| first + place * TELEGRAM;
    let turned = likes.iter().filter(|like| **like < -ALIKE * usual);
    Some(There {
        span: at(most - before)..at(most + after + 1),
        turned: turned.count(),
    })
}
