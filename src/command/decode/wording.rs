//! Numbers and units as the page prints them.

use fieldripple::capture::Unit;

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
