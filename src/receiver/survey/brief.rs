//! A field that is on so briefly that no part of a telegram fits into it: a reader that looks for tags with short pings.

use crate::receiver::dsp::phasor::size;
use crate::receiver::field::pieces::all_on_ranges;
use crate::receiver::front::cycles::Cycles;

/// Longest share of the time such a field is on.
const LARGEST_SHARE: f64 = 0.25;
/// Shortest stretch that counts, cycles: half a millisecond.
const SHORTEST: usize = 64;
/// The field stands this far above what is there while it is off.
const ABOVE: f32 = 6.0;
/// Most stretches: one in two milliseconds.
const MOST_A_SECOND: f64 = 500.0;

/// Where a field was on briefly.
#[derive(Clone, Debug, PartialEq)]
pub struct Brief {
    /// From and to, seconds.
    pub on: Vec<(f64, f64)>,
    /// Level while it is on, unit of the samples.
    pub level: f64,
    /// Mean level while it is off.
    pub rest: f64,
}

/// Looks for a field that is on for a small part of the time. Noise has no stretch of half a millisecond six times above the
/// rest; a tag's or a transmitter's signal is there all of the time.
pub fn brief(cycles: &Cycles) -> Option<Brief> {
    let mut ranges = all_on_ranges(cycles);
    ranges.retain(|(from, to)| to - from >= SHORTEST);
    let values = &cycles.values;
    let seconds = values.len() as f64 / cycles.field_hz;
    let inside: usize = ranges.iter().map(|(from, to)| to - from).sum();
    if ranges.is_empty()
        || inside as f64 > LARGEST_SHARE * values.len() as f64
        || ranges.len() as f64 > MOST_A_SECOND * seconds
    {
        return None;
    }
    let mut on = vec![false; values.len()];
    ranges
        .iter()
        .for_each(|&(from, to)| on[from..to].fill(true));
    let mean = |wanted: bool| {
        let sizes = values.iter().zip(&on).filter(|(_, on)| **on == wanted);
        let (sum, count) = sizes.fold((0.0, 0.0), |(sum, count), (v, _)| {
            (sum + size(*v), count + 1.0)
        });
        sum / f32::max(count, 1.0)
    };
    let (level, rest) = (mean(true), mean(false));
    let time = |index: usize| (cycles.first + index) as f64 / cycles.field_hz;
    (level > ABOVE * rest).then(|| Brief {
        on: ranges
            .iter()
            .map(|&(from, to)| (time(from), time(to)))
            .collect(),
        level: level.into(),
        rest: rest.into(),
    })
}

#[cfg(test)]
mod tests {
    use num_complex::Complex32;

    use super::*;
    use crate::receiver::front::edge::Edge;

    fn cycles(level: impl Fn(usize) -> f32) -> Cycles {
        Cycles {
            values: (0..60_000)
                .map(|n| {
                    Complex32::new(
                        level(n) + 0.01 * ((n * 7919 % 101) as f32 / 50.0 - 1.0),
                        0.0,
                    )
                })
                .collect(),
            first: 0,
            field_hz: 134_200.0,
            band_hz: 67e3,
            edge: Edge::ideal(),
            gaps: Vec::new(),
        }
    }

    #[test]
    fn pings_are_found_where_they_are() {
        // 2 ms of 200: less than the fiftieth that the upper level leaves out.
        let found = brief(&cycles(|n| if n % 26_840 < 268 { 1.0 } else { 0.0 })).unwrap();
        assert_eq!(found.on.len(), 3);
        let (from, to) = found.on[1];
        // Levels are taken over 16 cycles.
        assert!(
            (from - 0.2).abs() < 16.0 / 134_200.0 && (to - from - 0.002).abs() < 32.0 / 134_200.0
        );
        assert_eq!(brief(&cycles(|_| 1.0)), None);
        assert_eq!(brief(&cycles(|_| 0.0)), None);
        // One impulse that rings.
        assert_eq!(
            brief(&cycles(|n| if (9000..9020).contains(&n) {
                30.0
            } else {
                0.0
            })),
            None
        );
    }
}
