//! Bursts of a switched field, each begun by the tag at nearly the same moment after its field came on: added up although
//! none of them can be read.
//!
//! The moments differ by a fraction of a millisecond. What is known of the telegram from the bursts already laid together
//! says where the next one fits; early on that is little, so many ways are carried along. Every step adds what it gains in
//! likelihood, to first order the product of what two bursts say of each sign.

use num_complex::Complex64;

use super::attempt::ReadLimits;
use super::join::{Joined, Layout, likeliest, surer};
use super::left_alike::Together;
use crate::receiver::field::pieces::Piece;
use crate::receiver::fold::pulse_noise::{noise_between_telegrams, pulse_variance};
use crate::receiver::fold::sums::{BIT, BoundarySums, Fold, TELEGRAM};
use crate::telegram::TELEGRAM_BITS;

/// Ways of laying the bursts together carried from one to the next. A right way among 300 wrong ones with a lead of three
/// standard deviations less a bad draw of two is within the first few dozen.
const BEAM: usize = 160;

/// Ways that are looked at more closely in the end.
const FINALISTS: usize = 12;

/// Moments searched, in cycles: ±0.5 ms of difference between any two bursts each side of the common moment, and what
/// telling the field's start to 16 cycles leaves.
const REACH: isize = 2 * 67 + 24;

/// Steps of the search, in cycles; the correlation of square pulses falls to 0.9 within one cycle more.
const STEP: isize = 2;

/// Rounds of moving each burst against all others.
const ROUNDS: usize = 3;

/// Two bursts agree by chance too often.
const LEAST_BURSTS: usize = 3;

/// One burst: boundary sums along the common axis at every cell, scaled to noise 1.
struct Burst {
    fold: Fold,
    along: Vec<f64>,
    noise_var: f64,
}

/// Moments (cells from each burst's first value to its boundary 0) and turns that lay bursts together.
#[derive(Clone)]
struct Way {
    gain: f64,
    signs: [f64; TELEGRAM_BITS],
    placed: Vec<(isize, f64)>,
}

/// The number in bursts that the tag began anew each; `None` where there are too few or none shows.
pub fn join_bursts(pieces: &[Piece], field_hz: f64, limits: &ReadLimits) -> Option<Joined> {
    let begun: Vec<&Piece> = pieces.iter().filter(|piece| piece.after_start).collect();
    if begun.len() < LEAST_BURSTS {
        return None;
    }
    let layouts: Vec<(bool, Vec<Layout>)> = [false, true]
        .into_iter()
        .filter_map(|inverts| Some((inverts, laid_together(&begun, inverts, limits)?)))
        .collect();
    let owned: Vec<Piece> = begun.into_iter().cloned().collect();
    surer(
        layouts.iter().filter_map(|(inverts, layouts)| {
            likeliest(layouts, *inverts, &owned, field_hz, limits)
        }),
    )
}

fn laid_together(pieces: &[&Piece], inverts: bool, limits: &ReadLimits) -> Option<Vec<Layout>> {
    let bursts = bursts_of(pieces, inverts, limits)?;
    // The first burst may have any timing within a bit; its boundaries are counted from there.
    let mut ways: Vec<Way> = (0..BIT as isize)
        .step_by(STEP as usize)
        .map(|moment| {
            let signs = bursts[0].signs_at(moment, inverts);
            Way {
                gain: 0.25 * signs.iter().map(|y| y * y).sum::<f64>(),
                signs,
                placed: vec![(moment, 1.0)],
            }
        })
        .collect();
    for burst in &bursts[1..] {
        let mut next: Vec<(f64, usize, isize, f64)> = Vec::new();
        for (origin, way) in ways.iter().enumerate() {
            let first = way.placed[0].0;
            for moment in (first - REACH..=first + REACH).step_by(STEP as usize) {
                let (product, own) = burst.agreement(&way.signs, moment, inverts);
                let gain = way.gain + 0.5 * product.abs() + 0.25 * own;
                next.push((gain, origin, moment, product.signum()));
            }
        }
        next.sort_by(|a, b| b.0.total_cmp(&a.0));
        next.truncate(BEAM);
        ways = next
            .into_iter()
            .map(|(gain, origin, moment, turn)| {
                let mut way = ways[origin].clone();
                let signs = burst.signs_at(moment, inverts);
                way.signs
                    .iter_mut()
                    .zip(signs)
                    .for_each(|(sum, y)| *sum += turn * y);
                way.placed.push((moment, turn));
                way.gain = gain;
                way
            })
            .collect();
    }
    let mut ways: Vec<Way> = ways.into_iter().take(FINALISTS).collect();
    for way in &mut ways {
        settle(way, &bursts, inverts);
    }
    ways.iter()
        .map(|way| {
            let parts = bursts.iter().zip(&way.placed).map(|(burst, placed)| {
                let (moment, turn) = *placed;
                let mut part = burst.fold.boundaries(moment as f64);
                part.scale(1.0 / burst.noise_var);
                part.sums.iter_mut().for_each(|y| *y *= turn);
                Together::of(part)
            });
            Some(Layout {
                gain: way.gain,
                parts: parts.reduce(|all, part| all.and(&part))?,
            })
        })
        .collect()
}

fn bursts_of(pieces: &[&Piece], inverts: bool, limits: &ReadLimits) -> Option<Vec<Burst>> {
    let folds: Vec<(Fold, f64)> = pieces
        .iter()
        .map(|piece| {
            // What cannot be compared with a second telegram is nearly all noise here.
            let noise_var = noise_between_telegrams(&piece.ripple, limits.real).map_or_else(
                || pulse_variance(&piece.ripple, limits.real),
                |noise| noise[usize::from(inverts)],
            );
            (Fold::new(&piece.ripple, inverts), noise_var)
        })
        .collect();
    if folds.iter().any(|(_, noise_var)| *noise_var <= 0.0) {
        return None;
    }
    let all: Vec<Vec<Complex64>> = folds
        .iter()
        .map(|(fold, noise_var)| every_boundary(fold, 1.0 / noise_var.sqrt()))
        .collect();
    // The circuits are the same in every burst, so is the axis.
    let square: Complex64 = all.iter().flatten().map(|y| y * y).sum();
    let axis = if limits.real { 0.0 } else { 0.5 * square.arg() };
    let turn = Complex64::cis(-axis);
    let bursts = folds
        .into_iter()
        .zip(all)
        .map(|((fold, noise_var), all)| Burst {
            fold,
            along: all.iter().map(|y| (y * turn).re).collect(),
            noise_var,
        });
    Some(bursts.collect())
}

/// The boundary sum at every cell of a fold.
fn every_boundary(fold: &Fold, scale: f64) -> Vec<Complex64> {
    let by_timing: Vec<BoundarySums> = (0..BIT)
        .map(|timing| fold.boundaries(timing as f64))
        .collect();
    (0..TELEGRAM)
        .map(|cell| by_timing[cell % BIT].sums[cell / BIT] * scale)
        .collect()
}

impl Burst {
    /// What the burst says of each sign if its boundary 0 lies at `moment`.
    fn signs_at(&self, moment: isize, inverts: bool) -> [f64; TELEGRAM_BITS] {
        std::array::from_fn(|j| {
            let cell = moment + (j * BIT) as isize;
            let odd = cell.div_euclid(TELEGRAM as isize) % 2 != 0;
            let y = self.along[cell.rem_euclid(TELEGRAM as isize) as usize];
            if odd && inverts { -y } else { y }
        })
    }

    /// Product of what the burst and others say of the signs, and of what it says with itself.
    fn agreement(&self, others: &[f64; TELEGRAM_BITS], moment: isize, inverts: bool) -> (f64, f64) {
        self.signs_at(moment, inverts)
            .iter()
            .zip(others)
            .fold((0.0, 0.0), |(product, own), (y, other)| {
                (product + y * other, own + y * y)
            })
    }
}

/// Moves each burst to where it agrees best with all others.
fn settle(way: &mut Way, bursts: &[Burst], inverts: bool) {
    for _ in 0..ROUNDS {
        for (index, burst) in bursts.iter().enumerate() {
            let (moment, turn) = way.placed[index];
            let own = burst.signs_at(moment, inverts);
            way.signs
                .iter_mut()
                .zip(own)
                .for_each(|(sum, y)| *sum -= turn * y);
            let (best, product) = (moment - REACH..=moment + REACH)
                .map(|moment| (moment, burst.agreement(&way.signs, moment, inverts).0))
                .max_by(|a, b| a.1.abs().total_cmp(&b.1.abs()))
                .unwrap_or((moment, turn));
            let turn = product.signum();
            let moved = burst.signs_at(best, inverts);
            way.signs
                .iter_mut()
                .zip(moved)
                .for_each(|(sum, y)| *sum += turn * y);
            way.placed[index] = (best, turn);
        }
    }
}
