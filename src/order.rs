//! The middle of values in order.

/// The median, of an even number of values the upper one of the middle; `None` without values. Values change their order.
pub fn median(values: &mut [f64]) -> Option<f64> {
    let middle = values.len() / 2;
    (!values.is_empty()).then(|| *values.select_nth_unstable_by(middle, f64::total_cmp).1)
}
