//! The search for the likeliest word, over the starts that the fixed bits leave.

use std::rc::Rc;

use super::boundaries::Boundaries;
use super::code::{Code, code_of};
use super::ordered::{Soft, ordered_statistics};
use super::signs::{Signs, Weights};
use super::starts::log_of_starts;
use super::words::Words;
use crate::linecode;
use crate::telegram::{TELEGRAM_BITS, Telegram};

/// Starts whose probability is below this share of the best one's are not decoded.
const START_SHARE: f64 = 1e-6;

/// Most starts decoded; at the limit of reading the fixed bits leave one or two.
const STARTS: usize = 6;

/// No word is likelier than all words of its start together, of which one in 2^16 has a right CRC, by more than this (natural
/// logarithm): 16·ln 2, and ln 3 for the country codes, of which one in three occurs.
const OF_ONE_WORD: f64 = 12.2;

/// Cheapest words of a start that are compared: the trailer's closing sign, which the ordering does not see, may prefer a
/// word that is not the cheapest.
const WORDS: usize = 3;

/// The same where most words have a country code that does not occur, one in three has one that does.
const WORDS_OF_ANY_COUNTRY: usize = 24;

/// A start, seen with one set of telegrams.
pub(super) struct Supposition {
    /// Logarithm of the share of tags that send such telegrams.
    pub log_share: f64,
    pub signs: Signs,
    pub words: Words,
    /// log evidence of every start, CRC aside.
    pub starts: Rc<[f64]>,
}

/// The likeliest word, where it starts, and how it is seen.
pub(super) struct Found {
    pub word: u128,
    pub start: usize,
    pub suppositions: Vec<Supposition>,
}

impl Found {
    /// Natural logarithm of the probability of a word.
    pub fn log_word(&self, word: u128) -> f64 {
        log_word(&self.suppositions, word)
    }

    /// The likeliest trailer, and the probability that all of it is right.
    pub fn trailer(&self) -> (u32, f64) {
        let likeliest = self.suppositions.iter().max_by(|a, b| {
            let log = |one: &Supposition| one.log_share + one.words.log(self.word);
            log(a).total_cmp(&log(b))
        });
        likeliest.map_or((0, 0.0), |view| view.signs.trailer(self.word))
    }

    /// Sign of every boundary sum, the trailer's by the likeliest trailer.
    pub fn signs_of(&self, boundaries: &Boundaries) -> [i8; TELEGRAM_BITS] {
        let telegram = Telegram {
            code: code_of(self.word),
            trailer: self.trailer().0,
        };
        let first = if self.word & 1 == 1 { -1 } else { 1 };
        let along = linecode::boundary_signs(&telegram.bits(), first);
        let mut signs = [0; TELEGRAM_BITS];
        for (j, &sign) in along[..TELEGRAM_BITS].iter().enumerate() {
            let index = self.start + j;
            let inverted = index >= TELEGRAM_BITS && boundaries.inverts;
            signs[index % TELEGRAM_BITS] = if inverted { -sign } else { sign };
        }
        signs
    }
}

fn log_word(suppositions: &[Supposition], word: u128) -> f64 {
    log_sum(
        suppositions
            .iter()
            .map(|view| view.log_share + view.words.log(word)),
    )
}

/// The likeliest word over the likeliest starts, for a ripple of this amplitude.
pub(super) fn likeliest_word(boundaries: &Boundaries, amplitude: f64) -> Option<Found> {
    let llr = boundaries.llr(amplitude);
    let overlaps = boundaries.overlaps(amplitude);
    let weights = Weights::of(&llr, &overlaps);
    let codes: Vec<(&'static Code, f64, Rc<[f64]>)> = boundaries
        .known
        .codes()
        .into_iter()
        .map(|(code, log_share)| {
            let starts = log_of_starts(code, &weights, boundaries.inverts);
            (code, log_share, Rc::from(starts))
        })
        .collect();
    let starts: Vec<f64> = (0..TELEGRAM_BITS)
        .map(|start| log_sum(codes.iter().map(|(_, share, starts)| share + starts[start])))
        .collect();
    let mut order: Vec<usize> = (0..TELEGRAM_BITS).collect();
    order.sort_by(|&a, &b| starts[b].total_cmp(&starts[a]));
    let least = starts[order[0]] + START_SHARE.ln();
    let mut best: Option<(f64, Found)> = None;
    for &start in order
        .iter()
        .take(STARTS)
        .filter(|&&start| starts[start] >= least)
    {
        if best
            .as_ref()
            .is_some_and(|(log, _)| starts[start] + OF_ONE_WORD < *log)
        {
            break;
        }
        let suppositions: Vec<Supposition> = codes
            .iter()
            .map(|(code, log_share, starts)| {
                let signs = Signs::rotated(code, &weights, start, boundaries.inverts);
                Supposition {
                    log_share: *log_share,
                    words: Words::of(&signs),
                    signs,
                    starts: Rc::clone(starts),
                }
            })
            .collect();
        let mut best_here: Option<(f64, u128)> = None;
        let rotated = rotate(&llr, start, boundaries.inverts);
        for view in &suppositions {
            let soft = Soft {
                llr: std::array::from_fn(|j| rotated[j]),
                overlap: std::array::from_fn(|j| overlaps[(start + j) % TELEGRAM_BITS]),
                posterior: view.signs.posterior(),
            };
            let code = view.signs.code;
            let words = match code.countries {
                None => WORDS,
                Some(_) => WORDS_OF_ANY_COUNTRY,
            };
            for candidate in ordered_statistics(code, &soft, words) {
                let log = log_word(&suppositions, candidate.word);
                if best_here.is_none_or(|(other, _)| log > other) {
                    best_here = Some((log, candidate.word));
                }
            }
        }
        if let Some((log, word)) = best_here
            && best.as_ref().is_none_or(|(other, _)| log > *other)
        {
            let found = Found {
                word,
                start,
                suppositions,
            };
            best = Some((log, found));
        }
    }
    best.map(|(_, found)| found)
}

/// Values of the 128 boundaries from one of them on, turned where the fold inverts.
pub(super) fn rotate(
    llr: &[f64; TELEGRAM_BITS],
    start: usize,
    inverts: bool,
) -> [f64; TELEGRAM_BITS] {
    std::array::from_fn(|j| {
        let index = start + j;
        let value = llr[index % TELEGRAM_BITS];
        if index >= TELEGRAM_BITS && inverts {
            -value
        } else {
            value
        }
    })
}

/// Logarithm of a sum of numbers given by their logarithms.
pub(super) fn log_sum(values: impl Iterator<Item = f64> + Clone) -> f64 {
    let largest = values.clone().fold(f64::NEG_INFINITY, f64::max);
    if largest == f64::NEG_INFINITY {
        return largest;
    }
    largest
        + values
            .map(|value| (value - largest).exp())
            .sum::<f64>()
            .ln()
}
