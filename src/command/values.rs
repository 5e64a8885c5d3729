//! Values on the command line that have a range: read, checked, and refused with what is allowed.
//!
//! A number may carry a prefix and the unit of its option, as people write it: `500k`, `134.2kHz`, `2MS/s`, `1M`, `20ms`.

use std::fmt::Display;
use std::ops::RangeInclusive;

/// A parser for finite numbers within `range` in this unit.
pub fn within(
    range: RangeInclusive<f64>,
    unit: &'static str,
) -> impl Fn(&str) -> Result<f64, String> + Clone {
    move |text| checked(number(text, unit), &range, unit)
}

/// A parser for whole numbers within `range`.
pub fn whole_within(range: RangeInclusive<u64>) -> impl Fn(&str) -> Result<u64, String> + Clone {
    move |text| {
        let plain = text.trim().parse::<u64>().ok();
        let scaled = || {
            number(text, "")
                .filter(|value| value.fract() == 0.0 && (0.0..9e15).contains(value))
                .map(|value| value as u64)
        };
        checked(plain.or_else(scaled), &range, "")
    }
}

fn checked<T: PartialOrd + Display>(
    value: Option<T>,
    range: &RangeInclusive<T>,
    unit: &str,
) -> Result<T, String> {
    value.filter(|value| range.contains(value)).ok_or_else(|| {
        let unit = if unit.is_empty() {
            String::new()
        } else {
            format!(" {unit}")
        };
        format!("allowed is {} to {}{unit}", range.start(), range.end())
    })
}

/// Ways to write samples a second.
const RATES: [&str; 3] = ["S/s", "Sa/s", "SPS"];

/// A finite number in this unit, with or without an SI prefix and the unit behind it. A unit that has a prefix itself (mm, µH, kHz) is
/// taken as it stands: there `80mm` is 80, and `80m` is refused rather than guessed at. A number without a unit takes k, M and G.
pub fn number(text: &str, unit: &str) -> Option<f64> {
    let text = text.trim();
    if let Some(value) = text.parse::<f64>().ok() {
        return Some(value).filter(|value| value.is_finite());
    }
    // An exponent's sign is part of the number, and so is its e: units begin with neither.
    let end = text.rfind(|c: char| c.is_ascii_digit() || c == '.')? + 1;
    let (digits, rest) = text.split_at(end);
    let value: f64 = digits.parse().ok()?;
    let rest = rest.trim();
    let whole = matches!(unit, "Hz" | "V" | "s" | "A" | "m" | "Ω" | "ohm" | "");
    if rest == unit && !rest.is_empty() {
        return Some(value);
    }
    if !whole {
        return None;
    }
    let mut names = vec!["", unit];
    if unit == "Hz" {
        names.extend(RATES);
    }
    let name = names
        .into_iter()
        .filter(|name| rest.ends_with(name))
        .max_by_key(|name| name.len())?;
    let prefix = &rest[..rest.len() - name.len()];
    let power = match prefix {
        "" => 0,
        "k" | "K" => 3,
        "M" => 6,
        "G" => 9,
        "m" if unit != "Hz" && !unit.is_empty() => -3,
        "u" | "µ" | "μ" if unit != "Hz" && !unit.is_empty() => -6,
        "n" if unit != "Hz" && !unit.is_empty() => -9,
        _ => return None,
    };
    // As it would be read with the exponent written out, so that 134.2k is 134200 to the last digit.
    format!("{digits}e{power}")
        .parse()
        .ok()
        .or(Some(value * 10f64.powi(power)))
        .filter(|value: &f64| value.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn limits_are_allowed_and_everything_outside_is_refused() {
        let depth = within(0.0..=1.0, "");
        for good in ["0", "1", "0.5", " 1e-3 "] {
            assert!(depth(good).is_ok(), "{good}");
        }
        for bad in ["", "-1e-9", "1.0001", "nan", "inf", "x", "0,5"] {
            assert!(depth(bad).is_err(), "{bad}");
        }
        assert_eq!(
            within(1.0..=2.0, "Hz")("3"),
            Err("allowed is 1 to 2 Hz".into())
        );
        assert_eq!(
            whole_within(0..=7)("8"),
            Err("allowed is 0 to 7".to_string())
        );
        assert!(whole_within(0..=7)("-1").is_err());
        assert_eq!(
            whole_within(0..=u64::MAX)("18446744073709551615"),
            Ok(u64::MAX)
        );
        assert_eq!(whole_within(0..=10_000)("2k"), Ok(2000));
        assert!(whole_within(0..=10_000)("0.5").is_err());
    }

    #[test]
    fn prefixes_and_units() {
        for (text, unit, want) in [
            ("500k", "Hz", 500e3),
            ("1M", "Hz", 1e6),
            ("2MS/s", "Hz", 2e6),
            ("2 MSa/s", "Hz", 2e6),
            ("192kSPS", "Hz", 192e3),
            ("134.2k", "Hz", 134_200.0),
            ("134.2 kHz", "Hz", 134_200.0),
            ("1e6Hz", "Hz", 1e6),
            ("-1.5e-3", "V", -1.5e-3),
            ("20ms", "s", 0.02),
            ("20m", "s", 0.02),
            ("3s", "s", 3.0),
            ("80mm", "mm", 80.0),
            ("550 µH", "µH", 550.0),
            ("10k", "", 10e3),
            ("0.5V", "V", 0.5),
        ] {
            assert_eq!(number(text, unit), Some(want), "{text} in {unit}");
        }
        for (text, unit) in [
            ("80m", "mm"),
            ("1m", "Hz"),
            ("1m", ""),
            ("5 V", "Hz"),
            ("k", "Hz"),
            ("1kk", "Hz"),
            ("1e400k", "Hz"),
            ("inf", "Hz"),
            ("1.2.3k", "Hz"),
            ("5Hzk", "Hz"),
        ] {
            assert_eq!(number(text, unit), None, "{text} in {unit}");
        }
    }
}
