//! The unit of a time column that states none, or none that can be, by where the field then lies.

use crate::capture::{Layout, RateOrigin};
use crate::receiver::{LEAST_RATE_HZ, NOMINAL_HZ, Samples, spectrum};

/// No digitiser met on a bench samples faster.
const MOST_RATE_HZ: f64 = 10e9;

/// The strongest tone must stand out of its surroundings like a field (25 dB), and lie at most this far off 134.2 kHz: ten
/// times what a reader may.
const FIELD_ABOVE: f64 = 300.0;
const FIELD_OFF: f64 = 0.01;

/// A rate out of a time column that no capture of a tag has.
pub(super) fn is_doubtful(layout: &Layout, rate_hz: f64) -> bool {
    layout.rate_origin == Some(RateOrigin::TimeColumn)
        && !(LEAST_RATE_HZ..=MOST_RATE_HZ).contains(&rate_hz)
}

/// Units with their factors to what was taken as seconds.
const UNITS: [(f64, &str); 5] = [
    (1e3, "milli"),
    (1e6, "micro"),
    (1e9, "nano"),
    (1e12, "pico"),
    (1e-3, "kilo"),
];

/// The rate at which the strongest tone of a channel is a field, and the remark that says so. `channels` are the first
/// samples of each.
pub(super) fn by_field(
    layout: &Layout,
    rate_hz: f64,
    channels: &[Vec<f32>],
) -> Option<(f64, String)> {
    let time = layout.columns.as_ref()?.time.as_ref()?;
    for samples in channels {
        let Some(tone) = spectrum(Samples::Real(samples)).and_then(|s| s.tones(1).first().copied())
        else {
            continue;
        };
        let fits = |factor: f64| {
            let field_hz = tone.per_sample * rate_hz * factor;
            (field_hz / NOMINAL_HZ - 1.0).abs() < FIELD_OFF
        };
        if tone.above_floor < FIELD_ABOVE {
            continue;
        }
        if let Some((factor, _)) = UNITS.into_iter().find(|unit| fits(unit.0)) {
            let meant = crate::capture::TimeColumn {
                unit_s: time.unit_s / factor,
                ..time.clone()
            };
            let said = if time.unit_guessed {
                "has no unit"
            } else {
                "is said to be in"
            };
            let said = if time.unit_guessed {
                said.to_string()
            } else {
                format!("{said} {}", time.unit())
            };
            let remark = format!(
                "The time in column {} {said}, which makes {}; taken as {}, {}, because the strongest tone then is a field of {:.1} kHz.",
                time.column,
                super::taken::per_second(rate_hz),
                meant.unit(),
                super::taken::per_second(rate_hz * factor),
                1e-3 * tone.per_sample * rate_hz * factor
            );
            return Some((rate_hz * factor, remark));
        }
    }
    None
}

/// What the rate would be with the next likely unit, in words, where one makes a rate that digitisers have.
pub(super) fn guess(rate_hz: f64) -> Option<String> {
    let usual = 20e3..=100e6;
    let unit = UNITS
        .into_iter()
        .take(3)
        .find(|unit| usual.contains(&(rate_hz * unit.0)))?;
    Some(format!(
        "in {}seconds it would be {}",
        unit.1,
        super::taken::per_second(rate_hz * unit.0)
    ))
}
