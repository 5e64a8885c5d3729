//! Lines of a spectrum that stand out of what is around them.

use crate::receiver::dsp::tones::Floor;

/// Power over the median at which a line counts. In noise the two spectra are independent, so the smaller one exceeds 40
/// times its median (0.35 of either's mean) with a probability of e^−28, for any of 2^17 lines 1e-7.
const STANDS_OUT: f64 = 40.0;

/// Tones removed in one pass over a spectrum.
pub const TONES_A_PASS: usize = 8;

/// In one pass only tones within 30 dB of the strongest are believed; weaker ones may be its skirts.
pub const BELIEVED: f64 = 1e-3;

/// The powers that stand out of their surroundings, all others 0; `None` where there are none.
pub fn standing_out(power: &[f64]) -> Option<Vec<f64>> {
    let floor = Floor::of(power);
    let stands_out = |(line, power): (usize, &f64)| *power > STANDS_OUT * floor.at(line);
    power.iter().enumerate().any(stands_out).then(|| {
        let kept = |line: (usize, &f64)| if stands_out(line) { *line.1 } else { 0.0 };
        power.iter().enumerate().map(kept).collect()
    })
}

/// Local maxima above a threshold, strongest first, as signed fractions of the rate.
pub fn peaks(power: &[f64], reach: isize, threshold: f64, most: usize) -> Vec<f64> {
    let lines = power.len() as isize;
    let at = |line: isize| power[line.rem_euclid(lines) as usize];
    let mut found: Vec<(f64, f64)> = (0..lines)
        .filter(|&line| {
            let here = at(line);
            here > threshold && (1..=reach).all(|d| here >= at(line - d) && here > at(line + d))
        })
        .map(|line| {
            let signed = if line >= lines / 2 {
                line - lines
            } else {
                line
            };
            (at(line), signed as f64 / lines as f64)
        })
        .collect();
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    found.truncate(most);
    found.into_iter().map(|(_, place)| place).collect()
}
