//! The measured evidence of a finding in words, with units.

use serde_json::{Map, Value};

use crate::decode::wording::{rounded, significant};
use crate::number::shown;

/// How the value of a key is written.
#[derive(Clone, Copy)]
enum Unit {
    Hertz,
    Rate,
    Decibel,
    Seconds,
    Milliseconds,
    Share,
    Degrees,
    Radians,
    Cycles,
    Probability,
    Hexadecimal,
    Bare,
}

use Unit::*;

/// Keys of evidence, what they mean and how their values are written.
const WORDS: [(&str, &str, Unit); 102] = [
    ("above_rest_db", "above what is beside it", Decibel),
    ("angle_deg", "ripple angle", Degrees),
    ("answering_share", "share of the time with a ripple", Share),
    ("answers", "answers", Bare),
    ("apart_hz", "distance of the two images", Hertz),
    ("at_s", "at", Seconds),
    ("band_hz", "band that is left", Hertz),
    (
        "bend",
        "bend of the way, half the distance being 100 %",
        Share,
    ),
    ("bend_sd", "its standard deviation", Share),
    ("bit_rate_hz", "bits per second", Hertz),
    ("bits", "bits seen", Bare),
    ("bits_used", "bits of the digitiser in use", Bare),
    ("candidate_id", "number that it would be", Bare),
    ("capacitance_factor", "capacitance times", Bare),
    ("centre_hz", "stated centre", Hertz),
    ("change_hz", "change of the field's frequency", Hertz),
    ("changes", "load changes measured", Bare),
    ("check_needed", "CRC that fits the code", Hexadecimal),
    ("check_sent", "CRC that was sent", Hexadecimal),
    ("clipped_share", "samples cut off", Share),
    ("coherence", "coherence", Share),
    (
        "contradicted_signs",
        "bit boundaries that contradict the number",
        Bare,
    ),
    ("contrast", "contrast of the two frequencies", Share),
    ("corner_hz", "corner frequency", Hertz),
    ("cycles_per_bit", "field cycles a bit", Bare),
    ("data_hex", "bits as hexadecimal", Bare),
    ("delay_ms", "after the field's end", Milliseconds),
    ("depth", "ripple depth", Share),
    ("ebn0_db", "Eb/N0", Decibel),
    ("eighth_hz", "an eighth of the field", Hertz),
    ("expected_bit_errors", "wrong bits to be expected", Bare),
    ("field_by_bits_hz", "field by the tag's bit rate", Hertz),
    ("field_db", "field against the other", Decibel),
    ("field_shift_hz", "its frequency against the other", Hertz),
    ("filled_s", "filled with invented samples", Seconds),
    ("first_s", "first at", Seconds),
    ("fitting_centre_hz", "centre that fits", Hertz),
    ("fitting_rate_hz", "rate that fits", Rate),
    ("folded_db", "Eb/N0 of all telegrams together", Decibel),
    ("frame_samples", "samples in a coded frame", Bare),
    ("frequency_hz", "at", Hertz),
    ("fundamental_hz", "fundamental", Hertz),
    ("gaps", "gaps", Bare),
    ("harmonics", "harmonics", Bare),
    ("highest_hz", "highest frequency", Hertz),
    ("impulses", "impulses", Bare),
    ("jitter_s", "jitter of the sampling", Seconds),
    ("jump_cycles", "jump", Cycles),
    ("jumps", "jumps", Bare),
    ("jumps_cycles", "jumps", Cycles),
    ("kept_share", "share of the ripple that is left", Share),
    ("largest_db", "largest", Decibel),
    (
        "least_on_s",
        "least that carries a telegram's part",
        Seconds,
    ),
    ("least_rate_hz", "least rate", Rate),
    (
        "least_readable_depth",
        "least depth that would be read",
        Share,
    ),
    ("length_factor", "capture longer by the factor", Bare),
    ("level", "level against the field", Share),
    ("level_db", "level against the field", Decibel),
    ("level_swing", "the level strays by", Share),
    ("longest_on_s", "longest stretch of field", Seconds),
    ("loss_db", "ripple lost by it", Decibel),
    ("lowest_hz", "lowest frequency", Hertz),
    ("mains_hz", "mains", Hertz),
    (
        "misfit_probability",
        "probability of so bad a fit by noise",
        Probability,
    ),
    ("missing_db", "missing to a reading", Decibel),
    ("natural_hz", "the antenna resonates at", Hertz),
    ("natural_interval_hz", "known to within (95 %)", Hertz),
    ("nearest_hz", "nearest to the field", Hertz),
    ("nearest_level_db", "the nearest one's level", Decibel),
    (
        "needed_folded_db",
        "Eb/N0 needed, all telegrams together",
        Decibel,
    ),
    ("noise_db", "noise against the other", Decibel),
    ("noise_deviation_db", "its standard deviation", Decibel),
    ("odds_wrong", "probability of a wrong number", Probability),
    ("off_hz", "off by", Hertz),
    ("offset_hz", "from the field", Hertz),
    ("on", "on from and to, s", Bare),
    ("on_s", "on for, all in all", Seconds),
    ("one_hz", "tone of a 1", Hertz),
    ("other_over_limit_db", "the other above its limit", Decibel),
    ("over_noise_db", "above the noise", Decibel),
    ("over_ripple_db", "above the ripple", Decibel),
    ("period_bits", "repeats after, bits", Bare),
    ("period_s", "every", Seconds),
    ("phase_noise_rad", "phase noise", Radians),
    ("pulses", "pulses", Bare),
    ("q", "Q", Bare),
    ("q_interval", "Q known to within (95 %)", Bare),
    ("rate_hz", "sample rate", Rate),
    ("rate_per_s", "impulses a second", Bare),
    (
        "repeating_share",
        "share of the noise that repeats with the telegram",
        Share,
    ),
    ("resonance_offset_hz", "resonance, from the field", Hertz),
    ("restarts", "restarts", Bare),
    ("ripple_db", "ripple against the other", Decibel),
    ("ripple_deviation_db", "its standard deviation", Decibel),
    ("rings", "rings measured", Bare),
    ("scatter", "scatter over the mean", Share),
    ("second_depth", "ripple depth of the second tag", Share),
    (
        "second_odds_wrong",
        "probability that its number is wrong",
        Probability,
    ),
    ("seconds", "within", Seconds),
    ("share", "share of the field's level", Share),
    ("share_at_a_tenth", "bits at the lower frequency", Share),
    ("shown_hz", "the field is seen at", Hertz),
];

/// The same for keys that few findings have.
const MORE_WORDS: [(&str, &str, Unit); 20] = [
    ("pieces", "pieces of the field", Bare),
    ("silences", "silences", Bare),
    ("spare_db", "to spare", Decibel),
    ("start_value", "start value of its CRC", Hexadecimal),
    ("stated_rate_hz", "stated rate", Rate),
    ("step", "step of the digitiser", Bare),
    ("steps", "steps", Bare),
    ("strongest_hz", "strongest at", Hertz),
    ("subcarrier_hz", "subcarrier", Hertz),
    ("tags", "tags", Bare),
    ("tags_at_least", "tags, at least", Bare),
    ("telegrams", "telegrams", Bare),
    ("tenth_hz", "a tenth of the field", Hertz),
    ("times", "times", Bare),
    ("tones", "steady tones", Bare),
    ("turns", "phase turns", Bare),
    (
        "unsteadiness",
        "power varies from bit to bit, against one tag in noise",
        Bare,
    ),
    ("words", "words seen", Bare),
    ("zero_hz", "tone of a 0", Hertz),
    ("false_alarm", "raised by chance, share of captures", Share),
];

/// What is said of a finding's evidence, value by value; the rate of false alarms has a sentence of its own.
pub(super) fn in_words(evidence: &Map<String, Value>) -> Vec<String> {
    let known = |(key, value): (&String, &Value)| {
        let (_, words, unit) = all().find(|(known, ..)| known == key)?;
        (key != "false_alarm" && !value.is_null())
            .then(|| format!("{words} {}", written(value, *unit)))
    };
    evidence.iter().filter_map(known).collect()
}

fn all() -> impl Iterator<Item = &'static (&'static str, &'static str, Unit)> {
    WORDS.iter().chain(&MORE_WORDS)
}

/// A list's values stand behind each other.
fn written(value: &Value, unit: Unit) -> String {
    if let Some(list) = value.as_array() {
        let each: Vec<String> = list.iter().map(|value| written(value, unit)).collect();
        let between = if list.iter().any(Value::is_array) {
            "; "
        } else {
            ", "
        };
        return each.join(between);
    }
    match (value.as_f64(), value.as_str()) {
        (Some(number), _) => number_in(number, unit).replace('-', "−"),
        (None, Some(text)) => text.into(),
        (None, None) => value.to_string(),
    }
}

fn number_in(number: f64, unit: Unit) -> String {
    match unit {
        Hertz if number.abs() >= 1e4 => format!("{} kHz", rounded(1e-3 * number, 5)),
        Hertz => format!("{} Hz", significant(number)),
        Rate => shown(rounded(number, 5).parse().unwrap_or(number), "S/s"),
        Decibel => format!("{number:.1} dB"),
        Seconds => seconds(number),
        Milliseconds => format!("{} ms", significant(number)),
        Share => format!("{} %", significant(100.0 * number)),
        Degrees => format!("{number:.0}°"),
        Radians => format!("{} rad", significant(number)),
        Cycles => format!("{} field cycles", significant(number)),
        Probability if number > 0.0 && number < 1e-3 => format!("{number:.1e}"),
        Probability => significant(number),
        Hexadecimal => format!("{:04X}", number as u64),
        Bare if number.fract() == 0.0 => format!("{number}"),
        Bare => significant(number),
    }
}

/// A duration in the unit that needs no zeros before its first digit.
fn seconds(duration: f64) -> String {
    let (size, unit) = match duration.abs() {
        1.0.. => (1.0, "s"),
        1e-3.. => (1e3, "ms"),
        1e-6.. => (1e6, "µs"),
        0.0 => (1.0, "s"),
        _ => (1e9, "ns"),
    };
    format!("{} {unit}", significant(size * duration))
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    /// Every key that the findings' source gives a value: `("key", …` and `insert("key"`.
    #[test]
    fn every_key_has_words() {
        let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("src/findings");
        let mut seen = 0;
        for entry in std::fs::read_dir(folder).unwrap() {
            let path = entry.unwrap().path();
            // Codes of findings, not keys.
            if path.ends_with("measured.rs") || path.ends_with("mod.rs") {
                continue;
            }
            let text = std::fs::read_to_string(&path).unwrap();
            let code = text.split("#[cfg(test)]").next().unwrap();
            for (at, _) in code.match_indices("(\"") {
                let key = code[at + 2..].split('"').next().unwrap();
                let before = code[..at].ends_with("insert");
                let pair = code[at + 2 + key.len() + 1..].starts_with(", ")
                    && !code[..at].ends_with(|c: char| c.is_alphanumeric());
                let name = key.chars().all(|c| c.is_ascii_lowercase() || c == '_');
                if name && !key.is_empty() && (before || pair) {
                    assert!(all().any(|(known, ..)| *known == key), "{key} in {path:?}");
                    seen += 1;
                }
            }
        }
        assert!(seen > 80, "{seen}");
    }

    #[test]
    fn values_carry_their_units() {
        let evidence = json!({
            "rate_hz": 500e3, "offset_hz": -1234.4, "depth": 0.00421, "first_s": 0.0305, "check_sent": 0x512E,
            "at_s": [0.1, 0.25], "odds_wrong": 3.2e-7, "tags": 2.0, "false_alarm": 0.004, "q": null,
        });
        let mut said = in_words(evidence.as_object().unwrap());
        said.sort();
        assert_eq!(
            said,
            [
                "CRC that was sent 512E",
                "at 100 ms, 250 ms",
                "first at 30.5 ms",
                "from the field −1234 Hz",
                "probability of a wrong number 3.2e−7",
                "ripple depth 0.421 %",
                "sample rate 500 kS/s",
                "tags 2",
            ]
        );
    }
}
