//! Findings about sparks and switches that stand out of the ripple.

use super::Finding;
use crate::receiver::survey::Survey;

/// Impulses that are a habit and not an accident.
const LEAST_IMPULSES: usize = 5;

/// A field that is switched may leave one at each of its stretches' ends.
pub(super) fn findings(survey: &Survey, stretches: usize) -> Option<Finding> {
    let of_switching = if stretches > 1 { 2 * stretches } else { 0 };
    let enough = survey.impulses >= LEAST_IMPULSES.max(of_switching + 1);
    (enough && survey.seconds > 0.0).then(|| {
        let rate = survey.impulses as f64 / survey.seconds;
        Finding::new(
            "impulses",
            format!(
                "{} impulses stand out of the ripple, {rate:.0} a second; they were cut out before reading here. Sparks and switches make \
                 them: motors, thermostats, lamp dimmers, a fence charger, a loose contact. Switch them off, or keep the antenna's \
                 leads away from theirs.",
                survey.impulses
            ),
            &[
                ("impulses", survey.impulses as f64),
                ("rate_per_s", rate),
            ],
        )
    })
}
