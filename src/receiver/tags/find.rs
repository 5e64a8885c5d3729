//! The best number in a stretch of ripple, over the time in which its tag is there.

use std::ops::Range;

use num_complex::Complex32;

use super::acquire::{Acquired, Stretch, acquire, strongest_spans};
use super::attempt::ReadLimits;
use super::band::Band;
use super::refine::{Refined, refine};
use super::there::there;
use crate::receiver::fold::shape::Shape;
use crate::receiver::fold::sums::TELEGRAM;

/// A shape of the bank must make the ripple likelier than ideal edges do by this (natural logarithm): it is the best of
/// twenty (ln 20 = 3), each with two numbers of its own that noise helps to choose.
const SHAPE_GAIN: f64 = 5.0;

/// The best number in a stretch: with ideal edges; where that does not do, with those that slow tanks leave; and then in
/// the parts of it in which the ripple is strongest. `is_rest`: other tags were removed from it.
pub fn find(
    ripple: &[Complex32],
    is_rest: bool,
    band: &Band<'_>,
    limits: &ReadLimits,
) -> Option<Refined> {
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
    let mut all: Vec<Refined> = Vec::new();
    match best {
        Some(read) if read.is_read(limits) => {
            if let Some(over) = over(ripple, read, band, limits) {
                return Some(over);
            }
        }
        best => all.extend(best),
    }
    for span in strongest_spans(&whole, is_rest) {
        if !limits.may_try_on() {
            break;
        }
        let Some(part) = part_of(span) else {
            continue;
        };
        if !part.is_read(limits) {
            all.push(part);
        } else if let Some(over) = over(ripple, part, band, limits) {
            return Some(over);
        }
    }
    let odds = |refined: &Refined| refined.attempt.decision.odds_wrong;
    all.into_iter().min_by(|a, b| odds(a).total_cmp(&odds(b)))
}

/// A number over the telegrams in which its ripple is there, where those are not the ones it was read from; `None` where it is there in
/// more than twice as many and they do not give it, as many are there with the wrong sign, or it is there now and then for one telegram:
/// tags of which one inverts its telegrams and another does not have another sum in every second one.
fn over(
    ripple: &[Complex32],
    read: Refined,
    band: &Band<'_>,
    limits: &ReadLimits,
) -> Option<Refined> {
    let own = read.attempt.span.len();
    let code = |tag: &Refined| tag.attempt.decision.telegram.code;
    let Some(there) = there(ripple, &read) else {
        return Some(read);
    };
    let now_and_then = there.span.len() == TELEGRAM && there.again > 0;
    if now_and_then || there.turned * TELEGRAM >= there.span.len() {
        return None;
    }
    let goes_on = there.span.len() > 2 * own;
    let about = match there.span.len().abs_diff(own) < TELEGRAM {
        true => &read.attempt.span,
        false => &there.span,
    };
    let span = there.to_the_bit(about);
    if span == read.attempt.span {
        return Some(read);
    }
    let found = read.as_found_from(span.start);
    let again = refine(&ripple[span.clone()], span, &found, band, limits);
    again
        .filter(|again| again.is_read(limits) && code(again) == code(&read))
        .or_else(|| (!goes_on).then_some(read))
}
