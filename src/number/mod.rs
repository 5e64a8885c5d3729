//! Numbers as they are said at a bench: `500k`, `1M`, `2MS/s`, `70ms`, `134.2 kHz`. Read and printed here and nowhere else.

mod within;

pub use within::{whole_within, within};

/// Letters before a unit, with their powers of ten (SI brochure, 9th edition, table 7). A capital K is read as kilo, as many write it;
/// `u` stands for µ, as keyboards have it.
const PREFIXES: [(&str, i32); 12] = [
    ("G", 9),
    ("M", 6),
    ("k", 3),
    ("K", 3),
    ("", 0),
    ("c", -2),
    ("m", -3),
    ("µ", -6),
    ("μ", -6),
    ("u", -6),
    ("n", -9),
    ("p", -12),
];

/// Units by which a value may be called, the power of ten that each already holds, and what else one writes for it.
const UNITS: [(&str, i32, &[&str]); 14] = [
    ("Hz", 0, &["Hz", "S/s", "Sa/s"]),
    ("S/s", 0, &["S/s", "Sa/s", "Hz"]),
    ("s", 0, &["s"]),
    ("ms", -3, &["s"]),
    ("V", 0, &["V"]),
    ("m", 0, &["m"]),
    ("mm", -3, &["m"]),
    ("µH", -6, &["H"]),
    ("mH", -3, &["H"]),
    ("pF", -12, &["F"]),
    ("Ω", 0, &["Ω", "ohm"]),
    ("dB", 0, &["dB"]),
    ("ppm", 0, &["ppm"]),
    ("degrees", 0, &["degrees", "deg", "°"]),
];

/// A number in `unit` as text that any parser of numbers reads: `2MS/s` becomes `2e6`. Without a unit only k, M and G may stand behind
/// it, and only where `unit` has no such letter of its own: `5k` in millimetres is refused, `5m` is five metres. `None` for anything else.
pub fn plain(text: &str, unit: &str) -> Option<String> {
    let text = text.trim();
    // The longest start that is a number, so that "1e3" is not 1 with "e3" behind.
    let split = (0..=text.len())
        .rev()
        .find(|&at| text.is_char_boundary(at) && is_number(&text[..at]))?;
    let (digits, suffix) = (&text[..split], text[split..].trim());
    let exponent = exponent(suffix, unit)?;
    if exponent == 0 {
        return Some(digits.into());
    }
    // Through its decimals, so that 0.1M is the same number as 100000.
    let (mantissa, own) = digits.split_once(['e', 'E']).unwrap_or((digits, "0"));
    let own: i32 = own.parse().ok()?;
    Some(format!("{mantissa}e{}", own.checked_add(exponent)?))
}

/// The same as a number; `None` also for what is not finite.
pub fn number(text: &str, unit: &str) -> Option<f64> {
    plain(text, unit)?
        .parse()
        .ok()
        .filter(|value: &f64| value.is_finite())
}

/// Words such as `inf` are no numbers here.
fn is_number(text: &str) -> bool {
    text.ends_with(|c: char| c.is_ascii_digit() || c == '.') && text.parse::<f64>().is_ok()
}

/// Power of ten of what stands behind the digits.
fn exponent(suffix: &str, unit: &str) -> Option<i32> {
    if suffix.is_empty() || suffix == unit {
        return Some(0);
    }
    let known = UNITS.iter().find(|known| known.0 == unit);
    let held = known.map_or(0, |known| known.1);
    if let Some(&(_, power)) = PREFIXES.iter().find(|prefix| prefix.0 == suffix)
        && power > 0
        && held == 0
    {
        return Some(power);
    }
    if unit.is_empty() && suffix == "%" {
        return Some(-2);
    }
    known?.2.iter().find_map(|base| {
        let letter = suffix.strip_suffix(base)?;
        let &(_, power) = PREFIXES.iter().find(|prefix| prefix.0 == letter)?;
        Some(power - held)
    })
}

/// A value with its unit, with a letter before the unit where that makes it no longer and loses nothing: 1000000 S/s is `1 MS/s`.
pub fn shown(value: f64, unit: &str) -> String {
    let bare = format!("{value} {unit}").trim_end().to_string();
    // Nobody says kiloseconds.
    if !["Hz", "S/s"].contains(&unit) {
        return bare;
    }
    [("G", 1e9), ("M", 1e6), ("k", 1e3)]
        .into_iter()
        .filter(|(_, size)| value.abs() >= *size)
        .map(|(letter, size)| format!("{} {letter}{unit}", value / size))
        .find(|text| {
            text.chars().count() <= bare.chars().count() && number(text, unit) == Some(value)
        })
        .unwrap_or(bare)
}

/// Ends of a scenario's keys that are units, as they are printed.
const KEY_UNITS: [(&str, &str); 16] = [
    ("_hz", "Hz"),
    ("_khz", "kHz"),
    ("_mm", "mm"),
    ("_cm2", "cm²"),
    ("_deg", "degrees"),
    ("_db", "dB"),
    ("_ms", "ms"),
    ("_s", "s"),
    ("_v", "V"),
    ("_uh", "µH"),
    ("_mh", "mH"),
    ("_pf", "pF"),
    ("_ohm", "Ω"),
    ("_ppm", "ppm"),
    ("_percent", "%"),
    ("_per_rthz", "nV/√Hz"),
];

/// The unit in the name of a scenario's key.
pub fn unit_of_key(key: &str) -> Option<&'static str> {
    KEY_UNITS
        .iter()
        .filter(|unit| key.ends_with(unit.0))
        .max_by_key(|unit| unit.0.len())
        .map(|unit| unit.1)
}

/// The value of `--set KEY=VALUE`: a number may carry its unit, anything else stays as it is.
pub fn setting(key: &str, value: &str) -> String {
    plain(value, unit_of_key(key).unwrap_or("")).unwrap_or_else(|| value.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_of_a_bench_are_read() {
        for (text, unit, want) in [
            ("500k", "Hz", 500e3),
            ("500K", "Hz", 500e3),
            ("1M", "Hz", 1e6),
            ("2MS/s", "Hz", 2e6),
            ("2 MS/s", "Hz", 2e6),
            ("2.5MHz", "Hz", 2.5e6),
            ("0.1M", "Hz", 1e5),
            ("134.2 kHz", "Hz", 134_200.0),
            ("1e3k", "Hz", 1e6),
            ("1e6", "Hz", 1e6),
            ("70ms", "s", 0.07),
            ("0.05 s", "ms", 50.0),
            ("12cm", "mm", 120.0),
            ("1.2m", "mm", 1200.0),
            ("1mH", "µH", 1000.0),
            ("500uH", "µH", 500.0),
            ("-3 dB", "dB", -3.0),
            ("5mV", "V", 0.005),
            ("1%", "", 0.01),
            ("10k", "", 1e4),
            (".5", "", 0.5),
        ] {
            assert_eq!(number(text, unit), Some(want), "{text} in {unit}");
        }
    }

    #[test]
    fn what_could_mean_two_things_is_refused() {
        for (text, unit) in [
            ("5k", "mm"),
            ("5m", "Hz"),
            ("5m", "s"),
            ("5 V", "Hz"),
            ("5ks", "Hz"),
            ("k", "Hz"),
            ("inf", "Hz"),
            ("nan", "Hz"),
            ("infinity", ""),
            ("1e400", "Hz"),
            ("5%", "Hz"),
            ("0,5", "Hz"),
            ("1 000", "Hz"),
            ("", "Hz"),
            ("1e99999999999k", "Hz"),
        ] {
            assert_eq!(number(text, unit), None, "{text} in {unit}");
        }
    }

    #[test]
    fn what_is_shown_reads_back_as_the_same() {
        for (value, unit, want) in [
            (1e6, "S/s", "1 MS/s"),
            (500e3, "S/s", "500 kS/s"),
            (44_100.0, "S/s", "44.1 kS/s"),
            (1_000_001.0, "S/s", "1000001 S/s"),
            (134_200.0, "Hz", "134.2 kHz"),
            (999.0, "Hz", "999 Hz"),
            (1e4, "degrees", "10000 degrees"),
            (1e4, "", "10000"),
            (10_000.0, "ms", "10000 ms"),
        ] {
            assert_eq!(shown(value, unit), want);
        }
        for value in [1e3, 2.5e5, 1.0 / 3.0 * 1e6, 299_999.7, 1e300] {
            assert_eq!(number(&shown(value, "Hz"), "Hz"), Some(value), "{value}");
        }
    }
}
