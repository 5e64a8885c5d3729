//! Findings about what else is in the air or on the supply.

use super::capture::rounding;
use super::field::{beating_field, field_hum};
use super::ripple::least_depth;
use super::stated::own_line;
use super::telegram_lines::is_of_the_ripple;
use super::{Finding, power_db};
use crate::receiver::survey::{Line, Survey, folded_hz};
use crate::receiver::{Kind, NearField, Reception};

/// Tones weaker than this against the field (−60 dB) are worth a word only where the ripple is as weak.
const LEAST_STRAY: f64 = 1e-3;
/// A tone of a third of the ripple is (−10 dB); a weaker one does little even to a plain reader.
const LEAST_OF_RIPPLE: f64 = 0.32;
/// Beside a ripple that was read, a tone of less than a tenth of it (−20 dB) is worth no word: it does nothing, and what a strong
/// ripple leaves where tags come and go is as strong.
const NOTHING_TO_RIPPLE: f64 = 0.1;

/// Beats slower than this are told as such.
const SLOW_BEAT_HZ: f64 = 200.0;

/// Tones of another reader for animals lie this near: oscillators, not tuned circuits, set a reader's frequency.
const SECOND_READER_HZ: f64 = 5000.0;
/// A reader for 125 kHz tags next to one for 134.2 kHz.
const OTHER_READERS_HZ: std::ops::Range<f64> = 124_500.0..125_500.0;

/// Radio ripple-control transmitters inside the return bands (their operators' pages).
const RIPPLE_CONTROL_HZ: [f64; 3] = [129_100.0, 135_600.0, 139_000.0];
/// Tones this near to one of their centres are part of it.
const TRANSMITTER_HZ: f64 = 450.0;
/// Both humps of the transmitter stand this far above their surroundings (6 dB). The mean of some 12 exponentially
/// distributed powers exceeds 4 times their mean with a probability of 1e-8; both at once, and with three places to look
/// at, rarer than 1e-6.
const HUMP: f64 = 4.0;
/// The two tones are equally strong; random data of a few telegrams' length may favour one by this much.
const UNEVEN: f64 = 0.03;

/// Harmonics of the field that an overdriven stage makes: searched up to this one, or further where samples are clipped.
const FIELD_HARMONICS: u32 = 25;
/// See [`FIELD_HARMONICS`].
const CLIPPED_HARMONICS: u32 = 400;
/// A harmonic's place is known this well, Hz: the field's frequency is, to 0.05 Hz, and tones are found to 1 Hz.
const HARMONIC_HZ: f64 = 4.0;

/// Fundamentals of switching supplies looked for, Hz.
const SUPPLIES_HZ: std::ops::Range<f64> = 15_000.0..400_000.0;
/// A supply's lines agree with multiples of its fundamental this well: 30 Hz of the spectrum's lines, or a share.
const MULTIPLE_HZ: f64 = 40.0;
/// See [`MULTIPLE_HZ`].
const MULTIPLE_SHARE: f64 = 3e-4;
/// Multiples a tone may be.
const HIGHEST_MULTIPLE: u32 = 12;
/// Lines that must agree.
const LEAST_MULTIPLES: usize = 3;
/// Lines of a supply are looked for down to −110 dB of the field, below any ripple.
const SUPPLY_LEVEL: f64 = 3e-6;

/// A beat taken for hum is known this well.
const BEAT_HZ: f64 = 12.0;

/// Bursts and jitter spread a harmonic over so much.
const NEAREST_HZ: f64 = 1500.0;

/// Where the field hums, tones that lie so near to a multiple of the mains beside it are the hum's sidebands, …
const HUM_HZ: f64 = 3.0;
/// … up to this multiple.
const HUM_SIDEBANDS: f64 = 20.5;

/// A line whose mirror image about the field has more than this share of its amplitude (−12 dB) is a sideband of what
/// modulates the field. A supply that moves the level and, later, the phase by half as much makes its sides 1 to 3.
const MIRRORED: f64 = 0.25;

/// A ripple's own lines lie this near to the field.
const RIPPLE_HZ: f64 = 30_000.0;

/// A second field with so many lines is switched, and its edges stand out of the ripple.
const SWITCHED_COMB: usize = 8;

/// `own_lines`: something answers that does not repeat as an animal's tag does, so its own lines look like tones.
pub(super) fn findings(reception: &Reception, odds: f64, own_lines: bool) -> Vec<Finding> {
    let Some(survey) = &reception.survey else {
        return Vec::new();
    };
    let mut found = Vec::new();
    let mut lines = stray_lines(reception, survey);
    if let Some((frequency_hz, level)) = beating_field(reception)
        && lines
            .iter()
            .all(|line| (line.frequency_hz - frequency_hz).abs() > BEAT_HZ)
    {
        lines.push(Line {
            frequency_hz,
            level,
            near: true,
            mirrored: None,
        });
    }
    lines.extend(beside(reception));
    lines.sort_by(|a, b| b.level.total_cmp(&a.level));
    lines.retain(|line| line.mirrored.is_none_or(|share| share < MIRRORED));
    let transmitters = transmitters(survey);
    let supply = supply(reception, &lines);
    let ripple = ripple_db(reception, odds).map_or(f64::INFINITY, |db| 10f64.powf(db / 20.0));
    let mut least = LEAST_STRAY.min(LEAST_OF_RIPPLE * ripple);
    if !reception.readings.is_empty() && ripple.is_finite() {
        least = least.max(NOTHING_TO_RIPPLE * ripple);
    }
    let mut rest: Vec<&Line> = lines
        .iter()
        .filter(|line| line.near && line.level >= least)
        .collect();
    for finding in &transmitters {
        let centre_hz = finding.evidence["frequency_hz"].as_f64().unwrap_or(0.0);
        rest.retain(|line| (line.frequency_hz - centre_hz).abs() > TRANSMITTER_HZ);
    }
    if own_lines {
        let field_hz = reception.field.frequency_hz.unwrap_or(0.0);
        rest.retain(|line| (line.frequency_hz - field_hz).abs() > RIPPLE_HZ);
    }
    if let (Some(hum), Some(field_hz)) = (field_hum(reception), reception.field.frequency_hz) {
        rest.retain(|line| {
            let times = (line.frequency_hz - field_hz) / hum.mains_hz;
            times.abs() > HUM_SIDEBANDS || (times - times.round()).abs() * hum.mains_hz > HUM_HZ
        });
    }
    if let Some((_, fundamental_hz)) = &supply {
        rest.retain(|line| multiple_of(line.frequency_hz, *fundamental_hz).is_none());
        // Bursts and jitter spread a harmonic.
        rest.retain(|line| {
            let nearest = (line.frequency_hz / fundamental_hz).round() * fundamental_hz;
            (line.frequency_hz - nearest).abs() > NEAREST_HZ
        });
    }
    rest.retain(|line| !is_of_the_ripple(line, reception));
    found.extend(transmitters);
    found.extend(supply.map(|(finding, _)| finding));
    if let Some(strongest) = rest.first() {
        found.push(tone(strongest, rest.len(), reception, odds));
    }
    // Cut-off tops jump by a step now and then, which is no spark; nor is another reader's switching.
    if reception.clipped_share().is_none() && rest.len() < SWITCHED_COMB {
        found.extend(super::impulses::findings(survey, reception.field.on.len()));
    }
    found
}

/// Fields so near to the own one that the two beat slowly.
fn beside(reception: &Reception) -> Vec<Line> {
    let (Some(seen), Some(field_hz)) = (&reception.seen, reception.field.frequency_hz) else {
        return Vec::new();
    };
    let line = |near: &NearField| Line {
        frequency_hz: field_hz + near.offset * seen.clock_hz,
        level: near.level,
        near: true,
        mirrored: Some(near.mirrored),
    };
    reception.beside.iter().map(line).collect()
}

/// Tones that are no harmonics of the field, folded or not, and no product of rounding; strongest first.
pub(super) fn stray_lines(reception: &Reception, survey: &Survey) -> Vec<Line> {
    let Some(field_hz) = reception.field.frequency_hz else {
        return Vec::new();
    };
    let clipped = reception.clipped_share().is_some();
    let rounding = rounding(reception);
    let highest = if clipped {
        CLIPPED_HARMONICS
    } else {
        FIELD_HARMONICS
    };
    let rate_hz = reception.rate_hz;
    let harmonic = |line: &Line| {
        if !matches!(reception.kind, Kind::Direct | Kind::Folded) {
            return false;
        }
        let seen_hz = folded_hz(line.frequency_hz, rate_hz);
        let near = if line.near { HARMONIC_HZ } else { 40.0 };
        // The first is the field's own image.
        // Dividers of the field, in the reader or a tag, and their sums with it are multiples of its 32nd part.
        let part_hz = field_hz / 32.0;
        let of_a_part = |hz: f64| (hz / part_hz - (hz / part_hz).round()).abs() * part_hz < near;
        of_a_part(seen_hz)
            || of_a_part(rate_hz - seen_hz)
            || (1..=highest)
                .any(|n| (folded_hz(field_hz * f64::from(n), rate_hz) - seen_hz).abs() < near)
    };
    survey
        .lines
        .iter()
        .filter(|line| own_line(reception, line).is_none())
        // Flattened tops make more than harmonics: what is weak then says nothing.
        .filter(|line| !harmonic(line) && (!clipped || line.level > 0.01) && line.level > rounding)
        .copied()
        .collect()
}

fn tone(line: &Line, tones: usize, reception: &Reception, odds: f64) -> Finding {
    let field_hz = reception.field.frequency_hz.unwrap_or(0.0);
    let offset_hz = line.frequency_hz - field_hz;
    let level_db = 20.0 * line.level.log10();
    let mut evidence = vec![
        ("frequency_hz", line.frequency_hz),
        ("offset_hz", offset_hz),
        ("level_db", level_db),
        ("tones", tones as f64),
    ];
    let mut cost = String::new();
    if let Some(ripple_db) = ripple_db(reception, odds) {
        let over_db = level_db - ripple_db;
        evidence.push(("over_ripple_db", over_db));
        let against = match over_db.round() {
            0.0 => "as strong as".to_string(),
            over if over > 0.0 => format!("{over:.0} dB above"),
            under => format!("{:.0} dB below", under.abs()),
        };
        cost = format!(
            " To a reader that cannot remove it it is {against} the {}.",
            if reception.readings.is_empty() {
                "weakest ripple that could be read here"
            } else {
                "tag's ripple"
            }
        );
    }
    let level = match level_db.round() {
        0.0 => "as strong as it".to_string(),
        level => format!("{level:+.0} dB against it"),
    };
    let place = format!(
        "{:.0} Hz, {offset_hz:+.0} Hz from the field and {level}",
        line.frequency_hz
    );
    if offset_hz.abs() < SECOND_READER_HZ || OTHER_READERS_HZ.contains(&line.frequency_hz) {
        // Faster than this the beat is no beat to look at on a screen.
        let beat = if offset_hz.abs() < SLOW_BEAT_HZ {
            format!(
                " The level beats {:.1} times a second by {:.1} % up and down.",
                offset_hz.abs(),
                100.0 * line.level
            )
        } else {
            String::new()
        };
        return Finding::new(
            "second-reader",
            format!(
                "A second field at {place}: most likely another reader near by.{beat} It was removed before reading here.{cost} Switch it off, \
                 move it away, or let both readers share one clock or take turns."
            ),
            &evidence,
        );
    }
    Finding::new(
        "stray-tone",
        format!(
            "A steady tone at {place} that belongs neither to field nor tag: a transmitter, a charger or a supply. It was removed \
             before reading here.{cost} Switch things off one by one until it goes, or turn the antenna."
        ),
        &evidence,
    )
}

/// Level of the ripple (rms) against the field, or of the weakest that could be read, dB.
fn ripple_db(reception: &Reception, odds: f64) -> Option<f64> {
    if let Some(reading) = reception.readings.first() {
        return Some(20.0 * reading.attempt.depth.max(1e-9).log10());
    }
    least_depth(reception, odds).map(|depth| 20.0 * depth.max(1e-9).log10())
}

fn transmitters(survey: &Survey) -> Vec<Finding> {
    let Some(around) = &survey.around else {
        return Vec::new();
    };
    RIPPLE_CONTROL_HZ
        .iter()
        .map(|&centre_hz| around.hump(centre_hz))
        .filter(|hump| {
            let [low, high] = hump.over;
            low > HUMP && high > HUMP && low.min(high) > UNEVEN * low.max(high)
        })
        .map(|hump| {
            let level_db = power_db(hump.power);
            let over_db = power_db(hump.over[0].min(hump.over[1]));
            Finding::new(
                "in-band-transmitter",
                format!(
                    "A two-tone transmission at {:.1} kHz, {level_db:.0} dB against the field and {over_db:.0} dB above the noise beside it: a \
                     long-wave transmitter of radio ripple control, inside the band of the tag's answer. It cannot be switched off: \
                     turn the antenna until it is weakest, or shield it.",
                    hump.centre_hz / 1e3
                ),
                &[
                    ("frequency_hz", hump.centre_hz),
                    ("level_db", level_db),
                    ("over_noise_db", over_db),
                ],
            )
        })
        .collect()
}

fn multiple_of(frequency_hz: f64, fundamental_hz: f64) -> Option<u32> {
    let multiple = (frequency_hz / fundamental_hz).round();
    let near = MULTIPLE_HZ.max(MULTIPLE_SHARE * frequency_hz);
    let is = multiple >= 1.0 && (frequency_hz - multiple * fundamental_hz).abs() < near;
    is.then_some(multiple as u32)
}

/// Likely fundamental of several tones: the highest that explains the most of them.
fn supply(reception: &Reception, lines: &[Line]) -> Option<(Finding, f64)> {
    let field_hz = reception.field.frequency_hz?;
    let usable: Vec<&Line> = lines
        .iter()
        .filter(|line| line.level > SUPPLY_LEVEL && (line.frequency_hz - field_hz).abs() > 200.0)
        .take(40)
        .collect();
    let mut best: Option<(usize, f64, f64)> = None;
    for line in &usable {
        for divisor in 1..=HIGHEST_MULTIPLE {
            let fundamental_hz = line.frequency_hz / f64::from(divisor);
            if !SUPPLIES_HZ.contains(&fundamental_hz) {
                continue;
            }
            let mut multiples: Vec<u32> = usable
                .iter()
                .filter_map(|line| multiple_of(line.frequency_hz, fundamental_hz))
                .filter(|&multiple| multiple <= 4 * HIGHEST_MULTIPLE)
                .collect();
            multiples.sort_unstable();
            multiples.dedup();
            let density = multiples.len() as f64 / f64::from(*multiples.last()?);
            // Any three tones are multiples of something small; a supply shows a third of its harmonics at least.
            if multiples.len() < LEAST_MULTIPLES || density < 0.34 {
                continue;
            }
            let better = best.is_none_or(|(count, _, other_hz)| {
                (multiples.len(), fundamental_hz) > (count, other_hz)
            });
            if better {
                best = Some((multiples.len(), density, fundamental_hz));
            }
        }
    }
    let (count, _, fundamental_hz) = best?;
    let nearest = (field_hz / fundamental_hz).round().max(1.0) * fundamental_hz;
    let strongest = usable
        .iter()
        .filter(|line| multiple_of(line.frequency_hz, fundamental_hz).is_some())
        .map(|line| line.level)
        .fold(0.0, f64::max);
    let level_db = 20.0 * strongest.log10();
    let at_field = usable
        .iter()
        .filter(|line| (line.frequency_hz - nearest).abs() < NEAREST_HZ)
        .map(|line| line.level)
        .fold(0.0, f64::max);
    let its_level_db = 20.0 * at_field.log10();
    let its_level = match at_field > 0.0 {
        true => format!(", at {its_level_db:.0} dB,"),
        false => String::new(),
    };
    let mut evidence = vec![
        ("fundamental_hz", fundamental_hz),
        ("harmonics", count as f64),
        ("level_db", level_db),
        ("nearest_hz", nearest),
    ];
    if at_field > 0.0 {
        evidence.push(("nearest_level_db", its_level_db));
    }
    let finding = Finding::new(
        "supply-harmonics",
        format!(
            "{count} tones are multiples of {:.2} kHz, the strongest {level_db:.0} dB against the field: a switching supply. Its harmonic at \
             {:.1} kHz{its_level} lies {:.1} kHz from the field. Run reader and instrument from a battery or a linear supply, switch off \
             chargers and lamps one by one, and look which makes the tones go.",
            fundamental_hz / 1e3,
            nearest / 1e3,
            (nearest - field_hz).abs() / 1e3
        ),
        &evidence,
    );
    Some((finding, fundamental_hz))
}
