//! Values on the command line that have a range: read, checked, and refused with what is allowed.

use std::fmt::Display;
use std::ops::RangeInclusive;
use std::str::FromStr;

/// A parser for finite numbers within `range`; the unit only appears in the message.
pub fn within(
    range: RangeInclusive<f64>,
    unit: &'static str,
) -> impl Fn(&str) -> Result<f64, String> + Clone {
    move |text| checked(text, &range, unit, |value: &f64| value.is_finite())
}

/// A parser for whole numbers within `range`.
pub fn whole_within(range: RangeInclusive<u64>) -> impl Fn(&str) -> Result<u64, String> + Clone {
    move |text| checked(text, &range, "", |_| true)
}

fn checked<T: FromStr + PartialOrd + Display>(
    text: &str,
    range: &RangeInclusive<T>,
    unit: &str,
    usable: impl Fn(&T) -> bool,
) -> Result<T, String> {
    text.trim()
        .parse::<T>()
        .ok()
        .filter(|value| usable(value) && range.contains(value))
        .ok_or_else(|| {
            let unit = if unit.is_empty() {
                String::new()
            } else {
                format!(" {unit}")
            };
            format!("allowed is {} to {}{unit}", range.start(), range.end())
        })
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
    }
}
