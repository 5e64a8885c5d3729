//! Numbers as people write them: with blanks between the digits, with their unit, as a time of day.

use super::digits;
use super::title::{self, Quantity};

/// Most characters of such a cell.
const LONGEST: usize = 48;

/// The value of a whole cell in base units (seconds, volts), and the unit that stands in it. Clock times and time stamps
/// are seconds since a midnight.
pub(super) fn value(text: &[u8], mark: u8) -> Option<(f64, Quantity)> {
    if text.len() > LONGEST || !text.first()?.is_ascii() {
        return None;
    }
    if let Some(seconds) = stamp(text, mark) {
        return Some((seconds, Quantity::Time(1.0)));
    }
    let text = std::str::from_utf8(text).ok()?;
    let (digits, unit) = match text.find(|c: char| c.is_alphabetic() && !matches!(c, 'e' | 'E')) {
        Some(at) => text.split_at(at),
        None => return grouped(text, mark).map(|value| (value, Quantity::Count)),
    };
    let quantity = title::quantity(unit)?;
    let factor = match quantity {
        Quantity::Time(factor) | Quantity::Volts(factor) => factor,
        _ => return None,
    };
    Some((grouped(digits.trim(), mark)? * factor, quantity))
}

/// A number in which single blanks may stand between digits: `4.860 530`.
fn grouped(text: &str, mark: u8) -> Option<f64> {
    let bytes = text.as_bytes();
    let mut compact = Vec::with_capacity(bytes.len());
    for (at, &byte) in bytes.iter().enumerate() {
        let digit = |at: Option<usize>| {
            at.and_then(|at| bytes.get(at))
                .is_some_and(u8::is_ascii_digit)
        };
        if byte != b' ' {
            compact.push(byte);
        } else if !(digit(at.checked_sub(1)) && digit(Some(at + 1))) {
            return None;
        }
    }
    let (value, length) = digits::number(&compact, mark)?;
    (length == compact.len()).then_some(value)
}

/// `2031-05-06T07:08:09.000002Z` (ISO 8601), the same with a blank, `07:08:09.000002`, `08:09.5`.
fn stamp(text: &[u8], mark: u8) -> Option<f64> {
    let text = std::str::from_utf8(text).ok()?;
    let (text, noon) = half_day(text);
    let (days, clock) = match text.split_once(['T', ' ']) {
        Some((date, clock)) => (days(date)?, clock.trim_start()),
        None => (0, text),
    };
    // A zone shifts all rows alike.
    let clock = clock.trim_end_matches('Z');
    let clock = clock.split(['+', '-']).next()?;
    let mut seconds = 0.0;
    let mut parts = 0;
    for part in clock.split(':') {
        let whole = part.split(['.', char::from(mark)]).next()?;
        // A fraction behind a colon.
        if parts == 3 && !part.is_empty() && part.bytes().all(|b| b.is_ascii_digit()) {
            seconds += part.parse::<f64>().ok()? / 10_f64.powi(part.len() as i32);
            parts += 1;
            continue;
        }
        if parts >= 3
            || whole.is_empty()
            || whole.len() > 2
            || !whole.bytes().all(|b| b.is_ascii_digit())
        {
            return None;
        }
        let point = if part.contains('.') { b'.' } else { mark };
        let (value, length) = digits::number(part.as_bytes(), point)?;
        if length != part.len() {
            return None;
        }
        seconds = seconds * 60.0 + value;
        parts += 1;
    }
    const NOON_S: f64 = 43_200.0;
    if let Some(afternoon) = noon {
        // Twelve comes before one.
        seconds = seconds % NOON_S + if afternoon { NOON_S } else { 0.0 };
    }
    (parts >= 2).then_some(days as f64 * 86_400.0 + seconds)
}

/// The text without AM or PM, and whether it is the afternoon.
fn half_day(text: &str) -> (&str, Option<bool>) {
    for (ending, afternoon) in [("am", false), ("pm", true)] {
        let at = text.len().saturating_sub(ending.len());
        if text
            .get(at..)
            .is_some_and(|end| end.eq_ignore_ascii_case(ending))
        {
            return (text[..at].trim_end(), Some(afternoon));
        }
    }
    (text, None)
}

/// English, then German where that is another.
const MONTHS: [&str; 24] = [
    "jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec", //
    "jan", "feb", "mrz", "apr", "mai", "jun", "jul", "aug", "sep", "okt", "nov", "dez",
];

/// Days of a Gregorian date, counted within 32: rows lie close together, and seconds since long ago would leave no digits
/// for microseconds in double precision.
fn days(date: &str) -> Option<i64> {
    if let Some(from) = date.find(|c: char| c.is_ascii_alphabetic()) {
        let (front, behind) = date.split_at(from);
        let length = behind.find(|c: char| !c.is_ascii_alphabetic())?;
        let name = behind.get(..3)?.to_ascii_lowercase();
        let month = MONTHS.iter().position(|own| *own == name)? % 12 + 1;
        return days(&format!("{front}{month}{}", &behind[length..]).replace('/', "-"));
    }
    let mut parts = date.split(['-', '/', '.']).map(|part| {
        let digits =
            !part.is_empty() && part.len() <= 4 && part.bytes().all(|b| b.is_ascii_digit());
        digits.then(|| part.parse::<i64>().ok()).flatten()
    });
    let (first, second, third) = (parts.next()??, parts.next()??, parts.next()??);
    let (year, month, day) = match (first, second) {
        (32.., _) => (first, second, third),
        // Strokes: the month first, unless there is none of that number. A cell by itself cannot tell more; `table.rs` goes
        // on over midnight all the same.
        (..=12, ..=31) if date.contains('/') => (third, first, second),
        _ => (third, second, first),
    };
    if parts.next().is_some() || !(1..=12).contains(&month) || !(1..=31).contains(&day) {
        return None;
    }
    // Days before the month in a year that begins in March (common calendar arithmetic).
    let (year, month) = if month > 2 {
        (year, month - 3)
    } else {
        (year - 1, month + 9)
    };
    let count = 365 * year + year.div_euclid(4) - year.div_euclid(100) + year.div_euclid(400);
    Some((count + (153 * month + 2) / 5 + day).rem_euclid(32))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_with_blanks_and_units() {
        let near = |text: &str, wanted: f64| {
            let got = value(text.as_bytes(), b'.').map_or(f64::NAN, |value| value.0);
            assert!(
                (got - wanted).abs() <= 1e-12 * wanted.abs(),
                "{text}: {got}"
            );
        };
        near("4.860 530 ms", 4.860_530e-3);
        near("-12.5 mV", -12.5e-3);
        near("0.40uS", 0.4e-6);
        near("4.860 530", 4.860_53);
        near("07:08:09.5", 25_689.5);
        near("12:00:01 AM", 1.0);
        near("00:00:01:250000", 1.25);
        near("12:00:01.5 pm", 43_201.5);
        for text in ["h00", "X", "12 apples", "1  2", "12:61x", "a:b", ""] {
            assert_eq!(value(text.as_bytes(), b'.'), None, "{text}");
        }
    }

    #[test]
    fn a_day_later_is_a_day_more() {
        let of = |text: &str| value(text.as_bytes(), b'.').unwrap().0;
        for (day, next) in [
            ("2031-05-06T23:59:59Z", "2031-05-07T00:00:00Z"),
            ("2031-02-28 23:59:59", "2031-03-01 00:00:00"),
            ("28.02.2031 23:59:59", "01.03.2031 00:00:00"),
            ("28-Feb-2031 23:59:59", "01-March-2031 00:00:00"),
            ("2/28/2031 11:59:59 PM", "3/1/2031 12:00:00 AM"),
            ("27/02/2031 23:59:59", "28/02/2031 00:00:00"),
            ("2032-02-29T23:59:59+01:00", "2032-03-01T00:00:00+01:00"),
        ] {
            // Counted within 32 days.
            assert_eq!(
                (of(next) - of(day)).rem_euclid(32.0 * 86_400.0),
                1.0,
                "{day}"
            );
        }
    }
}
