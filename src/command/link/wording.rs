//! Words and limits that pages of `link` share.

/// "2.2 nF" and the like.
pub fn farad(value: f64) -> String {
    let (scaled, unit) = if value >= 0.9995e-6 {
        (value * 1e6, "µF")
    } else if value >= 0.9995e-9 {
        (value * 1e9, "nF")
    } else {
        (value * 1e12, "pF")
    };
    let digits = format!("{scaled:.3}");
    let short = digits.trim_end_matches('0').trim_end_matches('.');
    format!("{short} {unit}")
}

/// Above 30 V rms at such frequencies touching is no longer counted as harmless (extra-low voltage on a bench; from memory, no source): 42 V peak.
pub const DANGEROUS_V: f64 = 42.0;
