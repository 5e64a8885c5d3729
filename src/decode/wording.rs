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
