//! A weak capture: what is worked out beforehand, for two levels of noise.

use serde_json::{Value, json};

use super::known;
use crate::lesson::LessonError;
use crate::lesson::settings::{Settings, typed};
use crate::linecode::boundary_signs;
use crate::play::{FOLDING_PER_BIT, FoldingQuestion, Question};
use crate::telegram::Identity;

/// Telegrams in each capture.
const TELEGRAMS: usize = 12;
/// Eb/N0 of one telegram: the second capture is read after about seven, the first one would take forty.
const LEVELS_DB: [f64; 2] = [-12.0, -4.0];
/// With the program's code in the page.
const LIVE_LEVELS_DB: std::ops::RangeInclusive<i32> = -14..=2;
/// Telegrams then.
const LIVE_TELEGRAMS: usize = 24;

/// Both captures.
pub(super) fn data(settings: &Settings) -> Result<Value, LessonError> {
    let of = |ebn0_db: f64, telegrams: usize| FoldingQuestion {
        number: typed(&settings.identity),
        depth: settings.depth,
        seed: settings.seed,
        ebn0_db,
        telegrams,
    };
    let questions = LEVELS_DB.into_iter().flat_map(|ebn0_db| {
        let said = (1..=TELEGRAMS).map(move |telegrams| Question::Folding(of(ebn0_db, telegrams)));
        said.chain([Question::FoldingWaves(of(ebn0_db, TELEGRAMS))])
    });
    let telegram = of(LEVELS_DB[0], TELEGRAMS).telegram()?;
    let signs: String = boundary_signs(&telegram.bits(), 1)
        .iter()
        .map(|&sign| if sign > 0 { '+' } else { '-' })
        .collect();
    Ok(json!({
        "id": Identity::from_code(telegram.code).to_string(),
        "number": typed(&settings.identity),
        "depth": settings.depth,
        "seed": settings.seed,
        "telegrams": TELEGRAMS,
        "live_telegrams": LIVE_TELEGRAMS,
        "levels": LEVELS_DB,
        "live_levels": LIVE_LEVELS_DB.collect::<Vec<i32>>(),
        "per_bit": FOLDING_PER_BIT,
        "bits": telegram.bits().len(),
        "signs": signs,
        "known": known(questions)?,
    }))
}
