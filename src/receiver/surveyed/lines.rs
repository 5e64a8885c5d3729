//! Steady tones in all of the capture: what a switching supply or another transmitter leaves far from the field too.

use std::cmp::Ordering;

use super::super::reception::Reception;
use super::super::seen::Seen;
use super::super::signal::Kind;
use super::super::survey::Line;
use crate::receiver::dsp::tones::Spectrum;
use crate::receiver::field::interference::measure;
use crate::receiver::field::pieces::Piece;

/// Tones nearer to the field than this are the ripple's own lines, or found more finely between them.
const NEAR_FIELD_HZ: f64 = 16_000.0;

/// Farther from the field the values, one a cycle, cannot tell a tone from its mirror image at their rate.
const BESIDE_HZ: f64 = 45_000.0;

/// A tone as strong as this beside the field is another reader's field, removed before anything else: a ripple's own lines
/// are weaker.
const ANOTHER_FIELD: f64 = 0.15;
/// Nearer to the field than this the window's main lobe does not part two tones of a coarse spectrum.
const APART_HZ: f64 = 60.0;

/// Half width of the window's main lobe, lines: nearer to the field its skirts pass for a tone.
const MAIN_LOBE: f64 = 4.0;

/// Tones asked for; a supply in bursts has many around each harmonic.
const MOST: usize = 256;

/// Of tones nearer to each other than this the strongest stands for all.
const CLUSTER_HZ: f64 = 1500.0;

/// Amplitude on the other side of the field, relative to a tone's own; `None` where the field's skirts hide either.
fn mirrored(seen: &Seen, piece: &Piece, per_value: f64) -> Option<f64> {
    let values = seen.over(piece);
    let own = piece.field.frequency_hz / seen.clock_hz - 1.0;
    let apart = (per_value - own).abs() * values.len() as f64;
    (apart > MAIN_LOBE).then(|| {
        let [there, here] =
            [2.0 * own - per_value, per_value].map(|place| measure(values, place).amplitude.norm());
        there / here.max(f64::MIN_POSITIVE)
    })
}

/// Whether samples of that rate hold a frequency at all; beyond, the values, one a cycle, show what their making left.
fn is_held(frequency_hz: f64, reception: &Reception) -> bool {
    let middle_hz = match reception.kind {
        Kind::Iq => reception.doubts.centre_hz,
        Kind::Direct => Some(0.0),
        _ => None,
    };
    middle_hz.is_none_or(|middle_hz| (frequency_hz - middle_hz).abs() < 0.5 * reception.rate_hz)
}

/// Tones of the whole capture and those found beside the field, strongest first. Directly sampled carriers only: what
/// folds has no frequency of its own to compare.
pub fn lines(spectrum: Option<&Spectrum>, reception: &Reception) -> Vec<Line> {
    let (Some(seen), Some(field_hz), Some(amplitude)) = (
        &reception.seen,
        reception.field.frequency_hz,
        reception.field.amplitude,
    ) else {
        return Vec::new();
    };
    if amplitude <= 0.0 {
        return Vec::new();
    }
    let mut found: Vec<Line> = Vec::new();
    for piece in &seen.pieces {
        for tone in &piece.tones {
            let frequency_hz = seen.clock_hz * (1.0 + tone.per_value);
            if (tone.per_value * seen.clock_hz).abs() > BESIDE_HZ
                || !is_held(frequency_hz, reception)
            {
                continue;
            }
            found.push(Line {
                // The values turn with the clock, whatever the field does against it.
                frequency_hz,
                level: tone.amplitude.norm() / piece.field.amplitude.max(f64::MIN_POSITIVE),
                near: true,
                mirrored: mirrored(seen, piece, tone.per_value),
            });
        }
    }
    if reception.kind == Kind::Iq {
        found.extend(reception.other_fields.iter().map(|other| Line {
            frequency_hz: other.frequency_hz,
            level: other.level,
            near: true,
            mirrored: None,
        }));
    }
    if reception.kind == Kind::Direct
        && let Some(spectrum) = spectrum
    {
        for tone in spectrum.tones(MOST) {
            let frequency_hz = tone.per_sample * reception.rate_hz;
            let level = tone.amplitude / amplitude;
            let offset_hz = (frequency_hz - field_hz).abs();
            // A switched field has strong lines of its own at multiples of its pulse rate.
            let steady = reception.field.on.len() <= 1;
            let another_field =
                steady && (APART_HZ..BESIDE_HZ).contains(&offset_hz) && level > ANOTHER_FIELD;
            if offset_hz > NEAR_FIELD_HZ || another_field {
                found.push(Line {
                    frequency_hz,
                    level,
                    near: another_field,
                    mirrored: None,
                });
            }
        }
    }
    // What was found finely beside the field stands for what the coarse spectrum shows of it.
    found.sort_by(|a, b| {
        (b.near, b.level)
            .partial_cmp(&(a.near, a.level))
            .unwrap_or(Ordering::Equal)
    });
    let mut kept: Vec<Line> = Vec::new();
    for line in found {
        let reach = if line.near { 5.0 } else { CLUSTER_HZ };
        if kept
            .iter()
            .all(|other| (other.frequency_hz - line.frequency_hz).abs() > reach)
        {
            kept.push(line);
        }
    }
    kept.sort_by(|a, b| b.level.total_cmp(&a.level));
    kept
}
