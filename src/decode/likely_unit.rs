//! The unit of a time column that states none, or none that can be, by where the field then lies.

use crate::capture::{Layout, RateOrigin, TimeColumn};
use crate::receiver::{LEAST_RATE_HZ, NOMINAL_HZ, Samples, spectrum};

/// No digitiser met on a bench samples faster.
const MOST_RATE_HZ: f64 = 10e9;

/// The strongest tone must stand out of its surroundings like a field (25 dB), and lie at most this far off 134.2 kHz: ten
/// times what a reader may.
const FIELD_ABOVE: f64 = 300.0;
const FIELD_OFF: f64 = 0.01;

/// A rate out of columns or settings of text or arrays that no capture of a tag has, or that of a column that counts: it may be
/// the time in steps of one.
pub(super) fn doubtful(layout: &Layout) -> Option<f64> {
    let columns = layout.columns.as_ref()?;
    match (layout.rate_hz, layout.rate_origin) {
        (Some(_), Some(RateOrigin::Given)) => None,
        (Some(rate_hz), _) => {
            Some(rate_hz).filter(|rate_hz| !(LEAST_RATE_HZ..=MOST_RATE_HZ).contains(rate_hz))
        }
        (None, _) => columns.time.as_ref().map(|_| 1.0),
    }
}

/// Units with their factors to what was taken as seconds.
const UNITS: [(f64, &str); 5] = [
    (1e3, "milli"),
    (1e6, "micro"),
    (1e9, "nano"),
    (1e12, "pico"),
    (1e-3, "kilo"),
];

/// What a rate must have been meant to be.
pub(super) struct Likely {
    pub rate_hz: f64,
    /// The column of the time in its right unit, where there is one.
    pub time: Option<TimeColumn>,
    /// The remark that says so.
    pub remark: String,
}

/// The rate at which the strongest tone of a channel is a field. `channels` are the first samples of each.
pub(super) fn by_field(layout: &Layout, rate_hz: f64, channels: &[Vec<f32>]) -> Option<Likely> {
    let time = layout.columns.as_ref()?.time.as_ref();
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
            let field = format!(
                "because the strongest tone then is a field of {:.1} kHz",
                1e-3 * tone.per_sample * rate_hz * factor
            );
            let right = super::taken::per_second(rate_hz * factor);
            let Some(time) = time.filter(|_| layout.rate_origin != Some(RateOrigin::File)) else {
                let wrong = super::taken::per_second(rate_hz);
                let remark = format!("The file's settings say {wrong}; taken as {right}, {field}.");
                return Some(Likely {
                    rate_hz: rate_hz * factor,
                    time: None,
                    remark,
                });
            };
            let meant = TimeColumn {
                unit_s: time.unit_s / factor,
                ..time.clone()
            };
            let said = match (time.unit_guessed, layout.rate_hz) {
                (true, None) => "counts without a unit".to_owned(),
                (true, Some(_)) => format!(
                    "has no unit, which makes {} in seconds",
                    super::taken::per_second(rate_hz)
                ),
                (false, _) => format!(
                    "is said to be in {}, which makes {}",
                    time.unit(),
                    super::taken::per_second(rate_hz)
                ),
            };
            let remark = format!(
                "The time in column {} {said}; taken as {}, {right}, {field}.",
                time.column,
                meant.unit()
            );
            return Some(Likely {
                rate_hz: rate_hz * factor,
                time: Some(meant),
                remark,
            });
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
