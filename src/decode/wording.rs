//! Numbers and units as pages and lines print them.

use std::borrow::Cow;
use std::error::Error;

use crate::capture::Unit;

/// The unit of a level, as it follows the number.
pub fn of_level(unit: Unit) -> &'static str {
    match unit {
        Unit::Volt => " V",
        Unit::FullScale => " of full scale",
        Unit::Unknown => "",
    }
}

/// A probability in words.
pub fn probability(odds: f64) -> String {
    if odds <= 1e-12 {
        "10^-12 or less".into()
    } else {
        format!("{odds:.1e}")
    }
}

/// A number as a product with a power of ten: 1e-5 is 10⁻⁵, 0.002 is 2·10⁻³.
pub fn power_of_ten(value: f64) -> String {
    let text = format!("{value:e}");
    let Some((factor, power)) = text.split_once('e') else {
        return text;
    };
    let raised = |c: char| match c {
        '-' => '⁻',
        digit => (digit.to_digit(10))
            .and_then(|digit| "⁰¹²³⁴⁵⁶⁷⁸⁹".chars().nth(digit as usize))
            .unwrap_or(digit),
    };
    let power: String = power.chars().map(raised).collect();
    match factor {
        "1" => format!("10{power}"),
        factor => format!("{factor}·10{power}"),
    }
}

/// Three significant digits, without an exponent.
pub fn significant(value: f64) -> String {
    rounded(value, 3)
}

/// So many significant digits, without an exponent.
pub fn rounded(value: f64, digits: i32) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let digits = (digits - 1 - value.abs().log10().floor() as i32).max(0) as usize;
    format!("{value:.digits$}")
}

/// A moment as date and time of day, UTC, from seconds since 1970.
pub fn moment(unix_s: i64) -> String {
    let (days, second) = (unix_s.div_euclid(86_400), unix_s.rem_euclid(86_400));
    // Days since 1 March of the year 0, in eras of 400 years; a year that begins in March ends with the leap day.
    let day = days + 719_468;
    let (era, day) = (day.div_euclid(146_097), day.rem_euclid(146_097));
    let year = (day - day / 1_460 + day / 36_524 - day / 146_096) / 365;
    let of_year = day - (365 * year + year / 4 - year / 100);
    let march = (5 * of_year + 2) / 153;
    let of_month = of_year - (153 * march + 2) / 5 + 1;
    let month = if march < 10 { march + 3 } else { march - 9 };
    let year = era * 400 + year + i64::from(month <= 2);
    let (hour, minute) = (second / 3600, second / 60 % 60);
    format!(
        "{year:04}-{month:02}-{of_month:02} {hour:02}:{minute:02}:{:02} UTC",
        second % 60
    )
}

/// One digit behind the point.
pub fn short(value: f64) -> String {
    format!("{value:.1}")
}

/// An error with its causes in a line: one of several would break scripts that read one line for each failure.
pub fn one_line(error: &dyn Error) -> String {
    let mut message = error.to_string();
    let mut cause = error.source();
    while let Some(known) = cause {
        let words = known.to_string();
        // Many errors already say what caused them.
        if !message.contains(&words) {
            message = format!("{message}: {words}");
        }
        cause = known.source();
    }
    // Of what a file or an argument said nobody needs more; names of files stay whole.
    const LONGEST_WORD: usize = 400;
    let ends_line = |c: char| c.is_control() || ['\u{2028}', '\u{2029}'].contains(&c);
    let words: Vec<_> = message
        .split(|c: char| c == ' ' || ends_line(c))
        .map(|word| cut(word, LONGEST_WORD))
        .collect();
    words.join(" ")
}

/// The word, or so many characters of it.
pub fn cut(word: &str, longest: usize) -> Cow<'_, str> {
    match word.char_indices().nth(longest) {
        Some((end, _)) => format!("{}…", &word[..end]).into(),
        None => word.into(),
    }
}

#[cfg(test)]
mod tests {
    use super::{moment, power_of_ten};

    #[test]
    fn powers_of_ten_are_written_as_by_hand() {
        for (value, said) in [(1e-5, "10⁻⁵"), (0.002, "2·10⁻³"), (1e-12, "10⁻¹²")] {
            assert_eq!(power_of_ten(value), said);
        }
    }

    /// Made with the `date` of GNU coreutils: `date -u -d @N`.
    #[test]
    fn moments_are_those_of_the_calendar() {
        for (unix_s, said) in [
            (0, "1970-01-01 00:00:00 UTC"),
            (951_782_400, "2000-02-29 00:00:00 UTC"),
            (1_709_251_199, "2024-02-29 23:59:59 UTC"),
            (4_107_542_400, "2100-03-01 00:00:00 UTC"),
            (-1, "1969-12-31 23:59:59 UTC"),
        ] {
            assert_eq!(moment(unix_s), said);
        }
    }
}
