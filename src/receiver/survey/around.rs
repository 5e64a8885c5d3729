//! Noise and interference beside the field, the ripple taken out.
//!
//! A constant tag repeats every 4096 cycles, inverted or not: of `z[n] − z[n+4096]` and `z[n] + z[n+4096]` one holds
//! nothing of it. The quieter of the two is what is not the tag's.

use num_complex::Complex32;

use crate::receiver::dsp::transform::{forward, window};
use crate::receiver::field::pieces::Piece;
use crate::receiver::fold::sums::TELEGRAM;

/// Values of one transform: 16.4 Hz a line.
const LINES: usize = 8192;
/// Fewest values of the difference: half a transform, the rest filled with nothing.
const LEAST: usize = LINES / 2;

/// Offsets from the field within which the two differences are compared: the ripple's own bands, without the field's skirts.
const BANDS_HZ: [f64; 2] = [500.0, 12_000.0];

/// Half distance of the two tones of a radio ripple-control transmitter, and half the width looked at around each (±170 Hz,
/// 200 Bd; operators' pages).
const SHIFT_HZ: f64 = 170.0;
/// See [`SHIFT_HZ`].
const HALF_WIDTH_HZ: f64 = 100.0;
/// The surroundings: from here …
const FLANK_FROM_HZ: f64 = 500.0;
/// … to here on both sides.
const FLANK_TO_HZ: f64 = 1500.0;

/// Power density beside the field, relative to the field's power.
#[derive(Clone, Debug)]
pub struct Around {
    /// Hz from one line to the next.
    pub step_hz: f64,
    /// Power of each line relative to the field's, offsets from 0 up, negative ones in the upper half.
    pub power: Vec<f64>,
    /// The field's frequency, Hz.
    pub field_hz: f64,
}

/// Two humps of a two-tone transmitter over their surroundings, as ratios of density.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hump {
    /// Middle of the two, Hz.
    pub centre_hz: f64,
    /// The lower hump and the upper one over the median of the surroundings.
    pub over: [f64; 2],
    /// Total power relative to the field's.
    pub power: f64,
}

/// Measures a piece; `None` below some 1.75 telegrams. `raw` are the field's own values over the piece.
pub fn around(raw: &[Complex32], piece: &Piece, clock_hz: f64) -> Option<Around> {
    if raw.len() < TELEGRAM + LEAST || piece.field.amplitude <= 0.0 {
        return None;
    }
    let spectra = [1.0, -1.0].map(|sign| spectrum(raw, sign));
    let step_hz = clock_hz / LINES as f64;
    let within = |line: usize| {
        let distance = line.min(LINES - line) as f64 * step_hz;
        distance > BANDS_HZ[0] && distance < BANDS_HZ[1]
    };
    let total = |power: &[f64]| -> f64 {
        power
            .iter()
            .enumerate()
            .filter(|(line, _)| within(*line))
            .map(|(_, p)| p)
            .sum()
    };
    let [same, turned] = spectra;
    let mut power = if total(&same) <= total(&turned) {
        same
    } else {
        turned
    };
    let scale = 1.0 / piece.field.amplitude.powi(2);
    power.iter_mut().for_each(|p| *p *= scale);
    Some(Around {
        step_hz,
        power,
        // The values turn with the clock; what is left of the field's own turning moves the lines as much.
        field_hz: clock_hz,
    })
}

/// Averaged power of the difference, halved: that of what is not the tag's, in the scale of a tone's |amplitude|² spread
/// over the window's lines.
fn spectrum(raw: &[Complex32], sign: f32) -> Vec<f64> {
    let later = &raw[TELEGRAM..];
    let used = LINES.min(later.len());
    let shape = window(used);
    let energy: f64 = shape.iter().map(|w| f64::from(w * w)).sum();
    let segments = ((later.len() - used) / (LINES / 2)) + 1;
    let fft = forward(LINES);
    let mut power = vec![0.0; LINES];
    let share = 1.0 / (2.0 * energy * segments as f64 * LINES as f64);
    let mut buffer = Vec::with_capacity(LINES);
    for segment in 0..segments {
        let from = segment * (LINES / 2);
        let pairs = raw[from..from + used].iter().zip(&later[from..]);
        buffer.clear();
        buffer.extend(
            pairs
                .zip(shape.iter())
                .map(|((now, later), w)| (now - later * sign) * w),
        );
        buffer.resize(LINES, Complex32::default());
        fft.process(&mut buffer);
        for (sum, value) in power.iter_mut().zip(&buffer) {
            *sum += f64::from(value.norm_sqr()) * share;
        }
    }
    power
}

impl Around {
    /// Mean power of a line between two frequencies; `None` outside the band.
    fn lines(&self, from_hz: f64, to_hz: f64) -> Vec<f64> {
        let line = |hz: f64| ((hz - self.field_hz) / self.step_hz).round() as isize;
        (line(from_hz)..=line(to_hz))
            .map(|k| self.power[k.rem_euclid(LINES as isize) as usize])
            .collect()
    }

    /// Noise density relative to the field's power, 1/Hz: the median over the return bands, which interference that
    /// stands on a few lines does not lift. The median of exponentially distributed powers is ln 2 of their mean, of
    /// several averaged nearer to it; the error of taking it whole stays below 0.8 dB.
    pub fn noise_density(&self) -> f64 {
        let mut all: Vec<f64> = [[-9000.0, -1000.0], [1000.0, 9000.0]]
            .iter()
            .flat_map(|[from, to]| self.lines(self.field_hz + from, self.field_hz + to))
            .collect();
        all.sort_by(f64::total_cmp);
        all[all.len() / 2] / self.step_hz
    }

    /// The two humps around `centre_hz` against both flanks.
    pub fn hump(&self, centre_hz: f64) -> Hump {
        let mean = |values: &[f64]| values.iter().sum::<f64>() / values.len() as f64;
        let mut flanks = self.lines(centre_hz - FLANK_TO_HZ, centre_hz - FLANK_FROM_HZ);
        flanks.extend(self.lines(centre_hz + FLANK_FROM_HZ, centre_hz + FLANK_TO_HZ));
        flanks.sort_by(f64::total_cmp);
        let floor = (flanks[flanks.len() / 2] / std::f64::consts::LN_2).max(f64::MIN_POSITIVE);
        let over = [-SHIFT_HZ, SHIFT_HZ].map(|shift| {
            let middle = centre_hz + shift;
            mean(&self.lines(middle - HALF_WIDTH_HZ, middle + HALF_WIDTH_HZ)) / floor
        });
        let reach = SHIFT_HZ + HALF_WIDTH_HZ;
        let all = self.lines(centre_hz - reach, centre_hz + reach);
        let excess: f64 = all.iter().map(|p| (p - floor).max(0.0)).sum();
        Hump {
            centre_hz,
            over,
            power: excess,
        }
    }
}
