//! Whether numbers read from one ripple stand together: what is known of a sum of valid telegrams is asked for.
//!
//! Telegrams are words of an affine code, so what one word takes from a sum of two the other may give back: where the tags'
//! ripples nearly cancel, both numbers can change in the same places and hardly anything is seen of it. A number that fits
//! what the others leave therefore proves nothing by itself. Asked here, of the ripple as it was received:
//!
//! - every set of tags that begin together must be sure of the signs that they would change *together*, by the same exact odds
//!   and test of fit as a single number, and no two of them may be near numbers;
//! - what no number explains must be weak against the weakest of them, or it is a sum that has been taken apart wrongly.

use num_complex::Complex32;

use super::attempt::ReadLimits;
use super::left_alike::leaves_much;
use super::near_sums::may_be_made_of_others;
use super::noise_left::folded_excess;
use super::refine::Refined;
use super::shared::at_once;
use super::standing::standing;
use crate::receiver::fold::sums::TELEGRAM;

/// What the ripple says of several tags, fitted together.
pub enum Stand {
    /// All count as read.
    Read,
    /// Each by itself would, but not together with the others.
    Tangled,
    /// Some do not.
    No,
}

impl Stand {
    /// Asks each number by itself, then all together.
    pub fn of(ripple: &[Complex32], tags: &[Refined], limits: &ReadLimits) -> Self {
        if !tags.iter().all(|tag| tag.is_read(limits)) {
            return Self::No;
        }
        let sure = |group: &Vec<Refined>| {
            group.len() < 2
                || standing(ripple, group, limits).is_some_and(|standing| standing.is_sure(limits))
        };
        if at_once(ripple, tags, limits).iter().all(sure) {
            Self::Read
        } else {
            Self::Tangled
        }
    }
}

/// The tags whose numbers cannot be sums of other ones: all of them, unless much is left unexplained or a number that explains
/// more cannot be told apart from those read. Then only a tag that outweighs everything else is left.
pub fn beyond_doubt(
    ripple: &[Complex32],
    tags: Vec<Refined>,
    tangled: &[Vec<u64>],
    limits: &ReadLimits,
) -> Vec<Refined> {
    let groups = at_once(ripple, &tags, limits);
    if groups.len() > 1 {
        let mut left = codes(&tags);
        for group in groups {
            let asked = codes(&group);
            let stand = codes(&beyond_doubt(ripple, group, tangled, limits));
            left.retain(|code| stand.contains(code) || !asked.contains(code));
        }
        let stands = |tag: &Refined| left.contains(&tag.attempt.decision.telegram.code);
        return tags.into_iter().filter(stands).collect();
    }
    let read = codes(&tags);
    match tags.len() {
        0 => tags,
        1 => {
            let is_tangled = tangled.iter().any(|codes| codes.contains(&read[0]));
            // A detector that is slow leaves much of its own.
            let outweighs = limits.real
                || standing(ripple, &tags, limits).is_some_and(|all| all.outweighs(0))
                    && !leaves_much(ripple, &tags[0].attempt);
            if is_tangled || !outweighs || may_be_made_of_others(ripple, &tags[0], limits.real) {
                Vec::new()
            } else {
                tags
            }
        }
        // Of several signs at once a part of a telegram leaves too few to contradict others.
        _ if tags.iter().any(|tag| tag.attempt.telegrams < 1.0) => Vec::new(),
        _ => match standing(ripple, &tags, limits) {
            None => Vec::new(),
            Some(standing) if !standing.is_incomplete() => tags,
            Some(standing) => {
                let outweighs = |k: &usize| {
                    standing.outweighs(*k) && !may_be_made_of_others(ripple, &tags[*k], limits.real)
                };
                let strong = (0..tags.len()).find(outweighs);
                strong.map(|k| tags[k].clone()).into_iter().collect()
            }
        },
    }
}

/// Whether tags leave noise of a ripple, as far as that repeats with the telegram.
pub fn leaves_noise(rest: &[Complex32], real: bool) -> bool {
    let telegrams = rest.len() as f64 / TELEGRAM as f64;
    [false, true]
        .iter()
        .all(|inverts| folded_excess(rest, *inverts, telegrams, real) <= 1.0)
}

/// The 64-bit codes of tags.
pub fn codes(tags: &[Refined]) -> Vec<u64> {
    let code = |tag: &Refined| tag.attempt.decision.telegram.code;
    tags.iter().map(code).collect()
}
