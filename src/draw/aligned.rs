//! All pieces of ripple laid on the telegram that was read in them, bit 0 first.

use num_complex::Complex64;
use rustfft::FftPlanner;

use crate::linecode::load_states;
use crate::receiver::{Attempt, Fold, HALF, Piece, TELEGRAM};
use crate::telegram::TELEGRAM_BITS;

/// Half bits of a telegram.
const HALVES: usize = 2 * TELEGRAM_BITS;

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
            folded_db: attempt.folded_db(),
            places: Vec::new(),
        };
        let mut counts = vec![0.0; TELEGRAM];
        let turn = Complex64::cis(-attempt.angle);
        for piece in pieces {
            let place = aligned.place_in(piece, turn);
            aligned.places.push(place);
            for (i, value) in piece.ripple.iter().enumerate() {
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
                let state = f64::from(self.states[(i / HALF) % HALVES]);
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

    /// The mean telegram's ripple at value `i` of piece `piece`.
    pub fn expected(&self, piece: usize, i: usize) -> Complex64 {
        let (cell, sign) = self.cell_of(i, self.places[piece]);
        self.cells[cell] * sign
    }

    /// Ripple at any cell, before the first and after the last with the sign it has there.
    pub fn cell(&self, at: isize) -> Complex64 {
        let odd = at.div_euclid(TELEGRAM as isize) % 2 != 0;
        let value = self.cells[at.rem_euclid(TELEGRAM as isize) as usize];
        if odd && self.inverts { -value } else { value }
    }

    /// Mean over the settled middle of each half bit: two cycles at either end are left to the edges.
    pub fn half_bits(&self) -> Vec<Complex64> {
        self.cells
            .chunks(HALF)
            .map(|half| {
                let settled = &half[2..HALF - 2];
                settled.iter().sum::<Complex64>() / settled.len() as f64
            })
            .collect()
    }

    /// Mean ripple in the load states +1 and −1.
    pub fn load_states(&self) -> [Complex64; 2] {
        let halves = self.half_bits();
        [1, -1].map(|wanted| {
            let (mut sum, mut count) = (Complex64::default(), 0.0);
            for (value, _) in halves
                .iter()
                .zip(&self.states)
                .filter(|(_, s)| **s == wanted)
            {
                sum += value;
                count += 1.0;
            }
            sum / f64::max(count, 1.0)
        })
    }
}
