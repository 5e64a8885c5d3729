//! Pauses of the field, in which half-duplex tags answer.

use num_complex::Complex32;

use crate::receiver::field::pieces::on_ranges;
use crate::receiver::front::cycles::Cycles;

/// Pauses that are long enough for header, code and CRC, as ranges of values: each begins where the field has fallen to half.
/// None where the field never pauses.
pub fn pauses(cycles: &Cycles, shortest_s: f64) -> Vec<(usize, usize)> {
    let on = on_ranges(cycles);
    let shortest = (shortest_s * cycles.field_hz) as usize;
    let ends = on.iter().map(|range| range.1);
    let starts = on.iter().skip(1).map(|range| range.0);
    ends.zip(starts.chain([cycles.values.len()]))
        .map(|(from, to)| (fall(&cycles.values, from), to.saturating_sub(RISE)))
        .filter(|(from, to)| from + shortest <= *to)
        .collect()
}

/// Left out before the field comes back: to the 16 values that levels are averaged over, and as many in which it rises to half.
const RISE: usize = 32;

/// Levels were averaged over some values: the one at which the field falls to half, near `about`.
fn fall(values: &[Complex32], about: usize) -> usize {
    const REACH: usize = 24;
    let near = about.saturating_sub(REACH)..(about + REACH).min(values.len());
    let Some(before) = near.start.checked_sub(1) else {
        return about;
    };
    let half = 0.5 * values[before].norm();
    near.clone()
        .find(|&n| values[n].norm() < half)
        .unwrap_or(about)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::receiver::front::edge::Edge;

    #[test]
    fn only_long_pauses_after_a_field_count() {
        // On, 3 ms off, on, 20 ms off, on, off to the end; the field is switched on late.
        let spans = [
            (0.0, 3000),
            (1.0, 6000),
            (0.0, 400),
            (1.0, 6000),
            (0.01, 2700),
            (1.0, 4000),
            (0.0, 2000),
        ];
        let values: Vec<Complex32> = spans
            .iter()
            .flat_map(|&(level, count)| std::iter::repeat_n(Complex32::new(level, 0.0), count))
            .collect();
        let cycles = Cycles {
            values,
            first: 0,
            field_hz: 134_200.0,
            band_hz: 67e3,
            edge: Edge::ideal(),
            gaps: Vec::new(),
        };
        let found = pauses(&cycles, 0.012);
        assert_eq!(found.len(), 2, "{found:?}");
        for ((from, to), (true_from, true_to)) in
            found.into_iter().zip([(15_400, 18_100), (22_100, 24_100)])
        {
            assert!(
                from == true_from && (16..=48).contains(&(true_to - to)),
                "{from} {to}"
            );
        }
    }
}
