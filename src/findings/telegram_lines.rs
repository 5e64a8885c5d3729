//! Lines that stand where a ripple has its own.

use crate::receiver::survey::Line;
use crate::receiver::{Reception, TELEGRAM};

/// What stands in the place of one of the ripple's own lines counts as another field's only from this share of the ripple on
/// (−12 dB).
const BELOW_RIPPLE: f64 = 0.25;
/// Those places are known to this, or to a quarter of the line's own width; in records in which that is wide every line is near
/// to one.
const TELEGRAM_LINE_HZ: f64 = 0.5;
/// See [`TELEGRAM_LINE_HZ`].
const WIDE_HZ: f64 = 2.0;

/// Whether a line far below the ripple that was read stands where that has its own lines, every half of a telegram's frequency:
/// what is left of those where tags come and go, or pull the field along.
pub(super) fn is_of_the_ripple(line: &Line, reception: &Reception) -> bool {
    let (Some(field_hz), Some(seen)) = (reception.field.frequency_hz, &reception.seen) else {
        return false;
    };
    let depths = reception.readings.iter().map(|r| r.attempt.depth);
    if line.level > BELOW_RIPPLE * depths.fold(0.0, f64::max) {
        return false;
    }
    let longest_s = seen.pieces.iter().map(|piece| piece.to_s - piece.from_s);
    let within_hz = TELEGRAM_LINE_HZ.max(0.25 / longest_s.fold(f64::MIN_POSITIVE, f64::max));
    let spacing_hz = field_hz / (2 * TELEGRAM) as f64;
    let place = (line.frequency_hz - field_hz) / spacing_hz;
    within_hz < WIDE_HZ && (place - place.round()).abs() * spacing_hz < within_hz
}
