//! Whether the stated odds of a wrong number come true, and what the test of fit refuses.
//!
//! ```text
//! cargo bench --bench odds -- stated TRIALS [SEED]
//! cargo bench --bench odds -- fit TRIALS [SEED]
//! ```
//!
//! Each trial is 2.3 telegrams of ripple in white noise at field-cycle level, everything else unknown to the receiver:
//! number, timing, angle, parity, noise.
//!
//! 1. `stated`: numbers by decade of their stated odds (levels around the limit, −1 … 3 dB folded): how many, how many of them are
//!    expected to be wrong (the sum of their odds), how many are.
//! 2. `fit`: right telegrams that the test of fit refuses, by level.
//!    Telegrams with one flipped bit that are read as a number, by level, and how many would be without the test.

use std::f64::consts::{FRAC_PI_2, TAU};
use std::sync::Arc;

use fieldripple::linecode;
use fieldripple::receiver::decision::Known;
use fieldripple::receiver::{
    Attempt, BIT, Edge, FieldFit, HALF, Piece, ReadLimits, TELEGRAM, read_piece,
};
use fieldripple::telegram::{CODED_BITS, HEADER_BITS, TELEGRAM_BITS, Telegram};
use num_complex::Complex32;
use rand::rngs::ChaCha8Rng;
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;

const FIELD_HZ: f64 = 134_200.0;
const TELEGRAMS: f64 = 2.3;
const LIMITS: ReadLimits = ReadLimits {
    odds: 1e-5,
    real: false,
    known: Known::Nothing,
    cleaned: false,
    effort: None,
};

fn main() {
    let arguments: Vec<String> = std::env::args()
        .skip(1)
        .filter(|argument| !argument.starts_with("--"))
        .collect();
    let number = |text: &String| text.parse::<u64>().expect("a whole number");
    let (table, trials, seed) = match arguments.as_slice() {
        [table, trials] => (table.as_str(), number(trials), 1),
        [table, trials, seed] => (table.as_str(), number(trials), number(seed)),
        _ => ("", 0, 0),
    };
    match table {
        "stated" => stated_odds(trials, seed),
        "fit" => fit(trials, seed),
        _ => println!("give stated or fit, TRIALS [SEED]; nothing was run"),
    }
}

/// A number's stated odds, and whether it is wrong.
fn stated_odds(trials: u64, seed: u64) {
    let outcomes: Vec<(f64, bool)> = (0..trials)
        .into_par_iter()
        .filter_map(|trial| {
            let mut rng = stream(seed, trial);
            let telegram = Telegram::new(rng.random());
            let folded_db = rng.random_range(-1.0..3.0);
            let best = best_of(&piece(&telegram.bits(), folded_db, &mut rng))?;
            let wrong = best.decision.telegram.code != telegram.code;
            Some((best.decision.odds_wrong, wrong))
        })
        .collect();
    println!("{trials} trials at -1 ... 3 dB folded, seed {seed}: numbers by their stated odds");
    println!(
        "{:>16} {:>9} {:>16} {:>9}",
        "odds", "numbers", "expected wrong", "wrong"
    );
    for decade in 0..8 {
        let (above, upto) = (10f64.powi(-decade - 1), 10f64.powi(-decade));
        let inside: Vec<&(f64, bool)> = outcomes
            .iter()
            .filter(|(odds, _)| *odds > above && *odds <= upto)
            .collect();
        let expected: f64 = inside.iter().map(|(odds, _)| odds).sum();
        // Each is a coin of its own odds: the variance of the count is the sum of p(1 - p).
        let sigma = inside
            .iter()
            .map(|(p, _)| p * (1.0 - p))
            .sum::<f64>()
            .sqrt();
        let wrong = inside.iter().filter(|(_, wrong)| *wrong).count();
        println!(
            "{above:7.0e} … {upto:5.0e} {:9} {expected:9.2} ± {:5.2} {wrong:9}",
            inside.len(),
            1.96 * sigma
        );
    }
}

fn fit(trials: u64, seed: u64) {
    println!(
        "\n{trials} trials a line: right telegrams refused by the fit; telegrams with one flipped bit read, with and without it"
    );
    println!(
        "{:>9} {:>9} {:>9} {:>9}",
        "folded", "refused", "read", "without"
    );
    for folded_db in [3.0, 4.5, 6.0, 8.0, 10.0, 13.0, 20.0] {
        let counts: Vec<[bool; 3]> = (0..trials)
            .into_par_iter()
            .map(|trial| {
                let mut rng = stream(seed, trial);
                let bits = Telegram::new(rng.random()).bits();
                let right = best_of(&piece(&bits, folded_db, &mut rng));
                let mut flipped = bits;
                // A code or CRC bit: header and control bits are no part of the number.
                let at = loop {
                    let at = rng.random_range(HEADER_BITS..CODED_BITS);
                    if (at - HEADER_BITS) % 9 != 8 {
                        break at;
                    }
                };
                flipped[at] = !flipped[at];
                let damaged = best_of(&piece(&flipped, folded_db, &mut rng));
                let sure = |found: &Attempt| found.decision.odds_wrong <= LIMITS.odds;
                [
                    right.is_some_and(|found| sure(&found) && !found.fits()),
                    damaged.as_ref().is_some_and(|found| found.is_read(&LIMITS)),
                    damaged.as_ref().is_some_and(sure),
                ]
            })
            .collect();
        let share = |k: usize| {
            let count = counts.iter().filter(|outcome| outcome[k]).count();
            format!("{:.3} %", 100.0 * count as f64 / trials as f64)
        };
        println!(
            "{folded_db:6.1} dB {:>9} {:>9} {:>9}",
            share(0),
            share(1),
            share(2)
        );
    }
}

fn stream(seed: u64, trial: u64) -> ChaCha8Rng {
    let mut rng = ChaCha8Rng::seed_from_u64(seed);
    rng.set_stream(trial);
    rng
}

/// The likeliest number, read or not.
fn best_of(piece: &Piece) -> Option<Attempt> {
    let result = read_piece(piece, FIELD_HZ, &LIMITS);
    result.read.into_iter().next().or(result.left)
}

/// Ripple of amplitude 1 with its boundaries anywhere, each cell the mean of the load state over it.
fn piece(bits: &[bool; TELEGRAM_BITS], folded_db: f64, rng: &mut ChaCha8Rng) -> Piece {
    let inverts = linecode::inverts(bits);
    let states = linecode::load_states(bits, 1);
    let start = rng.random_range(0.0..TELEGRAM as f64);
    let angle = rng.random_range(-FRAC_PI_2..FRAC_PI_2);
    let cells = (TELEGRAMS * TELEGRAM as f64) as usize;
    // Of a pulse of 32 cells in noise of variance s² a part, Eb/N0 is 16/s².
    let ebn0 = 10f64.powf(folded_db / 10.0) / TELEGRAMS;
    let sigma = (HALF as f64 / ebn0).sqrt();
    let state = |half: i64| {
        let count = states.len() as i64;
        let odd = half.div_euclid(count).rem_euclid(2) == 1;
        let state = f64::from(states[half.rem_euclid(count) as usize]);
        if odd && inverts { -state } else { state }
    };
    let ripple = (0..cells)
        .map(|cell| {
            let from = cell as f64 - start;
            let half = (from / HALF as f64).floor() as i64;
            let next = ((half + 1) * HALF as i64) as f64;
            let after = (from + 1.0 - next).clamp(0.0, 1.0);
            let mean = state(half) * (1.0 - after) + state(half + 1) * after;
            let mut noise = || {
                let z: f64 = StandardNormal.sample(rng);
                sigma * z
            };
            let re = mean * angle.cos() + noise();
            Complex32::new(re as f32, (mean * angle.sin() + noise()) as f32)
        })
        .collect();
    Piece {
        ripple,
        from_s: 0.0,
        to_s: cells as f64 / FIELD_HZ,
        after_start: false,
        after_gap: false,
        field: FieldFit::default(),
        tones: Vec::new(),
        impulses: 0,
        band_hz: FIELD_HZ * BIT as f64 * TAU,
        edge: Arc::new(Edge::of(|_| 1.0, 0.5)),
    }
}
