//! The best number in a stretch of ripple, over the time in which its tag is there.

use std::ops::Range;

use num_complex::Complex32;

use super::acquire::{Acquired, Stretch, acquire, strongest_spans};
use super::read::ReadLimits;
use super::refine::{Band, Refined, refine};
use super::there::there;
use crate::receiver::fold::shape::Shape;
use crate::receiver::fold::sums::TELEGRAM;

/// A shape of the bank must make the ripple likelier than ideal edges do by this (natural logarithm): it is the best of
/// twenty (ln 20 = 3), each with two numbers of its own that noise helps to choose.
const SHAPE_GAIN: f64 = 5.0;

/// The best number in a stretch: with ideal edges; where that does not do, with those that slow tanks leave; and then in
/// the parts of it in which the ripple is strongest.
pub fn find(ripple: &[Complex32], band: &Band<'_>, limits: &ReadLimits) -> Option<Refined> {
    let ideal = [Shape::ideal()];
    let is_read = |best: &Option<Refined>| best.as_ref().is_some_and(|best| best.is_read(limits));
    let in_span = |stretch: &Stretch<'_>, span: Range<usize>| {
        let with_ideal = acquire(stretch, &ideal, limits);
        let refined =
            |found: &Acquired| refine(&ripple[span.clone()], span.clone(), found, band, limits);
        let best = with_ideal.as_ref().and_then(refined);
        if is_read(&best) {
            return best;
        }
        let likelier = |found: &Acquired| {
            with_ideal
                .as_ref()
                .is_none_or(|ideal| found.log_likelihood > ideal.log_likelihood + SHAPE_GAIN)
        };
        acquire(stretch, Shape::bank(limits.real), limits)
            .filter(likelier)
            .as_ref()
            .and_then(refined)
            .or(best)
    };
    let whole = Stretch::new(ripple, limits);
    let best = in_span(&whole, 0..ripple.len());
    let part_of = |span: Range<usize>| in_span(&Stretch::new(&ripple[span.clone()], limits), span);
    // Over the telegrams in which it is there alone, if there are fewer.
    let where_there = |read: Refined| -> Refined {
        let code = |tag: &Refined| tag.attempt.decision.telegram.code;
        there(ripple, &read)
            .filter(|there| there.len() + TELEGRAM <= read.attempt.span.len())
            .and_then(part_of)
            .filter(|part| part.is_read(limits) && code(part) == code(&read))
            .unwrap_or(read)
    };
    if is_read(&best) {
        return best.map(where_there);
    }
    let mut all: Vec<Refined> = best.into_iter().collect();
    for span in strongest_spans(&whole) {
        let Some(part) = part_of(span) else {
            continue;
        };
        if !part.is_read(limits) {
            all.push(part);
            continue;
        }
        let goes_on =
            there(ripple, &part).is_some_and(|there| there.len() > 2 * part.attempt.span.len());
        if !goes_on {
            return Some(where_there(part));
        }
    }
    let odds = |refined: &Refined| refined.attempt.decision.odds_wrong;
    all.into_iter().min_by(|a, b| odds(a).total_cmp(&odds(b)))
}
