//! All pieces of ripple laid on the telegram that was read in them, bit 0 first.

use num_complex::{Complex32, Complex64};
use rustfft::FftPlanner;

use super::style::quantile;
use crate::linecode::load_states;
use crate::receiver::{Attempt, Fold, HALF, Piece, TELEGRAM};
use crate::telegram::{CODED_BITS, TELEGRAM_BITS};

/// Half bits of a telegram.
const HALVES: usize = 2 * TELEGRAM_BITS;
/// A bit has 32 cycles: from 24 dB of a folded bit on, a single cycle is 9 dB above the noise.
const CLEAN_DB: f64 = 24.0;
/// Trailers less sure than this are not stated.
const TRAILER_SURE: f64 = 0.999;
/// Values this many times the piece's median are no ripple but the field coming on or going off: of noise alone one
/// value in 60 000 is as large (Rayleigh distribution).
const OUTLYING: f32 = 4.0;

/// The mean telegram of all pieces.
#[derive(Clone, Debug)]
pub(super) struct Aligned {
    /// Mean ripple in each field cycle of the telegram, cell 0 where bit 0 starts; the first bit begins with load
    /// state +1.
    pub cells: Vec<Complex64>,
    /// The bits in the order sent.
    pub bits: [bool; TELEGRAM_BITS],
    /// Load state in each half bit.
    pub states: Vec<i8>,
    /// Every second telegram is inverted.
    pub inverts: bool,
    /// Ripple angle, radians.
    pub angle: f64,
    /// Bits from the first on that are certain: without the trailer where it is not.
    pub certain: usize,
    /// Eb/N0 of the mean telegram, dB.
    pub folded_db: f64,
    /// Where bit 0 starts in each piece, within the period, and the load state there.
    places: Vec<(usize, f64)>,
}

impl Aligned {
    /// Finds the telegram in every piece by correlating with its load states; `None` without pieces.
    pub fn new(pieces: &[Piece], attempt: &Attempt) -> Option<Self> {
        let bits = attempt.decision.telegram.bits();
        let inverts = attempt.inverts;
        let states = load_states(&bits, 1);
        let mut aligned = Self {
            cells: vec![Complex64::default(); TELEGRAM],
            bits,
            states,
            inverts,
            angle: attempt.angle,
            certain: if attempt.decision.trailer_sure >= TRAILER_SURE {
                TELEGRAM_BITS
            } else {
                CODED_BITS
            },
            folded_db: attempt.folded_db(),
            places: Vec::new(),
        };
        let mut counts = vec![0.0; TELEGRAM];
        let turn = Complex64::cis(-attempt.angle);
        for piece in pieces {
            let place = aligned.place_in(piece, turn);
            aligned.places.push(place);
            let limit =
                OUTLYING * quantile(piece.ripple.iter().map(|v| f64::from(v.norm())), 0.5) as f32;
            let usual = |(_, value): &(usize, &Complex32)| value.norm() <= limit;
            for (i, value) in piece.ripple.iter().enumerate().filter(usual) {
                let (cell, sign) = aligned.cell_of(i, place);
                aligned.cells[cell] +=
                    Complex64::new(f64::from(value.re), f64::from(value.im)) * sign;
                counts[cell] += 1.0;
            }
        }
        for (cell, count) in aligned.cells.iter_mut().zip(&counts) {
            *cell /= f64::max(*count, 1.0);
        }
        counts.iter().any(|&count| count > 0.0).then_some(aligned)
    }

    fn period(&self) -> usize {
        if self.inverts { 2 * TELEGRAM } else { TELEGRAM }
    }

    /// The load state expected in each cell of a period.
    fn template(&self) -> Vec<Complex64> {
        (0..self.period())
            .map(|i| {
                let half = (i / HALF) % HALVES;
                let known = half < 2 * self.certain;
                let state = if known {
                    f64::from(self.states[half])
                } else {
                    0.0
                };
                Complex64::new(if i >= TELEGRAM { -state } else { state }, 0.0)
            })
            .collect()
    }

    fn place_in(&self, piece: &Piece, turn: Complex64) -> (usize, f64) {
        let period = self.period();
        let fold = Fold::new(&piece.ripple, self.inverts);
        let mut folded: Vec<Complex64> = (0..period)
            .map(|i| {
                let sum = fold.sums[i % TELEGRAM] * turn;
                if i >= TELEGRAM { -sum } else { sum }
            })
            .collect();
        let mut template = self.template();
        let mut planner = FftPlanner::new();
        let forward = planner.plan_fft_forward(period);
        forward.process(&mut folded);
        forward.process(&mut template);
        for (f, t) in folded.iter_mut().zip(&template) {
            *f *= t.conj();
        }
        planner.plan_fft_inverse(period).process(&mut folded);
        let best = (0..period)
            .max_by(|&a, &b| folded[a].re.abs().total_cmp(&folded[b].re.abs()))
            .unwrap_or(0);
        (best, folded[best].re.signum())
    }

    /// Cell of the telegram at value `i` of a piece, and the sign that its ripple has there.
    fn cell_of(&self, i: usize, (start, sign): (usize, f64)) -> (usize, f64) {
        let period = self.period();
        let within = (i + period - start) % period;
        let seam = if within >= TELEGRAM { -1.0 } else { 1.0 };
        (within % TELEGRAM, sign * seam)
    }

    /// Whether noise calls for smoothing.
    pub fn is_smoothed(&self) -> bool {
        self.folded_db <= CLEAN_DB
    }

    /// Ripple at a cell, a quarter bit averaged where single cycles would show more noise than edges.
    pub fn smoothed(&self, at: isize) -> Complex64 {
        let half: isize = if self.is_smoothed() { 4 } else { 0 };
        let sum: Complex64 = (at - half..=at + half).map(|k| self.cell(k)).sum();
        sum / (2 * half + 1) as f64
    }

    /// The same at value `i` of piece `piece`.
    pub fn smoothed_in(&self, piece: usize, i: usize) -> Complex64 {
        let (cell, sign) = self.cell_of(i, self.places[piece]);
        self.smoothed(cell as isize) * sign
    }

    /// The mean telegram's ripple at value `i` of piece `piece`.
    pub fn expected(&self, piece: usize, i: usize) -> Complex64 {
        let (cell, sign) = self.cell_of(i, self.places[piece]);
        self.cells[cell] * sign
    }

    /// The value of a piece at which a telegram begins, one of every [`TELEGRAM`].
    pub fn begins_at(&self, piece: usize) -> usize {
        self.places[piece].0
    }

    /// Ripple at any cell, before the first and after the last with the sign it has there.
    pub fn cell(&self, at: isize) -> Complex64 {
        let odd = at.div_euclid(TELEGRAM as isize) % 2 != 0;
        let value = self.cells[at.rem_euclid(TELEGRAM as isize) as usize];
        if odd && self.inverts { -value } else { value }
    }

    /// Mean over the settled middle of each certain half bit, with its load state: two cycles at either end are left to the edges.
    pub fn half_bits(&self) -> Vec<(Complex64, i8)> {
        self.cells
            .chunks(HALF)
            .zip(&self.states)
            .take(2 * self.certain)
            .map(|(half, &state)| {
                let settled = &half[2..HALF - 2];
                let mean = settled.iter().sum::<Complex64>() / settled.len() as f64;
                (mean, state)
            })
            .collect()
    }

    /// Mean ripple in the load states +1 and −1.
    pub fn load_states(&self) -> [Complex64; 2] {
        let halves = self.half_bits();
        [1, -1].map(|wanted| {
            let (mut sum, mut count) = (Complex64::default(), 0.0);
            for (value, _) in halves.iter().filter(|(_, state)| *state == wanted) {
                sum += value;
                count += 1.0;
            }
            sum / f64::max(count, 1.0)
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::receiver::{Samples, Signal, receive};
    use crate::telegram::Telegram;

    /// Ripple of ideal edges begun in the middle of a telegram: its states come back in their places.
    #[test]
    fn the_telegram_is_found_where_it_begins() {
        for code in [0x8000_F9C0_0000_0001, 0x8000_F9D6_FEE0_E52D] {
            let bits = Telegram::new(code).bits();
            let period: Vec<i8> = load_states(&[bits, bits].concat(), 1);
            let (rate_hz, field_hz, begun) = (500_000.0, 134_200.0, 1234.0);
            let samples: Vec<f32> = (0..50_000)
                .map(|n| {
                    let cycle = f64::from(n) / rate_hz * field_hz;
                    let half = ((cycle + begun) / HALF as f64) as usize;
                    let ripple = 0.01 * f64::from(period[half % period.len()]);
                    ((1.0 + ripple) * (std::f64::consts::TAU * cycle).cos()) as f32
                })
                .collect();
            let signal = Signal {
                samples: Samples::Real(&samples),
                rate_hz: Some(rate_hz),
                centre_hz: 0.0,
                logic: false,
            };
            let reception = receive(&signal, 1e-5);
            let (seen, reading) = (reception.seen.unwrap(), &reception.readings[0]);
            let aligned = Aligned::new(&seen.pieces, &reading.attempt).unwrap();
            assert_eq!(aligned.bits, bits);
            let [up, down] = aligned.load_states();
            // The two states are ±1 %; the receiver's band rounds the edges, of which two cycles each are left out.
            let turn = Complex64::cis(-aligned.angle);
            let step = ((up - down) * turn).re.abs();
            assert!((step / 0.02 - 1.0).abs() < 0.05, "{step}");
            for (mean, state) in aligned.half_bits() {
                let value = (mean * turn).re * f64::from(state);
                assert!((value / (0.5 * step) - 1.0).abs() < 0.1, "{value} {step}");
            }
        }
    }
}
