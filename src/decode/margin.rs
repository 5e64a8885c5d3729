//! One signed number for how far a capture is from the limit of reading.

use crate::findings::Finding;
use crate::receiver::{Reception, needed_db};

/// Boundaries in a folded telegram.
const BOUNDARIES: f64 = 128.0;

/// How far from the limit, at which half of all numbers are read.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Margin {
    /// Decibels: the ripple could be so much weaker (positive, a number was read), or must be so much stronger (negative, none was).
    pub db: f64,
    /// Standard deviation of it, dB.
    pub deviation_db: f64,
}

/// The margin of a capture: of the strongest number read, or what is missing to one where a ripple is seen; `None` where there is none,
/// or where something else than noise stands in the way. What was read has 0 dB at least, what was not has 0 dB at most, so that noise
/// in the estimate does not turn the sign.
pub fn margin(reception: &Reception, findings: &[Finding], odds: f64) -> Option<Margin> {
    let half_duplex = reception.others.half_duplex.iter();
    let spare = reception
        .readings
        .iter()
        .map(|reading| {
            // Where the tag was for a part of the time, that part alone may be the better one.
            let parts = reading.stays.iter();
            let best_db = parts
                .map(|stay| reading.spare_in(stay, odds))
                .fold(reading.spare_db, f64::max);
            (best_db, reading.attempt.telegrams)
        })
        .chain(half_duplex.map(|reading| (reading.spare_db, reading.answers as f64)))
        .max_by(|a, b| a.0.total_cmp(&b.0));
    if let Some((spare_db, telegrams)) = spare {
        let folded = 10f64.powf((spare_db + needed_db(odds)) / 10.0);
        return Some(Margin {
            db: spare_db.max(0.0),
            deviation_db: deviation_db(known_signs(folded), telegrams),
        });
    }
    let weak = findings
        .iter()
        .find(|finding| finding.code == "ripple-too-weak")?;
    let value = |key: &str| weak.evidence.get(key)?.as_f64();
    let folded = 10f64.powf(value("folded_db")? / 10.0);
    Some(Margin {
        db: (-value("missing_db")?).min(0.0),
        deviation_db: deviation_db(unknown_signs(folded), reception.telegrams_added()),
    })
}

/// Relative variance of a power measured along known signs: the amplitude's is 1/(2·γ·128), its square has four times that.
fn known_signs(folded: f64) -> f64 {
    4.0 / (2.0 * folded * BOUNDARIES)
}

/// Relative variance of a power measured without: the mean of 128 squares, less the noise, (8γ + 2)/(4·128·γ²).
fn unknown_signs(folded: f64) -> f64 {
    (8.0 * folded + 2.0) / (4.0 * BOUNDARIES * folded * folded)
}

/// With the noise's own relative variance, 2 over its degrees of freedom: one a boundary from the other axis, and two a boundary for
/// each further telegram.
fn deviation_db(of_power: f64, telegrams: f64) -> f64 {
    let freedom = BOUNDARIES * (1.0 + 2.0 * (telegrams - 1.0).max(0.0));
    10.0 / std::f64::consts::LN_10 * (of_power + 2.0 / freedom).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// "The level itself is known to 0.6 dB in a record of a telegram and a half", and to little more than a tenth in a second's.
    #[test]
    fn deviations_are_those_of_short_and_long_records() {
        let at_limit = 2.0;
        let short = deviation_db(unknown_signs(at_limit), 1.5);
        assert!((0.5..0.7).contains(&short), "{short}");
        let long = deviation_db(known_signs(at_limit * 100.0), 33.0);
        assert!((0.05..0.1).contains(&long), "{long}");
    }
}
