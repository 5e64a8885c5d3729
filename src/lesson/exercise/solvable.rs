//! Whether what a pupil gets to see of a capture leads to the answer.

use std::collections::BTreeSet;

use serde_json::Value;

use super::draw::{Exercise, Fault};

/// A single telegram needs about this much, dB (what [`Fault::meaning`] says of weak ones).
const SINGLE_DB: f64 = 3.0;
/// Weak captures lie this far below it, so that nobody need measure finely.
const FAR_BELOW_DB: f64 = 3.0;
/// A mistuned antenna turns the ripple by this much against the reference: several times what noise does (degrees).
const TURNED_DEG: f64 = 20.0;
/// Findings that name a fault; where there is another one they would lead astray.
const NAMING: [(Fault, &str); 3] = [
    (Fault::TwoTags, "several-tags"),
    (Fault::SecondReader, "second-reader"),
    (Fault::WrongKind, "field-off-frequency"),
];

impl Exercise {
    /// Whether the object of `decode --json` about it, beside that about the reference, tells its numbers and its fault.
    pub fn is_told_by(&self, decoded: &Value, reference: &Value) -> bool {
        let readings = decoded["readings"]
            .as_array()
            .map_or(&[][..], Vec::as_slice);
        let read: BTreeSet<(u64, u64)> = readings
            .iter()
            .filter_map(|reading| {
                Some((reading["country"].as_u64()?, reading["national"].as_u64()?))
            })
            .collect();
        let hidden = self.numbers.iter();
        let hidden: BTreeSet<(u64, u64)> = hidden
            .map(|number| (u64::from(number.country), number.national))
            .collect();
        read == hidden && readings.len() == hidden.len() && self.fault_is_told(decoded, reference)
    }

    fn fault_is_told(&self, decoded: &Value, reference: &Value) -> bool {
        let findings = decoded["findings"].as_array();
        let codes: BTreeSet<&str> = findings
            .into_iter()
            .flatten()
            .filter_map(|finding| finding["code"].as_str())
            .collect();
        let named_rightly = NAMING
            .iter()
            .all(|(fault, code)| codes.contains(code) == (*fault == self.fault));
        let first = |of: &Value, key: &str| of["readings"][0][key].as_f64();
        let as_strong = first(decoded, "ebn0_db").is_some_and(|db| match self.fault {
            Fault::Weak => db < SINGLE_DB - FAR_BELOW_DB,
            _ => db > SINGLE_DB,
        });
        let level = |of: &Value| of["field"]["amplitude"].as_f64();
        let turned_deg = first(decoded, "angle_deg")
            .zip(first(reference, "angle_deg"))
            .map(|(here, there)| {
                let apart = (here - there).rem_euclid(180.0);
                apart.min(180.0 - apart)
            });
        let looks_mistuned = turned_deg.is_some_and(|deg| deg > TURNED_DEG)
            && level(decoded)
                .zip(level(reference))
                .is_some_and(|(here, there)| here < there);
        // A field of another frequency, or two of them, may turn anything.
        let turned_rightly = match self.fault {
            Fault::Mistuned => looks_mistuned,
            Fault::None | Fault::Weak | Fault::TwoTags => !looks_mistuned,
            Fault::SecondReader | Fault::WrongKind => true,
        };
        named_rightly && as_strong && turned_rightly
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::super::draw::exercises;
    use super::*;
    use crate::lesson::Settings;

    /// What `decode` might say: level, ripple angle, Eb/N0 and a finding.
    fn decoded(exercise: &Exercise, level: f64, angle: f64, db: f64, code: &str) -> Value {
        let readings: Vec<Value> = exercise
            .numbers
            .iter()
            .map(|number| {
                json!({"country": number.country, "national": number.national, "ebn0_db": db, "angle_deg": angle})
            })
            .collect();
        json!({"readings": readings, "field": {"amplitude": level}, "findings": [{"code": code}]})
    }

    #[test]
    fn the_right_signs_tell_a_fault_and_others_do_not() {
        for exercise in exercises(&Settings::new(1), 6) {
            let reference = decoded(&exercise, 0.7, 6.0, 30.0, "capture-note");
            let told = |level, angle, db, code: &str| {
                exercise.is_told_by(&decoded(&exercise, level, angle, db, code), &reference)
            };
            let fault = exercise.fault;
            let plain = told(0.7, 6.0, 30.0, "capture-note");
            assert_eq!(plain, fault == Fault::None, "{fault:?}");
            let weak = told(0.7, 6.0, -4.0, "capture-note");
            assert_eq!(weak, fault == Fault::Weak, "{fault:?}");
            let turned = told(0.6, 60.0, 25.0, "ripple-track-curved");
            assert_eq!(turned, fault == Fault::Mistuned, "{fault:?}");
            for (named, code) in NAMING {
                assert_eq!(
                    told(0.7, 6.0, 30.0, code),
                    fault == named,
                    "{fault:?} {code}"
                );
            }
        }
    }

    #[test]
    fn other_numbers_are_no_answer() {
        let settings = Settings::new(1);
        for exercise in exercises(&settings, 6) {
            let other = exercise.redrawn(&settings).unwrap();
            assert_ne!(other.numbers, exercise.numbers);
            assert_eq!(
                (other.fault, &other.recipe.name),
                (exercise.fault, &exercise.recipe.name)
            );
            assert_eq!(exercise.redrawn(&settings), Some(other.clone()));
            let told = decoded(&exercise, 0.7, 6.0, 30.0, "several-tags");
            assert!(!other.is_told_by(&told, &told));
            assert!(!exercise.is_told_by(&json!({"readings": []}), &told));
        }
        let mut last = exercises(&settings, 1).remove(0);
        let mut draws = 1;
        while let Some(next) = last.redrawn(&settings) {
            (last, draws) = (next, draws + 1);
        }
        assert_eq!(draws, 6);
    }
}
