//! Several pieces of one tag's signal, each with a restart of the telegram at an unknown moment before it, put together.
//!
//! Each piece gives soft signs of the boundaries it covers. Two pieces are laid on each other at every rotation; where
//! both know a sign they must agree. Numbers with many zeros repeat within a telegram, so several ways of laying them
//! together are carried on until the whole is decoded.

use num_complex::Complex64;

use super::acquire::scatter_of_levels;
use super::attempt::{Attempt, ReadLimits};
use super::laying::{Placement, placements};
use super::left_alike::Together;
use crate::receiver::decision::{
    ANY, Boundaries, Decision, Weights, decide, likeliest_number, log_of_starts,
};
use crate::receiver::field::pieces::Piece;
use crate::receiver::fold::band::Kept;
use crate::receiver::fold::shape::Shape;
use crate::receiver::fold::sums::{BoundarySums, Fold, TELEGRAM, timing_peaks};
use crate::telegram::TELEGRAM_BITS;

/// Ways of laying the pieces together carried from one piece to the next.
const BEAM: usize = 48;

/// Ways decoded in the end.
const DECODED: usize = 24;

/// Another number from another way of laying the pieces together must be this much less likely (natural logarithm), or
/// neither counts. Signs that agree by chance in numbers full of zeros gain at most ln 2 each over signs that do not
/// meet at all, and two pieces of this length meet in some 40; signs that clash cost far more.
const CLEAR_LEAD: f64 = 30.0;

/// A piece needs this many boundaries to be of use in joining: any two then meet in 16 at least, however they lie.
const LEAST_BOUNDARIES: usize = 72;

/// Odds stated where two ways of laying the pieces together give different numbers, both of them well.
const UNCLEAR_ODDS: f64 = 0.5;

/// One way of laying parts together.
#[derive(Clone)]
pub struct Layout {
    /// All parts, each scaled to noise variance 1 per whole pulse.
    pub parts: Together,
    /// How much likelier the parts are together than apart, natural logarithm.
    pub gain: f64,
}

/// What several pieces gave together.
pub struct Joined {
    /// The likeliest number.
    pub attempt: Attempt,
    /// What it leaves is much and the same in all pieces: there are several tags, and it may be a sum of their numbers.
    pub is_tangled: bool,
}

/// The number in several pieces together; `None` where fewer than two pieces are of use.
pub fn join(pieces: &[Piece], field_hz: f64, limits: &ReadLimits) -> Option<Joined> {
    let both = [false, true].map(|inverts| join_with_parity(pieces, inverts, field_hz, limits));
    surer(both.into_iter().flatten())
}

/// The one whose number is the surest.
pub fn surer(all: impl Iterator<Item = Joined>) -> Option<Joined> {
    let odds_wrong = |joined: &Joined| joined.attempt.decision.odds_wrong;
    all.min_by(|a, b| odds_wrong(a).total_cmp(&odds_wrong(b)))
}

fn join_with_parity(
    pieces: &[Piece],
    inverts: bool,
    field_hz: f64,
    limits: &ReadLimits,
) -> Option<Joined> {
    let mut parts: Vec<BoundarySums> = pieces
        .iter()
        .filter_map(|piece| part_of(piece, inverts, limits))
        .collect();
    if parts.len() < 2 {
        return None;
    }
    parts.sort_by(|a, b| b.power().total_cmp(&a.power()));
    let mut beam = vec![Layout {
        parts: Together::of(parts[0].clone()),
        gain: 0.0,
    }];
    for part in &parts[1..] {
        let mut next: Vec<(f64, usize, Placement)> = Vec::new();
        for (origin, layout) in beam.iter().enumerate() {
            for (gain, placement) in placements(&layout.parts.sums, part, inverts, limits.real) {
                next.push((layout.gain + gain, origin, placement));
            }
        }
        next.sort_by(|a, b| b.0.total_cmp(&a.0));
        next.truncate(BEAM);
        beam = next
            .into_iter()
            .map(|(gain, origin, placement)| Layout {
                parts: (beam[origin].parts.clone())
                    .and(&Together::of(placement.laid(part, inverts))),
                gain,
            })
            .collect();
    }
    likeliest(&beam, inverts, pieces, field_hz, limits)
}

/// The number in the likeliest of several ways of laying pieces together.
pub fn likeliest(
    layouts: &[Layout],
    inverts: bool,
    pieces: &[Piece],
    field_hz: f64,
    limits: &ReadLimits,
) -> Option<Joined> {
    // What the fixed bits say decides between layouts that agree equally well.
    let mut ranked: Vec<(f64, &Layout)> = layouts
        .iter()
        .map(|layout| {
            (
                layout.gain + fixed_bits(layout, inverts, limits.real),
                layout,
            )
        })
        .collect();
    ranked.sort_by(|a, b| b.0.total_cmp(&a.0));
    let decoded: Vec<(Decision, &Layout)> = ranked
        .iter()
        .take(DECODED)
        .filter_map(|(_, layout)| Some((decode(layout, inverts, limits)?, *layout)))
        .collect();
    let (best, layout) = decoded
        .iter()
        .max_by(|(a, _), (b, _)| a.log_likelihood.total_cmp(&b.log_likelihood))?;
    let rival = decoded.iter().any(|(other, _)| {
        other.telegram.code != best.telegram.code
            && other.odds_wrong < UNCLEAR_ODDS
            && other.log_likelihood > best.log_likelihood - CLEAR_LEAD
    });
    let mut best = best.clone();
    if rival {
        best.odds_wrong = best.odds_wrong.max(UNCLEAR_ODDS);
    }
    Some(Joined {
        is_tangled: !limits.real && layout.parts.leave_the_same(&best.signs),
        attempt: describe(best, &layout.parts.sums, inverts, pieces, field_hz, limits),
    })
}

/// One piece's boundaries at its own timing, scaled to noise variance 1 per whole pulse.
fn part_of(piece: &Piece, inverts: bool, limits: &ReadLimits) -> Option<BoundarySums> {
    let fold = Fold::new(&piece.ripple, inverts);
    let (_, timing) = timing_peaks(&fold.timing_scores()).into_iter().next()?;
    let mut sums = fold.boundaries(timing);
    // Half a pulse at the ends of the piece has its other half's field in it: left out.
    for j in 0..TELEGRAM_BITS {
        if sums.energies[j] < 0.99 {
            sums.sums[j] = Complex64::default();
            sums.energies[j] = 0.0;
        }
    }
    if sums.energies.iter().filter(|e| **e > 0.0).count() < LEAST_BOUNDARIES {
        return None;
    }
    let axis = if limits.real { 0.0 } else { sums.axis() };
    let (along, across) = sums.along(axis);
    let noise = scatter_of_levels(&along, &sums.energies);
    // One real number shows its noise only as scatter of the levels; a complex one shows it across its axis too.
    let noise = if limits.real {
        noise
    } else {
        0.5 * (noise + across)
    };
    if noise <= 0.0 {
        return None;
    }
    sums.scale(1.0 / noise);
    Some(sums)
}

fn fixed_bits(layout: &Layout, inverts: bool, real: bool) -> f64 {
    let axis = if real { 0.0 } else { layout.parts.sums.axis() };
    let weights = Weights::of(&layout.parts.sums.llr(axis), &[0.0; TELEGRAM_BITS]);
    let starts = log_of_starts(&ANY, &weights, inverts);
    starts.into_iter().fold(f64::NEG_INFINITY, f64::max)
}

fn decode(layout: &Layout, inverts: bool, limits: &ReadLimits) -> Option<Decision> {
    let axis = if limits.real {
        0.0
    } else {
        layout.parts.sums.axis()
    };
    let (along, _) = layout.parts.sums.along(axis);
    let boundaries = |noise_var: f64| Boundaries {
        sums: along,
        energies: layout.parts.sums.energies,
        overlap: 0.0,
        noise_var,
        inverts,
        amplitude: None,
        known: limits.known,
    };
    // Parts are scaled to noise 1; what the signs leave over says whether that was right.
    let unscaled = boundaries(1.0);
    limits.count_decision();
    let first = likeliest_number(&unscaled)?;
    let used: f64 = layout
        .parts
        .sums
        .energies
        .iter()
        .filter(|e| **e > 0.0)
        .count() as f64;
    let left: f64 = (0..TELEGRAM_BITS)
        .filter(|&j| layout.parts.sums.energies[j] > 0.0)
        .map(|j| {
            let energy = layout.parts.sums.energies[j];
            (along[j] - first.amplitude * energy * f64::from(first.signs[j])).powi(2) / energy
        })
        .sum::<f64>()
        / used.max(2.0);
    limits.count_decision();
    let mut decision = decide(&boundaries(left.max(1.0)))?;
    // Ways of laying the pieces together are compared at one and the same noise.
    decision.log_likelihood = first.log_likelihood_of_all(&unscaled);
    Some(decision)
}

fn describe(
    decision: Decision,
    sums: &BoundarySums,
    inverts: bool,
    pieces: &[Piece],
    field_hz: f64,
    limits: &ReadLimits,
) -> Attempt {
    let cycles: usize = pieces.iter().map(|piece| piece.ripple.len()).sum();
    let telegrams = cycles as f64 / TELEGRAM as f64;
    let band_hz = pieces
        .iter()
        .map(|p| p.band_hz)
        .fold(f64::INFINITY, f64::min);
    let kept = Kept::new(band_hz, field_hz);
    let depth = decision.amplitude / kept.of_ripple(&decision.signs, inverts);
    let energy: f64 = sums.energies.iter().sum();
    // The energies carry the scale of the noise: amplitude²·energy is the signal-to-noise ratio of all pulses.
    let folded = depth * depth * kept.of_noise() * energy / (2.0 * TELEGRAM_BITS as f64);
    Attempt {
        span: 0..cycles,
        timing: 0.0,
        inverts,
        shape: Shape::ideal(),
        angle: if limits.real { 0.0 } else { sums.axis() },
        depth,
        telegrams,
        ebn0: folded / telegrams,
        ideal_edges: true,
        decision,
    }
}
