//! What the program's decision makes of a telegram that is broken on purpose.

use serde_json::{Value, json};

use super::super::settings::{Settings, typed};
use super::super::taken::{Taken, odds_words};
use crate::linecode::{boundary_signs, load_states};
use crate::receiver::decision::{Boundaries, Known, decide};
use crate::receiver::fits_noise;
use crate::telegram::{Identity, TELEGRAM_BITS};

/// Eb/N0 after adding up telegrams: barely enough for a number, and plenty.
const LEVELS_DB: [f64; 3] = [4.0, 8.0, 14.0];
/// Odds at which a number counts as read.
const READ_ODDS: f64 = 1e-5;

/// Decisions for every flipped bit and for half a bit of shift, and what was read in captures with a second tag and a second reader.
pub(super) fn data<'a>(settings: &Settings, taken: impl Fn(&str) -> Option<&'a Taken>) -> Value {
    let telegram = settings.telegram();
    let bits = telegram.bits();
    let text: String = bits
        .iter()
        .map(|&bit| if bit { '1' } else { '0' })
        .collect();
    let whole = |bits: &[bool]| -> Vec<f64> {
        let signs = boundary_signs(bits, 1);
        signs.iter().map(|&sign| f64::from(sign)).collect()
    };
    let levels: Vec<Value> = LEVELS_DB
        .iter()
        .map(|&level_db| {
            let flips: Vec<Value> = (0..TELEGRAM_BITS)
                .map(|place| {
                    let mut broken = bits;
                    broken[place] = !broken[place];
                    decided(&whole(&broken), level_db)
                })
                .collect();
            // Half a bit off, the steps are those in the middle of the bits: none where a bit is 1.
            let halves = load_states(&bits, 1);
            let shifted: Vec<f64> = halves
                .chunks(2)
                .map(|half| 0.5 * f64::from(half[1] - half[0]))
                .collect();
            json!({
                "ebn0_db": level_db,
                "whole": decided(&whole(&bits), level_db),
                "flips": flips,
                "shifted": decided(&shifted, level_db),
            })
        })
        .collect();
    let story = |name: &str| {
        taken(name).map(|taken| {
            json!({
                "command": taken.recipe.synth_command(),
                "outcome": taken.outcome(),
                "numbers": taken.numbers(),
            })
        })
    };
    json!({
        "bits": text,
        "id": settings.identity.to_string(),
        "typed": typed(&settings.identity),
        "levels": levels,
        "tag": story("two-2"),
        "reader": story("second-1-1"),
    })
}

/// What is decided from these steps at the boundaries, as noise of that level leaves them on average.
fn decided(steps: &[f64], level_db: f64) -> Value {
    let ratio = 10f64.powf(level_db / 10.0);
    let boundaries = Boundaries {
        sums: std::array::from_fn(|place| steps[place]),
        energies: [1.0; TELEGRAM_BITS],
        overlap: 0.0,
        // γ = a²/(2·variance) with an amplitude of 1.
        noise_var: 0.5 / ratio,
        inverts: steps_invert(steps),
        amplitude: None,
        known: Known::Nothing,
    };
    match decide(&boundaries) {
        Some(decision) => {
            let fits = fits_noise(decision.misfit);
            json!({
                "id": Identity::from_code(decision.telegram.code).to_string(),
                "odds": decision.odds_wrong,
                "words": odds_words(decision.odds_wrong),
                "fits": fits,
                "contradicted": decision.contradicted,
                "read": fits && decision.odds_wrong <= READ_ODDS,
            })
        }
        None => Value::Null,
    }
}

/// Whether the next telegram begins with the other sign.
fn steps_invert(steps: &[f64]) -> bool {
    // The last bit is a control bit, a 1: it turns the next boundary over.
    steps[TELEGRAM_BITS - 1] * steps[0] > 0.0
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_whole_telegram_is_read_and_a_broken_one_is_not_healed_where_it_is_strong() {
        let settings = Settings::new(1);
        let data = data(&settings, |_| None);
        let levels = data["levels"].as_array().unwrap();
        for level in levels {
            assert_eq!(level["whole"]["id"], settings.identity.to_string());
            assert_eq!(level["shifted"]["read"], false);
        }
        assert_eq!(levels[2]["whole"]["read"], true);
        let flips = levels[2]["flips"].as_array().unwrap();
        assert_eq!(flips.len(), TELEGRAM_BITS);
        for (place, flip) in flips.iter().enumerate().take(101) {
            assert_eq!(flip["read"], false, "{place}: {flip}");
        }
    }
}
