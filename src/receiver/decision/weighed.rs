//! A word against all other words: how likely it is wrong.

use super::boundaries::Boundaries;
use super::code::Code;
use super::search::{Found, Supposition, log_sum};
use super::signs::{Signs, Weights};
use super::words::Words;
use crate::telegram::TELEGRAM_BITS;

/// Smallest odds stated: below it rounding, and everything outside the model, counts for more than the sum.
pub const ODDS_FLOOR: f64 = 1e-12;

/// Starts that are this likely against the one found, the CRC aside, are summed over with it.
const LIKELY_START: f64 = 1e-3;
/// … but no more of them: where many are, none is.
const MOST_LIKELY_STARTS: usize = 3;

/// A word this much less likely (natural logarithm) than all words, of which one in 2^16 has a right CRC by chance, is wrong all the
/// same: no exact sum is needed to say so.
const HOPELESS: f64 = -4.0;
/// … and where it is less likely than all others together, those that begin elsewhere need none.
const DOUBTFUL: f64 = -std::f64::consts::LN_2;

/// The evidence of all words, under each supposition of what tags send. Logarithms are natural.
pub(super) struct Evidence<'a>(Vec<Supposed<'a>>);

/// One supposition: its words, the share of tags that send such telegrams, and all words' evidence with those signs.
struct Supposed<'a> {
    code: &'static Code,
    words: &'a Words,
    log_share: f64,
    log_total: f64,
}

impl<'a> Evidence<'a> {
    pub fn of(found: &'a Found, boundaries: &Boundaries, amplitude: f64) -> Self {
        let weights = Weights::of(&boundaries.llr(amplitude), &boundaries.overlaps(amplitude));
        let weighed = |supposed: &'a Supposition| Supposed {
            code: supposed.signs.code,
            words: &supposed.words,
            log_share: supposed.log_share,
            log_total: log_total(supposed, found, &weights, boundaries.inverts),
        };
        Self(found.suppositions.iter().map(weighed).collect())
    }

    /// Of all words together.
    pub fn log_total(&self) -> f64 {
        log_sum(self.0.iter().map(|one| one.log_share + one.log_total))
    }

    /// Probability that the word is wrong; at least [`ODDS_FLOOR`].
    pub fn odds_wrong(&self, found: &Found) -> f64 {
        odds(found.log_word(found.word), self.log_total())
    }

    /// The same with nothing taken as known.
    pub fn odds_unaided(&self, found: &Found) -> f64 {
        let unaided = self.0.iter().find(|one| one.code.countries.is_none());
        unaided.map_or(1.0, |one| odds(one.words.log(found.word), one.log_total))
    }
}

fn odds(log_word: f64, log_total: f64) -> f64 {
    (-(log_word - log_total).min(0.0).exp_m1()).max(ODDS_FLOOR)
}

/// All words' evidence under a supposition, as exactly as the word found needs it to be judged.
fn log_total(supposed: &Supposition, found: &Found, weights: &Weights, inverts: bool) -> f64 {
    let log_word = supposed.words.log(found.word);
    let by_chance = log_sum(supposed.starts.iter().copied());
    if log_word < by_chance + HOPELESS {
        return log_sum([log_word, by_chance].into_iter());
    }
    let exact = supposed.signs.log_exact();
    let with_exact = |(start, &log): (usize, &f64)| if start == found.start { exact } else { log };
    let with_others = log_sum(supposed.starts.iter().enumerate().map(with_exact));
    if log_word < with_others + DOUBTFUL {
        return log_sum([log_word, with_others].into_iter());
    }
    let likely = other_likely_starts(supposed, found, exact);
    let of_start = |(start, &log): (usize, &f64)| {
        if start == found.start {
            exact
        } else if likely.contains(&start) {
            Signs::rotated(supposed.signs.code, weights, start, inverts).log_exact()
        } else {
            log
        }
    };
    log_sum(
        supposed
            .starts
            .iter()
            .enumerate()
            .map(of_start)
            .collect::<Vec<f64>>()
            .into_iter(),
    )
}

/// At other starts the CRC holds for one in 2^16 of their words as if drawn at random, but where one may hold the right word:
/// those, likeliest first.
fn other_likely_starts(supposed: &Supposition, found: &Found, exact: f64) -> Vec<usize> {
    let likely = exact.max(supposed.starts[found.start]) + LIKELY_START.ln();
    let mut starts: Vec<usize> = (0..TELEGRAM_BITS)
        .filter(|&start| start != found.start && supposed.starts[start] >= likely)
        .collect();
    starts.sort_by(|&a, &b| supposed.starts[b].total_cmp(&supposed.starts[a]));
    starts.truncate(MOST_LIKELY_STARTS);
    starts
}
