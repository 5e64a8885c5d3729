//! A telegram that is broken on purpose: what is worked out beforehand, for one flipped bit at a time.

use serde_json::{Value, json};

use super::known;
use crate::lesson::LessonError;
use crate::lesson::settings::{Settings, typed};
use crate::play::{BrokenQuestion, CaptureQuestion, Question};

/// Eb/N0 after adding up telegrams: barely enough for a number, and plenty.
const LEVELS_DB: [f64; 3] = [4.0, 8.0, 14.0];
/// With the program's code in the page.
const LIVE_LEVELS_DB: std::ops::RangeInclusive<i32> = 0..=20;

/// Checks and decisions for every flipped bit and for half a bit of shift, and what was read in captures with a second transponder and a second
/// reader.
pub(super) fn data(settings: &Settings) -> Result<Value, LessonError> {
    let bits: Vec<char> = settings
        .telegram()
        .bits()
        .iter()
        .map(|&bit| if bit { '1' } else { '0' })
        .collect();
    let whole: String = bits.iter().collect();
    let second = typed(&settings.neighbour());
    let mut questions = Vec::new();
    for ebn0_db in LEVELS_DB {
        let broken = |bits: String, shifted: bool| {
            Question::Broken(BrokenQuestion {
                bits,
                shifted,
                ebn0_db,
            })
        };
        questions.push(broken(whole.clone(), false));
        questions.push(broken(whole.clone(), true));
        questions.extend((0..bits.len()).map(|place| {
            let mut flipped = bits.clone();
            flipped[place] = if bits[place] == '1' { '0' } else { '1' };
            broken(flipped.into_iter().collect(), false)
        }));
        for (shifted, tag, reader) in [
            (false, false, false),
            (true, false, false),
            (false, true, false),
            (false, false, true),
            (false, true, true),
        ] {
            questions.push(Question::Capture(CaptureQuestion {
                bits: whole.clone(),
                shifted,
                ebn0_db,
                depth: settings.depth,
                seed: settings.seed,
                tag: if tag { second.clone() } else { String::new() },
                reader,
            }));
        }
    }
    Ok(json!({
        "bits": whole,
        "id": settings.identity.to_string(),
        "second": second,
        "depth": settings.depth,
        "seed": settings.seed,
        "levels": LEVELS_DB,
        "live_levels": LIVE_LEVELS_DB.collect::<Vec<i32>>(),
        "known": known(questions)?,
    }))
}
