//! Numbers of half-duplex tags as text.

use fieldripple::receiver::HalfDuplexReading;

/// The line on the tones.
pub fn tones(reading: &HalfDuplexReading) -> String {
    format!(
        "{:.2} kHz for a 1 and {:.2} kHz for a 0 (nominal 124.2 and 134.2), {:.1} ms after the field's end",
        1e-3 * reading.one_hz,
        1e-3 * reading.zero_hz,
        1e3 * reading.delay_s
    )
}
