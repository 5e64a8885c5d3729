//! Edge lists of logic analysers → steady two-level samples.

use super::super::{CaptureError, Layout, SampleSource};
use crate::order::median;

/// Samples made of any list, however short, and of each of its edges: half a bit lasts 119 µs, and with an edge in 4 ms on
/// average a list is mostly silence. That bounds memory and time by the size of the file.
const SAMPLES_ANYWAY: f64 = 100e3;
const SAMPLES_AN_EDGE: f64 = 4000.0;
/// What is said of a longer list.
pub(super) const ALLOWED: &str = "up to 100000 samples and 4000 for each edge are made of one, at 250 kHz at least: a tag changes its load every 119 or 238 µs";
/// Rate of the samples where the edges allow it: 15 samples to half a period of a carrier divided by 2, and a tenth
/// of the limit for a 20 s list.
const LEAST_RATE_HZ: f64 = 1e6;
const MOST_RATE_HZ: f64 = 20e6;
/// No two edges of a tag are farther apart than a bit, 238 µs; a list without any this near to each other has none of one.
const NO_TAGS_S: f64 = 1e-3;
/// Samples between two typical edges: the place of an edge is then known to a fortieth of the interval.
const SAMPLES_BETWEEN: f64 = 20.0;

/// Do the rows tell changes? In an edge list nearly every row has one (half of them if both sides of an edge are
/// listed); in sampled tracks few have.
pub(super) fn are_edges(channels: &[Vec<f32>]) -> bool {
    let rows = channels.first().map_or(0, Vec::len);
    let changes = (1..rows).filter(|&row| {
        channels
            .iter()
            .any(|channel| channel[row] != channel[row - 1])
    });
    rows > 2 && changes.count() * 5 >= (rows - 1) * 2
}

/// Do the rows come at uneven times? Samples do not, but for the last digits of their times; half bits and whole bits
/// differ by a factor of two.
pub(super) fn are_uneven(times_s: &[f64]) -> bool {
    let intervals = || times_s.windows(2).map(|pair| pair[1] - pair[0]);
    let largest = intervals().fold(f64::NEG_INFINITY, f64::max);
    let smallest = intervals().fold(f64::INFINITY, f64::min);
    let mean = (times_s[times_s.len() - 1] - times_s[0]) / (times_s.len() - 1).max(1) as f64;
    largest - smallest > 0.5 * mean
}

/// A rate that resolves the edges; `None` if no allowed one keeps the list below the limit.
pub(in crate::capture) fn rate_for(times_s: &[f64]) -> Option<f64> {
    let mut intervals: Vec<f64> = times_s
        .windows(2)
        .map(|pair| pair[1] - pair[0])
        .filter(|&d| d > 0.0)
        .collect();
    let median = median(&mut intervals).unwrap_or(1.0);
    let wanted = (SAMPLES_BETWEEN / median).clamp(LEAST_RATE_HZ, MOST_RATE_HZ);
    // Whole steps of 1 MHz: a round rate reads better and costs nothing.
    let wanted = (wanted / LEAST_RATE_HZ).ceil() * LEAST_RATE_HZ;
    // A long silence between edges: fewer samples still show a half bit.
    [wanted, LEAST_RATE_HZ, 0.25 * LEAST_RATE_HZ]
        .into_iter()
        .find(|&rate_hz| fits(times_s, rate_hz))
        .or_else(|| slow_rate(times_s, &intervals))
}

/// For edges that all come too slowly to be a tag's: a rate that shows them, and that they are nothing else.
fn slow_rate(times_s: &[f64], intervals: &[f64]) -> Option<f64> {
    let shortest_s = intervals.iter().copied().fold(f64::INFINITY, f64::min);
    let [first, .., last] = times_s else {
        return None;
    };
    let most_hz = (SAMPLES_ANYWAY / (last - first)).floor();
    let enough_hz = (2.0 * SAMPLES_BETWEEN / shortest_s).ceil();
    (shortest_s > NO_TAGS_S && most_hz * shortest_s > SAMPLES_BETWEEN)
        .then_some(most_hz.min(enough_hz))
}

/// Factor to seconds of times without a unit: the one that brings the usual interval near a tag's half bits and bits (119
/// and 238 µs); `None` where it is there as it stands, or with no unit.
pub(super) fn likely_unit(times_s: &[f64]) -> Option<f64> {
    let mut intervals: Vec<f64> = times_s.windows(2).map(|pair| pair[1] - pair[0]).collect();
    let usual = median(&mut intervals)?;
    let near = |factor: &f64| (30e-6..1e-3).contains(&(usual * factor));
    [1.0, 1e-3, 1e-6, 1e-9]
        .into_iter()
        .find(near)
        .filter(|&factor| factor != 1.0)
}

pub(in crate::capture) fn fits(times_s: &[f64], rate_hz: f64) -> bool {
    match times_s {
        [first, .., last] => {
            let most = SAMPLES_ANYWAY + SAMPLES_AN_EDGE * times_s.len() as f64;
            (last - first) * rate_hz <= most
        }
        _ => true,
    }
}

/// Makes the samples while they are asked for.
pub(super) struct Edges {
    layout: Layout,
    times_s: Vec<f64>,
    /// State from each time on, ±1.
    states: Vec<Vec<f32>>,
    rate_hz: f64,
    row: usize,
    sample: u64,
    samples: u64,
}

impl Edges {
    /// `layout.rate_hz` is the rate of the samples made; the times rise.
    pub(super) fn new(
        mut layout: Layout,
        times_s: Vec<f64>,
        states: Vec<Vec<f32>>,
        rate_hz: f64,
    ) -> Self {
        let span = times_s
            .last()
            .zip(times_s.first())
            .map_or(0.0, |(last, first)| last - first);
        // The last edge is seen, so one sample lies behind it.
        let samples = (span * rate_hz).ceil() as u64 + 1;
        layout.length = Some(samples);
        Self {
            layout,
            times_s,
            states,
            rate_hz,
            row: 0,
            sample: 0,
            samples,
        }
    }
}

impl SampleSource for Edges {
    fn layout(&self) -> &Layout {
        &self.layout
    }

    fn read(&mut self, frames: usize, channels: &mut [Vec<f32>]) -> Result<usize, CaptureError> {
        let count = (frames as u64).min(self.samples - self.sample) as usize;
        for _ in 0..count {
            let time_s = self.times_s[0] + self.sample as f64 / self.rate_hz;
            while self
                .times_s
                .get(self.row + 1)
                .is_some_and(|&next| next <= time_s)
            {
                self.row += 1;
            }
            for (channel, states) in channels.iter_mut().zip(&self.states) {
                channel.push(states[self.row]);
            }
            self.sample += 1;
        }
        Ok(count)
    }
}
