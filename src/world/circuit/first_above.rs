//! When an amplitude reaches a level.

use super::track::Terms;

/// First moment from `from_s` on at which the amplitude reaches `level_v`, looked for once a cycle and then bisected.
pub(super) fn first_above(
    terms: &Terms,
    level_v: f64,
    from_s: f64,
    to_s: f64,
    cycle_s: f64,
) -> Option<f64> {
    let above = |at: f64| terms.analytic(at).norm() >= level_v;
    if above(from_s) {
        return Some(from_s);
    }
    let mut low = from_s;
    while low < to_s {
        let mut high = (low + cycle_s).min(to_s);
        if above(high) {
            for _ in 0..40 {
                let middle = 0.5 * (low + high);
                if above(middle) {
                    high = middle
                } else {
                    low = middle
                }
            }
            return Some(high);
        }
        low = high;
    }
    None
}
