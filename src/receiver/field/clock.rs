//! The bit rate of captures without a carrier: there is no field to count, so the telegram's own repetition tells.

use num_complex::Complex32;

use super::pieces::Piece;
use crate::receiver::dsp::retime::retime;
use crate::receiver::fold::sums::{BIT, Fold, HALF, TELEGRAM, timing_peaks};

/// Search range: field ±2 % and a sample clock off by as much as half a per cent.
const RANGE: f64 = 0.025;

/// Over the stretch searched the clock may slip by this many cycles from one trial to the next: a quarter of a half
/// bit at either end.
const SLIP: f64 = 8.0;

/// First stretch searched: half a second; longer records then only refine.
const FIRST: usize = 16 * TELEGRAM;

/// Pieces put onto their own bit clock for each of the most promising rates, best first: (rate relative to nominal,
/// piece).
pub fn on_own_clock(piece: &Piece, most: usize) -> Vec<(f64, Piece)> {
    let count = piece.ripple.len();
    let first = count.min(FIRST);
    let step = SLIP / first as f64;
    let trials = (RANGE / step).ceil() as i64;
    let mut found: Vec<(f64, f64)> = (-trials..=trials)
        .map(|k| {
            let error = k as f64 * step;
            (score(&piece.ripple[..first], error), error)
        })
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut chosen: Vec<f64> = Vec::new();
    for (_, error) in found {
        if chosen
            .iter()
            .all(|other| (other - error).abs() > 2.5 * step)
        {
            chosen.push(error);
            if chosen.len() == most {
                break;
            }
        }
    }
    chosen
        .into_iter()
        .map(|error| {
            let mut error = climb(&piece.ripple[..first], error, step);
            let mut length = first;
            while length < count {
                length = (2 * length).min(count);
                error = climb(&piece.ripple[..length], error, SLIP / length as f64);
            }
            // Cycle i of the tag lies at value i/(1 + error).
            let ripple = retime(&piece.ripple, |i| i as f64 * error / (1.0 + error));
            let rate = (1.0 + error) / (1.0 + slowness(&ripple));
            let piece = Piece {
                ripple,
                ..piece.clone()
            };
            (rate, piece)
        })
        .collect()
}

/// More slips than this (cycles) from the first third of a piece to its last are noise: the rate was tried more finely.
const MOST_SLIP: f64 = 2.0;

/// How much slower the tag's bits are than a piece's values count, from when they come in its first and its last third.
fn slowness(ripple: &[Complex32]) -> f64 {
    let third = ripple.len() / 3;
    if third < TELEGRAM {
        return 0.0;
    }
    let timing = |from: usize| {
        let folds = Fold::both(&ripple[from..from + third]);
        let peaks = folds
            .iter()
            .flat_map(|fold| timing_peaks(&fold.timing_scores()));
        let (_, timing) = peaks.max_by(|a, b| a.0.total_cmp(&b.0))?;
        Some(from as f64 + timing)
    };
    let (Some(early), Some(late)) = (timing(0), timing(2 * third)) else {
        return 0.0;
    };
    let bit = BIT as f64;
    let slip = (late - early + 0.5 * bit).rem_euclid(bit) - 0.5 * bit;
    if slip.abs() > MOST_SLIP {
        return 0.0;
    }
    slip / (2 * third) as f64
}

/// Steps towards the highest score near `error`, halving the step four times.
fn climb(ripple: &[Complex32], mut error: f64, mut step: f64) -> f64 {
    let mut best = score(ripple, error);
    for _ in 0..5 {
        loop {
            let sides = [error - step, error + step].map(|e| (score(ripple, e), e));
            let (value, place) = if sides[0].0 > sides[1].0 {
                sides[0]
            } else {
                sides[1]
            };
            if value <= best {
                break;
            }
            (best, error) = (value, place);
        }
        step *= 0.5;
    }
    error
}

/// How strongly the ripple repeats at nominal·(1 + error): energy of the boundary sums at the best timing, folded by
/// telegrams where there are two, else added bit by bit.
fn score(ripple: &[Complex32], error: f64) -> f64 {
    let place = |i: usize| (i as f64 * (1.0 + error)) as usize;
    if ripple.len() >= 2 * TELEGRAM {
        let mut sums = [vec![0.0; TELEGRAM], vec![0.0; TELEGRAM]];
        for (i, value) in ripple.iter().enumerate() {
            let cycle = place(i);
            let odd = (cycle / TELEGRAM) % 2 == 1;
            let value = f64::from(value.re);
            sums[0][cycle % TELEGRAM] += value;
            sums[1][cycle % TELEGRAM] += if odd { -value } else { value };
        }
        let [same, turned] = sums;
        [(same, false), (turned, true)]
            .into_iter()
            .map(|(sums, inverts)| {
                let scores = Fold::from_real(&sums, inverts).timing_scores();
                scores.into_iter().fold(0.0, f64::max)
            })
            .fold(0.0, f64::max)
    } else {
        let mut running = vec![0.0; ripple.len() + 1];
        for (i, value) in ripple.iter().enumerate() {
            running[i + 1] = running[i] + f64::from(value.re);
        }
        let mut scores = [0.0; BIT];
        let cycles = (ripple.len() as f64 * (1.0 + error)) as usize;
        for (timing, score) in scores.iter_mut().enumerate() {
            for cycle in (timing + HALF..cycles.saturating_sub(HALF)).step_by(BIT) {
                let middle = (cycle as f64 / (1.0 + error)).round() as usize;
                if middle >= HALF && middle + HALF < running.len() {
                    let y: f64 =
                        running[middle + HALF] - 2.0 * running[middle] + running[middle - HALF];
                    *score += y * y;
                }
            }
        }
        scores.into_iter().fold(0.0, f64::max)
    }
}
