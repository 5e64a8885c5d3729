//! A steady tone, wherever in the capture it is.

/// A steady tone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Line {
    /// Frequency as the samples show it, 0 to half the rate for real ones.
    pub frequency_hz: f64,
    /// Amplitude relative to the field's.
    pub level: f64,
    /// It was found beside the field, between the telegram's lines.
    pub near: bool,
    /// Of what was found beside the field: amplitude at the mirror image's place on the field's other side, relative to its
    /// own. Another transmitter has none there; what modulates the field has one as strong.
    pub mirrored: Option<f64>,
}

/// Where a true frequency shows at a sample rate.
pub fn folded_hz(frequency_hz: f64, rate_hz: f64) -> f64 {
    let within = frequency_hz.rem_euclid(rate_hz);
    within.min(rate_hz - within)
}
