//! One signed number for how far a capture is from the limit of reading.

use crate::findings::Finding;
use crate::findings::deviation::{in_db, known_signs, noise, unknown_signs};
use crate::receiver::{Reception, needed_db};

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

/// Standard deviation of a folded Eb/N0, dB: the ripple's power and the noise's both stray.
fn deviation_db(of_power: f64, telegrams: f64) -> f64 {
    in_db(of_power + noise(telegrams))
}
