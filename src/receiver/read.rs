//! One piece of ripple → the numbers in it, strongest first: find, fit, take off, go on.

use num_complex::Complex32;

use super::acquire::acquire;
use super::decision::Decision;
use super::pieces::Piece;
use super::refine::{Band, Refined, refine};
use super::shape::Shape;

/// A telegram contradicted by more than noise this improbable does not fit. Of right ones one in 2000 is lost.
const LEAST_FIT: f64 = 5e-4;

/// Tags read from one piece before giving up; a field powers a handful at most.
const MOST_TAGS: usize = 8;

/// A further number likelier wrong than this is not worth fitting together with the others.
const WORTH_FITTING_TOGETHER: f64 = 0.1;

/// Turns of fitting together: each leaves about the square of the tags' correlation, some 1 %, of the error before.
const ROUNDS: usize = 3;

/// What the reading is to satisfy.
#[derive(Clone, Copy, Debug)]
pub struct ReadLimits {
    /// Largest odds of a wrong number that count as read.
    pub odds: f64,
    /// The ripple is one real number (no carrier): noise has one part, not two.
    pub real: bool,
}

/// One tag in one piece, read or not.
#[derive(Clone, Debug)]
pub struct Attempt {
    /// The number and its odds.
    pub decision: Decision,
    /// Boundary timing: cycles from the piece's first value to the boundary with index 0.
    pub timing: f64,
    /// Each telegram is inverted against the one before.
    pub inverts: bool,
    /// Ripple angle, radians in (−π/2, π/2].
    pub angle: f64,
    /// Rms ripple relative to the field.
    pub depth: f64,
    /// What the tanks do to an edge, as far as the decision took it into account.
    pub shape: Shape,
    /// Telegrams that were added up.
    pub telegrams: f64,
    /// Eb/N0 of a single telegram's bits, as a ratio.
    pub ebn0: f64,
    /// The ripple has the shape of ideal edges as far as the noise lets see.
    pub ideal_edges: bool,
}

/// What a piece gave.
#[derive(Clone, Debug, Default)]
pub struct PieceReading {
    /// Numbers within the limits, in the order found.
    pub read: Vec<Attempt>,
    /// The best that was left and did not qualify.
    pub left: Option<Attempt>,
    /// The ripple with every read tag taken off.
    pub residual: Vec<Complex32>,
}

impl Attempt {
    /// Whether the attempt counts as a number read.
    pub fn is_read(&self, limits: &ReadLimits) -> bool {
        self.decision.odds_wrong <= limits.odds && self.fits()
    }

    /// What contradicts the number is within what noise does.
    pub fn fits(&self) -> bool {
        self.decision.misfit >= LEAST_FIT
    }

    /// Eb/N0 after adding up the telegrams, dB.
    pub fn folded_db(&self) -> f64 {
        10.0 * (self.ebn0 * self.telegrams).max(1e-30).log10()
    }
}

/// Reads all tags in a piece.
pub fn read_piece(piece: &Piece, field_hz: f64, limits: &ReadLimits) -> PieceReading {
    let band = Band::of(piece, field_hz);
    let mut tags: Vec<Refined> = Vec::new();
    let mut left = None;
    while tags.len() < MOST_TAGS {
        let residual = without(&piece.ripple, tags.iter());
        let Some(found) = find(&residual, &band, limits) else {
            break;
        };
        let mut trial = tags.clone();
        let code = found.attempt.decision.telegram.code;
        let again = tags
            .iter()
            .any(|tag| tag.attempt.decision.telegram.code == code);
        trial.push(found);
        if trial.len() > 1
            && trial[trial.len() - 1].attempt.decision.odds_wrong < WORTH_FITTING_TOGETHER
        {
            fit_together(&piece.ripple, &mut trial, &band, limits);
        }
        let last = &trial[trial.len() - 1].attempt;
        if again || !last.is_read(limits) {
            left = (!again).then(|| last.clone());
            break;
        }
        tags = trial;
    }
    PieceReading {
        residual: without(&piece.ripple, tags.iter()),
        read: tags.into_iter().map(|tag| tag.attempt).collect(),
        left,
    }
}

/// The best number in a stretch: with ideal edges, and where that does not do with those that slow tanks leave.
fn find(ripple: &[Complex32], band: &Band<'_>, limits: &ReadLimits) -> Option<Refined> {
    let with = |shapes: &[Shape]| {
        let found = acquire(ripple, shapes, limits)?;
        refine(ripple, &found, band, limits)
    };
    let ideal = with(&[Shape::ideal()]);
    if ideal
        .as_ref()
        .is_some_and(|found| found.attempt.is_read(limits))
    {
        return ideal;
    }
    let shaped = with(&Shape::bank(limits.real));
    [ideal, shaped].into_iter().flatten().min_by(|a, b| {
        a.attempt
            .decision
            .odds_wrong
            .total_cmp(&b.attempt.decision.odds_wrong)
    })
}

/// Several tags disturb each other's measurement: each is fitted again with the others taken off, in turns.
fn fit_together(ripple: &[Complex32], tags: &mut [Refined], band: &Band<'_>, limits: &ReadLimits) {
    for _ in 0..ROUNDS {
        for index in 0..tags.len() {
            let others = tags
                .iter()
                .enumerate()
                .filter(|(k, _)| *k != index)
                .map(|(_, tag)| tag);
            let target = without(ripple, others);
            if let Some(again) = refine(&target, &tags[index].as_found(), band, limits) {
                tags[index] = again;
            }
        }
    }
}

fn without<'a>(ripple: &[Complex32], tags: impl Iterator<Item = &'a Refined>) -> Vec<Complex32> {
    let mut residual = ripple.to_vec();
    for tag in tags {
        residual
            .iter_mut()
            .zip(&tag.wave)
            .for_each(|(r, w)| *r -= w);
    }
    residual
}
