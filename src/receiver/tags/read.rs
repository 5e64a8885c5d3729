//! One piece of ripple → the numbers in it, strongest first: find, fit, remove, go on.

use std::ops::Range;

use num_complex::Complex32;

use super::apart::by_angle;
use super::attempt::{Attempt, ReadLimits};
use super::band::Band;
use super::find::find;
use super::noise_left::folded_excess;
use super::refine::{Refined, measure};
use super::standing::standing;
use super::together::{Stand, beyond_doubt, codes, leaves_noise};

use crate::receiver::field::pieces::Piece;
use crate::receiver::field::track::take_slow_changes;
use crate::receiver::fold::sums::{BIT, TELEGRAM};

/// Tags read from one piece before giving up; a field powers a handful at most.
const MOST_TAGS: usize = 8;

/// A further number likelier wrong than this is not worth fitting together with the others (chosen, no source).
const WORTH_FITTING_TOGETHER: f64 = 0.1;

/// Most turns of fitting together: each leaves the square of the tags' correlation of the error before. Numbers that are
/// nearly equal and begin together have a correlation of 0.8 and more.
const ROUNDS: usize = 16;
/// Depths that change by less than this share in a turn are settled.
const SETTLED: f64 = 2e-3;

/// Shares of the tags' waveforms that are removed where all of them leaves a rest that is not noise: a tag fitted
/// alone has swallowed what another one's number has in common with its own (chosen, no source).
const SHARES: [f32; 3] = [0.85, 0.7, 0.55];

/// What a piece gave.
#[derive(Clone, Debug, Default)]
pub struct PieceReading {
    /// Numbers within the limits, in the order found.
    pub read: Vec<Attempt>,
    /// The best that was left and did not qualify.
    pub left: Option<Attempt>,
    /// Several tags answer, too alike to be told apart: no number is read, or only that of one which is much stronger.
    pub tangled: bool,
    /// Codes that would give the same ripple as others, each set together.
    pub alike: Vec<Vec<u64>>,
}

/// A tag sends its first telegram this soon after the field came on, or it was not silent until then (10 ms: three
/// times what charging takes; common practice, no source).
const LONGEST_SILENCE: f64 = 0.01;

/// Reads all tags in a piece.
pub fn read_piece(piece: &Piece, field_hz: f64, limits: &ReadLimits) -> PieceReading {
    let band = Band::of(piece, field_hz);
    let all = 0..piece.ripple.len();
    let result = read_span(piece, all.clone(), &band, limits);
    if !piece.after_start {
        return result;
    }
    // Until its first telegram a tag is silent, which is not a ripple that is missing.
    let silence = result
        .read
        .iter()
        .map(|tag| {
            let start = (tag.decision.start * BIT) as f64 + tag.timing;
            start.rem_euclid(TELEGRAM as f64) as usize
        })
        .min()
        .filter(|cells| (*cells as f64) < LONGEST_SILENCE * field_hz);
    let Some(silence) = silence else {
        return result;
    };
    let after = read_span(piece, silence..all.end, &band, limits);
    let in_part = |tag: &Attempt| tag.telegrams < 1.0;
    let is_doubted = after.tangled && result.read.iter().all(in_part);
    if after.read.len() < result.read.len() && !is_doubted {
        return result;
    }
    after
}

fn read_span(
    piece: &Piece,
    span: Range<usize>,
    band: &Band<'_>,
    limits: &ReadLimits,
) -> PieceReading {
    let ripple = &piece.ripple[span.clone()];
    let mut tags: Vec<Refined> = Vec::new();
    let mut left = None;
    let mut tangled: Vec<Vec<u64>> = Vec::new();
    while tags.len() < MOST_TAGS {
        match further(ripple, &tags, 1.0, band, limits) {
            Further::Read(all) => {
                tags = all;
                continue;
            }
            Further::Left(attempt) => left = attempt.map(|attempt| *attempt),
            Further::Tangled(codes) => tangled.push(codes),
        }
        // Of several equally strong tags none may be readable through the others.
        if tags.is_empty() {
            let mut all = by_angle(ripple, band, limits);
            if all.len() > 1 {
                fit_together(ripple, &mut all, band, limits);
                match Stand::of(ripple, &all, limits) {
                    Stand::Read => {
                        tags = all;
                        continue;
                    }
                    Stand::Tangled => tangled.push(codes(&all)),
                    Stand::No => {}
                }
            }
        }
        let rest = without(ripple, &tags, 1.0);
        let repeats = |tag: &Refined| repeats(&rest, tag, limits.real);
        if !tags.iter().any(repeats) || !limits.may_try_on() {
            break;
        }
        if standing(ripple, &tags, limits).is_some_and(|standing| standing.leaves_little()) {
            break;
        }
        let with_less =
            SHARES
                .iter()
                .find_map(|share| match further(ripple, &tags, *share, band, limits) {
                    Further::Read(all) => Some(all),
                    Further::Left(_) => None,
                    Further::Tangled(codes) => {
                        tangled.push(codes);
                        None
                    }
                });
        match with_less {
            Some(all) => tags = all,
            None => break,
        }
    }
    if limits.cleaned && !leaves_noise(&without(ripple, &tags, 1.0), limits.real) {
        tags.clear();
        left = None;
        tangled.push(Vec::new());
    }
    let found = tags.len();
    let tags = beyond_doubt(ripple, tags, &tangled, limits);
    let doubted = tags.len() < found;
    if doubted {
        left = None;
    }
    let is_tangled = doubted || tags.is_empty() && !tangled.is_empty();
    let in_piece = |attempt: Attempt| Attempt {
        span: attempt.span.start + span.start..attempt.span.end + span.start,
        ..attempt
    };
    PieceReading {
        read: tags.into_iter().map(|tag| in_piece(tag.attempt)).collect(),
        left: left.map(in_piece),
        tangled: is_tangled,
        alike: tangled,
    }
}

/// What the search for one more tag gave.
enum Further {
    /// All tags, fitted together.
    Read(Vec<Refined>),
    /// The best that did not qualify, if it is none of those known.
    Left(Option<Box<Attempt>>),
    /// One more that is not to be told apart from those known: the codes of all.
    Tangled(Vec<u64>),
}

/// One more tag in a stretch from which the known ones are removed, or a share of them.
fn further(
    ripple: &[Complex32],
    tags: &[Refined],
    share: f32,
    band: &Band<'_>,
    limits: &ReadLimits,
) -> Further {
    let rest = without(ripple, tags, share);
    let Some(found) = find(&rest, !tags.is_empty(), band, limits) else {
        return Further::Left(None);
    };
    let known = |attempt: &Attempt| {
        let code = attempt.decision.telegram.code;
        tags.iter()
            .any(|tag| tag.attempt.decision.telegram.code == code)
    };
    if known(&found.attempt) {
        return Further::Left(None);
    }
    let mut all = tags.to_vec();
    let fit = !tags.is_empty() && found.attempt.decision.odds_wrong < WORTH_FITTING_TOGETHER;
    all.push(found);
    if fit {
        fit_together(ripple, &mut all, band, limits);
    }
    let newest = &all[all.len() - 1];
    let last = &newest.attempt;
    if known(last) || !newest.settled {
        Further::Left(None)
    } else {
        match Stand::of(ripple, &all, limits) {
            Stand::Read => Further::Read(all),
            Stand::Tangled => Further::Tangled(codes(&all)),
            Stand::No => Further::Left(Some(Box::new(last.clone()))),
        }
    }
}

/// Whether what is left of a tag's span still repeats with its telegram.
fn repeats(rest: &[Complex32], tag: &Refined, real: bool) -> bool {
    let rest = &rest[tag.attempt.span.clone()];
    folded_excess(rest, tag.attempt.inverts, tag.attempt.telegrams, real) > 1.0
}

/// Several tags disturb each other's measurement: each is fitted again with the others removed, in turns.
fn fit_together(ripple: &[Complex32], tags: &mut [Refined], band: &Band<'_>, limits: &ReadLimits) {
    for _ in 0..ROUNDS {
        let mut moved = 0.0f64;
        for index in 0..tags.len() {
            let others = tags
                .iter()
                .enumerate()
                .filter(|(k, _)| *k != index)
                .map(|(_, tag)| tag);
            let span = tags[index].attempt.span.clone();
            let target = &without(ripple, others, 1.0)[span.clone()];
            if let Some(again) = measure(target, span, &tags[index].as_found(), band, limits) {
                let change = again.attempt.depth / tags[index].attempt.depth - 1.0;
                moved = moved.max(if again.settled { change.abs() } else { 1.0 });
                tags[index] = again;
            }
        }
        if moved < SETTLED {
            break;
        }
    }
}

/// The stretch less a share of the tags' waveforms, as the field's tracker left them.
fn without<'a>(
    ripple: &[Complex32],
    tags: impl IntoIterator<Item = &'a Refined>,
    share: f32,
) -> Vec<Complex32> {
    let mut waves = vec![Complex32::default(); ripple.len()];
    for tag in tags {
        waves[tag.attempt.span.clone()]
            .iter_mut()
            .zip(&tag.wave)
            .for_each(|(sum, wave)| *sum += wave * share);
    }
    take_slow_changes(&mut waves);
    // In their place: fresh memory costs more than the difference.
    for (wave, value) in waves.iter_mut().zip(ripple) {
        *wave = value - *wave;
    }
    waves
}
