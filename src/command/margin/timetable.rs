//! Times of two lists that were written by different clerks of the same clock.

use anyhow::{Context, bail};
use jiff::civil::{Date, DateTime, Time};

/// Seconds of a day.
const DAY_S: f64 = 86_400.0;

/// How times are written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Writing {
    /// Numbers.
    Seconds,
    /// Clock times without a date.
    Clock,
    /// With a date.
    Dated,
}

impl Writing {
    pub const fn name(self) -> &'static str {
        match self {
            Self::Seconds => "seconds",
            Self::Clock => "clock times without a date",
            Self::Dated => "dates with clock times",
        }
    }
}

/// A time and how it is written.
pub fn time(text: &str) -> anyhow::Result<(Writing, f64)> {
    if let Ok(seconds) = text.parse::<f64>()
        && seconds.is_finite()
    {
        return Ok((Writing::Seconds, seconds));
    }
    let of_midnight = |time: Time| {
        let whole = time.hour() as i32 * 3600 + time.minute() as i32 * 60 + time.second() as i32;
        f64::from(whole) + f64::from(time.subsec_nanosecond()) * 1e-9
    };
    if text.contains(':')
        && let Ok(dated) = text.parse::<DateTime>()
    {
        let days = dated
            .date()
            .since(Date::constant(1970, 1, 1))
            .context("a date")?;
        let days = f64::from(days.get_days());
        return Ok((Writing::Dated, days * DAY_S + of_midnight(dated.time())));
    }
    match text.parse::<Time>() {
        Ok(time) => Ok((Writing::Clock, of_midnight(time))),
        Err(_) => bail!(
            "'{text}' is no time; allowed are seconds, HH:MM:SS and YYYY-MM-DD HH:MM:SS, each with decimals"
        ),
    }
}

/// Clock times in the order they were written, on over midnight: a step back of more than half a day is a day on.
pub fn over_midnight(times_s: &mut [f64]) {
    let mut days = 0.0;
    let mut last_s = f64::NEG_INFINITY;
    for time_s in times_s {
        if *time_s < last_s - DAY_S / 2.0 {
            days += 1.0;
        }
        last_s = *time_s;
        *time_s += days * DAY_S;
    }
}

/// Days to be added to clock times that begin here, so that they begin within half a day of the others.
pub fn whole_days(first_s: f64, others_s: f64) -> f64 {
    ((others_s - first_s) / DAY_S).round() * DAY_S
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn times_are_read_in_three_ways() {
        assert_eq!(time("12.5").unwrap(), (Writing::Seconds, 12.5));
        assert_eq!(time("00:01:02.5").unwrap(), (Writing::Clock, 62.5));
        let (how, first) = time("2026-02-28 23:59:59").unwrap();
        assert_eq!(how, Writing::Dated);
        // A year that is none of four hundred nor of four.
        assert_eq!(time("2026-03-01T00:00:01.25").unwrap().1 - first, 2.25);
        assert_eq!(
            time("2028-03-01T00:00:00").unwrap().1 - time("2028-02-28T00:00:00").unwrap().1,
            2.0 * DAY_S
        );
        for bad in [
            "",
            "noon",
            "25:00:00",
            "2026-13-01 00:00:00",
            "28/02/2026 10:00:00",
            "inf",
        ] {
            assert!(time(bad).is_err(), "{bad}");
        }
    }

    #[test]
    fn clocks_go_on_over_midnight() {
        let mut times = [86_390.0, 86_395.0, 5.0, 3.0, 80_000.0, 10.0];
        over_midnight(&mut times);
        assert_eq!(
            times,
            [
                86_390.0,
                86_395.0,
                DAY_S + 5.0,
                DAY_S + 3.0,
                DAY_S + 80_000.0,
                2.0 * DAY_S + 10.0
            ]
        );
        assert_eq!(whole_days(5.0, 86_399.0), DAY_S);
        assert_eq!(whole_days(100.0, 60.0), 0.0);
    }
}
