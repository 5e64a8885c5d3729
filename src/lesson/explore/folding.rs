//! Telegrams of a weak capture one by one, and what the program says of the first of them, of the first two, and so on.

use num_complex::Complex64;
use serde_json::{Value, json};

use super::super::settings::Settings;
use super::super::taken::odds_words;
use crate::linecode::boundary_signs;
use crate::receiver::{BIT, Reception, Samples, Signal, TELEGRAM, receive};
use crate::telegram::{Identity, Telegram};
use crate::world::{DirectSignal, SampleForm, noise_sigma};

/// Telegrams in each capture.
const TELEGRAMS: usize = 12;
/// Values a bit: whether a half bit is + or − is seen from two.
const PER_BIT: usize = 4;
/// Eb/N0 of one telegram: the first capture is read after about seven, the second one would take forty.
const LEVELS_DB: [f64; 2] = [-4.0, -12.0];
/// Odds at which a number counts as read.
const READ_ODDS: f64 = 1e-5;
/// Ripple angle of the captures, degrees.
const ANGLE_DEG: f64 = 30.0;

/// The example's number with a trailer that makes the number of ones odd, so that every second telegram is sent inverted. Nothing else
/// can: the CRC's polynomial holds the factor x + 1, so code and CRC have an even number of ones, and header and control bits 14.
fn inverting(settings: &Settings) -> Telegram {
    Telegram {
        trailer: 1,
        ..Telegram::new(settings.identity.code())
    }
}

/// Both captures.
pub(super) fn data(settings: &Settings) -> Value {
    let telegram = inverting(settings);
    let captures: Vec<Value> = LEVELS_DB
        .iter()
        .map(|&level_db| capture(settings, telegram, level_db))
        .collect();
    let signs: String = boundary_signs(&telegram.bits(), 1)
        .iter()
        .map(|&sign| if sign > 0 { '+' } else { '-' })
        .collect();
    json!({
        "id": Identity::from_code(telegram.code).to_string(),
        "telegrams": TELEGRAMS,
        "per_bit": PER_BIT,
        "bits": telegram.bits().len(),
        "signs": signs,
        "captures": captures,
    })
}

fn capture(settings: &Settings, telegram: Telegram, level_db: f64) -> Value {
    let mut signal = DirectSignal::with_tag(settings.identity);
    let per_telegram = TELEGRAM as f64 / signal.field_hz * settings.rate_hz;
    signal.rate_hz = settings.rate_hz;
    signal.samples = (per_telegram * TELEGRAMS as f64).ceil() as u64;
    signal.seed = settings.seed;
    let tag = &mut signal.tags[0];
    tag.telegram = telegram;
    tag.depth = settings.depth;
    tag.angle_deg = ANGLE_DEG;
    tag.start_cycles = 0.0;
    signal.noise_sigma = noise_sigma(
        SampleForm::Real,
        level_db,
        settings.depth * signal.amplitude,
        signal.field_hz,
        signal.rate_hz,
    );
    let samples: Vec<f32> = signal.samples().0.iter().map(|&x| x as f32).collect();
    let read = |telegrams: usize| -> Reception {
        let end = (per_telegram * telegrams as f64).round() as usize;
        let part = Signal {
            samples: Samples::Real(&samples[..end.min(samples.len())]),
            rate_hz: Some(settings.rate_hz),
            centre_hz: 0.0,
            logic: false,
        };
        receive(&part, READ_ODDS)
    };
    let receptions: Vec<Reception> = (1..=TELEGRAMS).map(read).collect();
    let said: Vec<Value> = receptions
        .iter()
        .map(|reception| said(reception, telegram))
        .collect();
    let waves = receptions
        .last()
        .map_or(Vec::new(), |all| waves(all, signal.field_hz));
    json!({ "ebn0_db": level_db, "said": said, "waves": waves })
}

/// What the program says of the telegrams so far: the best number, how likely it is wrong, whether that counts as read.
fn said(reception: &Reception, telegram: Telegram) -> Value {
    let best = reception
        .readings
        .first()
        .map(|reading| &**reading)
        .or(reception.candidate.as_ref());
    match best {
        Some(best) => {
            let decision = &best.attempt.decision;
            json!({
                "read": !reception.readings.is_empty(),
                "odds": decision.odds_wrong,
                "words": odds_words(decision.odds_wrong),
                "id": Identity::from_code(decision.telegram.code).to_string(),
                "right": decision.telegram.code == telegram.code,
            })
        }
        None => json!({ "read": false, "odds": null, "words": null, "id": null, "right": null }),
    }
}

/// The ripple of every telegram along its axis, in units of 1e-5 of the field. Where telegrams begin is known, as the capture was made so.
fn waves(reception: &Reception, field_hz: f64) -> Vec<Vec<i32>> {
    let Some(piece) = reception.seen.as_ref().and_then(|seen| seen.pieces.first()) else {
        return Vec::new();
    };
    let turn = Complex64::cis(-ANGLE_DEG.to_radians());
    let first = (piece.from_s * field_hz).round() as usize;
    let step = BIT / PER_BIT;
    (0..TELEGRAMS)
        .map(|count| {
            (0..TELEGRAM / step)
                .map(|place| {
                    let from = count * TELEGRAM + place * step;
                    let values = (from..from + step)
                        .filter_map(|cycle| piece.ripple.get(cycle.checked_sub(first)?));
                    let (sum, some) = values.fold((0.0, 0.0), |(sum, some), value| {
                        let value = Complex64::new(f64::from(value.re), f64::from(value.im));
                        (sum + (value * turn).re, some + 1.0)
                    });
                    (1e5 * sum / f64::max(some, 1.0)).round() as i32
                })
                .collect()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linecode::load_states;

    /// Folded with every second telegram turned over, the half bits stand where the line code puts them; and the odds fall.
    #[test]
    fn telegrams_lie_where_they_are_said_to() {
        let settings = Settings::new(1);
        let data = data(&settings);
        let telegram = inverting(&settings);
        let states = load_states(&telegram.bits(), 1);
        let waves = data["captures"][0]["waves"].as_array().unwrap();
        assert_eq!(waves.len(), TELEGRAMS);
        let mut along = 0.0;
        for (count, wave) in waves.iter().enumerate() {
            let turned = if count % 2 == 1 { -1.0 } else { 1.0 };
            for (place, value) in wave.as_array().unwrap().iter().enumerate() {
                let state = f64::from(states[place * 2 / PER_BIT]);
                along += turned * state * value.as_f64().unwrap();
            }
        }
        let depth = 1e-5 * along / (TELEGRAMS * 128 * PER_BIT) as f64;
        // 12 telegrams at −4 dB are 6.8 dB folded: the mean over 128 bits strays by 1/√(2·128·4.8), 3 %; the band takes a little off the edges.
        assert!((depth / settings.depth - 1.0).abs() < 0.12, "{depth}");
        let said = data["captures"][0]["said"].as_array().unwrap();
        assert_eq!(said[0]["read"], false);
        assert_eq!(said[TELEGRAMS - 1]["read"], true);
        assert_eq!(said[TELEGRAMS - 1]["right"], true);
        let weak = data["captures"][1]["said"].as_array().unwrap();
        assert!(weak.iter().all(|said| said["read"] == false));
    }
}
