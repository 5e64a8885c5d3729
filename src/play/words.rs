//! Numbers as they are printed in pages that teach.

/// A probability as it is printed: not stated below 10⁻¹².
pub fn odds_words(odds: f64) -> String {
    if odds <= 1e-12 {
        return "10⁻¹² or less".into();
    }
    let exponent = odds.log10().floor();
    let mantissa = odds / 10f64.powf(exponent);
    let digits = raised(-exponent as usize);
    if exponent >= -1.0 {
        format!("{odds:.2}")
    } else {
        format!("{mantissa:.1}·10⁻{digits}")
    }
}

/// An exponent in raised digits.
pub fn raised(exponent: usize) -> String {
    format!("{exponent}")
        .chars()
        .filter_map(|c| c.to_digit(10))
        .map(|digit| ['⁰', '¹', '²', '³', '⁴', '⁵', '⁶', '⁷', '⁸', '⁹'][digit as usize])
        .collect()
}

/// A number with so many decimals and a real minus sign, none before a 0.
pub fn fixed(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(digits) if digits.contains(|c: char| ('1'..='9').contains(&c)) => format!("−{digits}"),
        Some(digits) => digits.into(),
        None => text,
    }
}
