//! What chapters may quote: figures of the example, its telegram and its captures, by name.

use std::collections::BTreeMap;

use serde_json::json;

use super::division::divide;
use super::long_division::FIRST;
use super::plan::LessonPlan;
use super::settings::{Settings, typed};
use super::stepper::halves;
use super::steps::steps;
use super::taken::Taken;
use crate::page::{CAUTIONS, groups};
use crate::play::{READ_ODDS, odds_words};
use crate::receiver::{BIT, NOMINAL_HZ, TELEGRAM, needed_db};
use crate::telegram::{HALF_DUPLEX_HEADER, Telegram};
use crate::world::link::needed_ebn0_db;

/// All of it, as the chapters' templates take it.
pub fn values(
    settings: &Settings,
    plan: &LessonPlan,
    taken: &BTreeMap<String, Taken>,
    bench: serde_json::Value,
) -> serde_json::Value {
    let telegram = settings.telegram();
    let bits = telegram.bits();
    let digits: String = bits
        .iter()
        .map(|&bit| if bit { '1' } else { '0' })
        .collect();
    let ones = bits.iter().filter(|&&bit| bit).count();
    let division = divide(&telegram);
    let captures: serde_json::Map<String, serde_json::Value> = taken
        .iter()
        .map(|(name, taken)| (name.replace('-', "_"), taken.values()))
        .collect();
    let odds: Vec<serde_json::Value> = [1e-3, 1e-4, 1e-5, 1e-6]
        .into_iter()
        .map(|odds| json!({"odds": odds_words(odds), "needed_db": needed_db(odds)}))
        .collect();
    let stops = |key: &str, axis: usize| -> Vec<String> {
        let explorer = plan.explorers.iter().find(|explorer| explorer.key == key);
        explorer.map_or(Vec::new(), |explorer| explorer.axes[axis].stops.clone())
    };
    let lengths: Vec<String> = stops("noise", 1)
        .iter()
        .map(|stop| stop.split(',').next().unwrap_or_default().to_string())
        .collect();
    let angle_deg = taken
        .get("field")
        .and_then(|taken| taken.decoded["readings"][0]["angle_deg"].as_f64());
    let counts: serde_json::Map<String, serde_json::Value> = plan
        .explorers
        .iter()
        .map(|explorer| {
            let read = explorer
                .positions
                .iter()
                .filter(|(_, name)| {
                    let taken = taken.get(name);
                    taken.is_some_and(|taken| !taken.numbers().is_empty())
                })
                .count();
            let all = explorer.positions.len();
            (explorer.key.into(), json!({"read": read, "all": all}))
        })
        .collect();
    json!({
        "hdx": half_duplex(settings, taken),
        "counts": counts,
        "levels": stops("noise", 0),
        "lengths": lengths,
        "second_offsets": stops("second", 0),
        "second_levels": stops("second", 1),
        "two_levels": stops("two", 0),
        "half_bits": halves(&steps(&telegram)[20..29]),
        // The field fills eight divisions from peak to peak; its upper edge moves by twice the ripple's part along it.
        "divisions": angle_deg.map(|deg| 8.0 * settings.depth * deg.to_radians().cos()),
        "angle_cosine": angle_deg.map(|deg| deg.to_radians().cos()),
        "cautions": CAUTIONS,
        "id": settings.identity.to_string(),
        "typed": typed(&settings.identity),
        "other_id": settings.neighbour().to_string(),
        "country": settings.identity.country,
        "national": settings.identity.national,
        "seed": settings.seed,
        "depth_percent": 100.0 * settings.depth,
        "rate_hz": settings.rate_hz,
        "field_hz": NOMINAL_HZ,
        "bit_us": 1e6 * BIT as f64 / NOMINAL_HZ,
        "bit_rate": NOMINAL_HZ / BIT as f64,
        "telegram_ms": 1e3 * TELEGRAM as f64 / NOMINAL_HZ,
        "cycles": TELEGRAM,
        "t": {
            "code_hex": format!("{:016X}", telegram.code),
            "crc_hex": format!("{:04X}", telegram.crc()),
            "bits": digits,
            "ones": ones,
            "odd": ones % 2 == 1,
            "groups": groups(&telegram),
        },
        "division": {
            "dividend": lines_of_eights(&division.dividend),
            "steps": division.steps.len(),
            "crc_hex": format!("{:04X}", division.crc()),
            "remainder": division.remainder,
            "first": FIRST,
            "reversed": division.remainder.chars().rev().collect::<String>(),
        },
        "odds": odds,
        "link_needed_db": needed_ebn0_db(READ_ODDS),
        "bench": bench,
        "c": captures,
    })
}

/// Digits eight by eight, four such groups a line: as many as a phone holds.
fn lines_of_eights(digits: &str) -> Vec<String> {
    let digits: Vec<char> = digits.chars().collect();
    digits
        .chunks(32)
        .map(|line| {
            let groups: Vec<String> = line.chunks(8).map(|eight| eight.iter().collect()).collect();
            groups.join(" ")
        })
        .collect()
}

/// The half-duplex telegram of the example's neighbour, and what was measured of it.
fn half_duplex(settings: &Settings, taken: &BTreeMap<String, Taken>) -> serde_json::Value {
    let bits = Telegram::new(settings.neighbour().code()).half_duplex_bits();
    let ones = bits.iter().filter(|&&bit| bit).count();
    // ISO 11785: sixteen cycles a bit of the nominal tones.
    let (zero_us, one_us) = (16e6 / 134_200.0, 16e6 / 124_200.0);
    let header: String = HALF_DUPLEX_HEADER
        .iter()
        .map(|&bit| if bit { '1' } else { '0' })
        .collect();
    let reading = taken.get("hdx").and_then(|taken| {
        let mut readings = taken.decoded["readings"].as_array()?.iter();
        readings.find(|reading| reading["kind"] == "hdx").cloned()
    });
    let measured = |key: &str| reading.as_ref().map(|reading| reading[key].clone());
    json!({
        "bits": bits.len(),
        "ones": ones,
        "header": header,
        "zero_us": zero_us,
        "one_us": one_us,
        "telegram_ms": 1e-3 * (ones as f64 * one_us + (bits.len() - ones) as f64 * zero_us),
        "zero_hz": measured("zero_hz"),
        "one_hz": measured("one_hz"),
        "delay_s": measured("delay_s"),
        "level_db": measured("level_db"),
    })
}
