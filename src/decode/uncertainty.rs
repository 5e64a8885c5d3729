//! How far what is said of a ripple strays by chance.

use super::Decoded;
use super::told::Row;
use super::wording::rounded;
use crate::findings::deviation::{in_db, known_signs, noise};
use crate::receiver::{Attempt, Reading};
use crate::telegram::Identity;

/// Standard deviations of what is said of a reading, for white noise; formulas in [`Uncertainty::of`].
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Uncertainty {
    /// Of the depth, in the depth's own unit.
    pub depth: f64,
    /// Of the ripple angle, degrees.
    pub angle_deg: f64,
    /// Of Eb/N0, and of what there is to spare, dB.
    pub ebn0_db: f64,
}

impl Uncertainty {
    /// Of a ripple seen in so many telegrams. Its complex amplitude R is the mean of 128·N steps of known sign, each with the energy of a
    /// bit: either part strays by |R|/√(2·128·N·Eb/N0). Along R that is the depth's deviation, across it the angle's; the power strays
    /// twice as far as the amplitude, and in Eb/N0 the measured noise strays beside it.
    pub fn of(depth: f64, ebn0: f64, telegrams: f64) -> Self {
        let power = known_signs(ebn0 * telegrams);
        let part = 0.5 * power.sqrt();
        Self {
            depth: depth * part,
            angle_deg: part.to_degrees(),
            ebn0_db: in_db(power + noise(telegrams)),
        }
    }

    pub(super) fn of_attempt(attempt: &Attempt) -> Self {
        Self::of(attempt.depth, attempt.ebn0, attempt.telegrams)
    }
}

/// What is said of them beside what was measured, a row a tag.
pub(super) fn rows(report: &Decoded) -> Vec<Row> {
    let readings = &report.reception.readings;
    let row = |reading: &Reading| {
        let attempt = &reading.attempt;
        let of = Uncertainty::of_attempt(attempt);
        let mut said = Vec::new();
        // What clipping spoilt strays by more than noise.
        if report.reception.clipped_share().is_none() {
            said.push(if report.reception.level_known {
                format!("depth ± {} % of the field", rounded(100.0 * of.depth, 2))
            } else {
                format!("depth ± {}", rounded(of.depth, 2))
            });
            if report.reception.kind.has_carrier() {
                said.push(format!("angle ± {}°", rounded(of.angle_deg, 2)));
            }
        }
        said.push(format!(
            "Eb/N0 and what there is to spare ± {} dB",
            rounded(of.ebn0_db, 2)
        ));
        let which = match readings.len() {
            1 => String::new(),
            _ => format!("{}: ", Identity::from_code(attempt.decision.telegram.code)),
        };
        ("± 1 σ", format!("{which}{}", said.join(", ")))
    };
    readings.iter().map(row).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: 32 telegrams at 6 dB are 4096 bits of 4.0, so either part strays by 1/√(2·4096·4) = 0.55 %.
    #[test]
    fn a_second_of_capture_is_known_to_half_a_percent() {
        let of = Uncertainty::of(0.01, 4.0, 32.0);
        assert!((of.depth / 0.01 - 0.00552).abs() < 1e-5, "{of:?}");
        assert!((of.angle_deg - 0.3165).abs() < 1e-3, "{of:?}");
        assert!((0.05..0.07).contains(&of.ebn0_db), "{of:?}");
    }
}
