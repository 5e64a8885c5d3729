//! The field's edges: when it was on, and how the antenna rang when the driver was switched.
//!
//! A driven tank of natural frequency f_n and quality Q settles as A∞ + B·e^{pt} and dies away as B·e^{pt}, with
//! p = −πf_n/Q + j2π(f_n − f_c) in the field's rotating frame (textbook): one complex slope gives both.

use num_complex::{Complex32, Complex64};

use crate::receiver::dsp::phasor::{size, wide};
use crate::receiver::front::cycles::Cycles;

/// Cycles after an edge that the front end's filter still smears: half its length at a sample rate of 400 kS/s or more.
const SMEARED: usize = 7;
/// Cycles of ring-down looked at: three time constants of Q 100.
const LONGEST_RING: usize = 96;
/// A ring ends where it falls below this share of the field: below it the slope is the noise's.
const RING_END: f64 = 0.03;
/// Fewest cycles of a ring.
const LEAST_RING: usize = 6;
/// Cycles after switching on when the field has settled and the tag has not begun (1 ms is 134 cycles).
const SETTLED: std::ops::Range<usize> = 110..134;
/// Where the level crosses half of the steady one the field is said to change.
const HALF: f32 = 0.5;
/// A ring whose shape departs from an exponential by more than this share (rms) is none.
const WORST_FIT: f64 = 0.1;

/// Field edges within a capture.
#[derive(Clone, Debug, Default)]
pub struct Edges {
    /// Stretches of field that both begin and end within the capture, seconds.
    pub whole_pulses_s: Vec<f64>,
    /// The rings at its edges, all taken together.
    pub ring: Option<Ring>,
}

/// Natural frequency and quality of the tank, with the standard deviations of their means.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ring {
    /// Natural frequency less the field's, Hz.
    pub offset_hz: f64,
    /// Standard deviation of `offset_hz`.
    pub offset_sd_hz: f64,
    /// Quality.
    pub q: f64,
    /// Standard deviation of `q`.
    pub q_sd: f64,
    /// Rings averaged.
    pub rings: usize,
}

/// Finds the edges and measures the rings.
pub fn edges(cycles: &Cycles) -> Edges {
    let values = &cycles.values;
    let mut edges = Edges::default();
    let sizes: Vec<f32> = values.iter().map(|v| size(*v)).collect();
    if sizes.is_empty() {
        return edges;
    }
    let place = (sizes.len() - 1) * 9 / 10;
    let upper = *sizes
        .clone()
        .select_nth_unstable_by(place, f32::total_cmp)
        .1;
    let changes = changes(&sizes, HALF * upper);
    let mut slopes = Vec::new();
    for (k, &(at, on)) in changes.iter().enumerate() {
        let next = changes.get(k + 1).map_or(values.len(), |c| c.0);
        if on {
            if k + 1 < changes.len() {
                edges
                    .whole_pulses_s
                    .push((next - at) as f64 / cycles.field_hz);
            }
            if next - at > SETTLED.end {
                slopes.extend(ring_up(&values[at..at + SETTLED.end]));
            }
        } else {
            slopes.extend(slope(&values[at..next], upper.into()));
        }
    }
    edges.ring = together(&slopes, cycles.field_hz);
    edges
}

/// Where the level passes the threshold for good: eight cycles on the new side.
fn changes(sizes: &[f32], threshold: f32) -> Vec<(usize, bool)> {
    const FOR_GOOD: usize = 8;
    let mut on = sizes.first().is_some_and(|&size| size > threshold);
    let mut found = Vec::new();
    let mut index = 0;
    while index + FOR_GOOD < sizes.len() {
        let changed = sizes[index..index + FOR_GOOD]
            .iter()
            .all(|&size| (size > threshold) != on);
        if changed {
            on = !on;
            found.push((index, on));
        }
        index += 1;
    }
    found
}

fn ring_up(values: &[Complex32]) -> Option<Complex64> {
    let settled = &values[SETTLED];
    let last = settled.iter().map(|&v| wide(v)).sum::<Complex64>() / settled.len() as f64;
    let missing: Vec<Complex32> = values
        .iter()
        .map(|&v| {
            let rest = wide(v) - last;
            Complex32::new(rest.re as f32, rest.im as f32)
        })
        .collect();
    slope(&missing, last.norm())
}

/// Complex slope (per cycle) of an exponential that begins with the slice; weighted by power, so the quiet end counts
/// for little.
fn slope(values: &[Complex32], field: f64) -> Option<Complex64> {
    let from = SMEARED.min(values.len());
    let ring: Vec<Complex64> = values[from..]
        .iter()
        .take(LONGEST_RING)
        .map(|&v| wide(v))
        .take_while(|v| v.norm() > RING_END * field)
        .collect();
    if ring.len() < LEAST_RING {
        return None;
    }
    let mut turned = 0.0;
    let mut logs = vec![Complex64::new(ring[0].norm().ln(), 0.0)];
    for pair in ring.windows(2) {
        turned += (pair[1] * pair[0].conj()).arg();
        logs.push(Complex64::new(pair[1].norm().ln(), turned));
    }
    let (mut w, mut wx, mut wxx) = (0.0, 0.0, 0.0);
    let (mut wy, mut wxy) = (Complex64::default(), Complex64::default());
    for (k, (log, value)) in logs.iter().zip(&ring).enumerate() {
        let (x, weight) = (k as f64, value.norm_sqr());
        w += weight;
        wx += weight * x;
        wxx += weight * x * x;
        wy += log * weight;
        wxy += log * (weight * x);
    }
    let slope = (wxy * w - wy * wx) / (w * wxx - wx * wx);
    let start = (wy - slope * wx) / w;
    let (mut left, mut power) = (0.0, 0.0);
    let first = Complex64::cis(ring[0].arg());
    for (k, value) in ring.iter().enumerate() {
        let model = (start + slope * k as f64).exp() * first;
        left += (value - model).norm_sqr();
        power += value.norm_sqr();
    }
    (slope.re < 0.0 && left < WORST_FIT * WORST_FIT * power).then_some(slope)
}

/// Mean of all rings; a single one has no scatter to tell its error by.
fn together(slopes: &[Complex64], field_hz: f64) -> Option<Ring> {
    let count = slopes.len() as f64;
    if slopes.len() < 2 {
        return None;
    }
    let offsets: Vec<f64> = slopes
        .iter()
        .map(|s| s.im * field_hz / std::f64::consts::TAU)
        .collect();
    let qualities: Vec<f64> = slopes
        .iter()
        .zip(&offsets)
        // p = −πf_n/Q per second.
        .map(|(s, offset)| std::f64::consts::PI * (field_hz + offset) / (-s.re * field_hz))
        .collect();
    let mean = |values: &[f64]| values.iter().sum::<f64>() / count;
    let deviation = |values: &[f64]| {
        let middle = mean(values);
        let square: f64 = values.iter().map(|v| (v - middle).powi(2)).sum();
        (square / (count - 1.0) / count).sqrt()
    };
    Some(Ring {
        offset_hz: mean(&offsets),
        offset_sd_hz: deviation(&offsets),
        q: mean(&qualities),
        q_sd: deviation(&qualities),
        rings: slopes.len(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::receiver::Edge;

    /// Pulses of a tank of known resonance, written out: both edges give it back.
    #[test]
    fn a_tanks_resonance_comes_out_of_its_edges() {
        let field_hz = 134_200.0;
        for (offset_hz, q) in [(0.0, 20.0), (-4000.0, 25.0), (9000.0, 40.0)] {
            let natural_hz = field_hz + offset_hz;
            let pole = Complex64::new(
                -std::f64::consts::PI * natural_hz / q,
                std::f64::consts::TAU * offset_hz,
            ) / field_hz;
            let mut values = Vec::new();
            for _ in 0..4 {
                values.extend((0..2000).map(|k| {
                    let v = 1.0 - (pole * f64::from(k)).exp();
                    Complex32::new(v.re as f32, v.im as f32)
                }));
                values.extend((0..400).map(|k| {
                    let v = (pole * f64::from(k)).exp();
                    Complex32::new(v.re as f32, v.im as f32)
                }));
            }
            let edges = edges(&Cycles {
                values,
                first: 0,
                field_hz,
                band_hz: 67_000.0,
                edge: Edge::ideal(),
                gaps: Vec::new(),
            });
            let ring = edges.ring.unwrap();
            // Exact exponentials: what is left is single precision and the settled level's last e^-7.
            assert!((ring.offset_hz - offset_hz).abs() < 60.0, "{ring:?}");
            assert!((ring.q / q - 1.0).abs() < 0.03, "{ring:?}");
            assert_eq!(edges.whole_pulses_s.len(), 4);
        }
    }
}
