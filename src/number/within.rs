//! Values on the command line that have a range: read, checked, and refused with what is allowed.

use std::ops::RangeInclusive;

use super::{number, shown};

/// A parser for finite numbers within `range`, in `unit` where none is written (see [`number`](super::number())).
pub fn within(
    range: RangeInclusive<f64>,
    unit: &'static str,
) -> impl Fn(&str) -> Result<f64, String> + Clone {
    move |text| {
        number(text, unit)
            .filter(|value| range.contains(value))
            .ok_or_else(|| {
                let low = shown(*range.start(), unit);
                let bare = low.strip_suffix(&format!(" {unit}"));
                let high = shown(*range.end(), unit);
                format!("allowed is {} to {high}", bare.unwrap_or(&low))
            })
    }
}

/// A parser for whole numbers within `range`; `unit` may be written behind.
pub fn whole_within(
    range: RangeInclusive<u64>,
    unit: &'static str,
) -> impl Fn(&str) -> Result<u64, String> + Clone {
    move |text| {
        let text = text.trim();
        // Beyond 2^53 only a number without a letter is exact.
        let exact =
            |value: &f64| value.fract() == 0.0 && (0.0..=(1u64 << 53) as f64).contains(value);
        text.parse()
            .ok()
            .or_else(|| number(text, unit).filter(exact).map(|value| value as u64))
            .filter(|value| range.contains(value))
            .ok_or_else(|| format!("allowed is {} to {}", range.start(), range.end()))
    }
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
            whole_within(0..=7, "")("8"),
            Err("allowed is 0 to 7".to_string())
        );
        assert!(whole_within(0..=7, "")("-1").is_err());
        assert_eq!(whole_within(0..=1_000_000, "Hz")("500k"), Ok(500_000));
        assert!(whole_within(0..=7, "")("2.5").is_err());
    }
}
