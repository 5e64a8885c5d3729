//! Restarts of the telegram within a steady field: where a known telegram lies, window by window.

use num_complex::{Complex32, Complex64};

use crate::linecode;
use crate::receiver::dsp::phasor::Oscillator;
use crate::receiver::dsp::transform::{forward, inverse};
use crate::receiver::fold::sums::{HALF, TELEGRAM};
use crate::receiver::tags::attempt::Attempt;

/// Values of one window: a quarter of a telegram.
const WINDOW: usize = TELEGRAM / 4;
/// Cycles from one place to the next; a telegram that lies between two loses a sixteenth of its half bits to either.
const PLACE: usize = 2;
/// Places in a telegram.
const PLACES: usize = TELEGRAM / PLACE;
/// A window counts where its best place has this many times the mean power of all places. Of noise the largest of 4096
/// exponentially distributed values exceeds 25 times their mean with a probability of 1e-7.
const CLEAR: f64 = 25.0;
/// Two places at most this far apart (places) are the same.
const SAME: usize = 2;
/// The new place must explain this many times the power that the old one does: numbers full of zeros look alike at
/// several places.
const BETTER: f64 = 2.0;

/// Restarts found.
#[derive(Clone, Debug, PartialEq)]
pub struct Restarts {
    /// When the telegram was seen to lie at a new place, seconds from the piece's begin.
    pub at_s: Vec<f64>,
    /// Windows that were clear enough to tell.
    pub windows: usize,
}

/// Follows the telegram through a piece.
pub fn restarts(ripple: &[Complex32], attempt: &Attempt, field_hz: f64) -> Option<Restarts> {
    let bits = attempt.decision.telegram.bits();
    let states = linecode::load_states(&bits, 1);
    // A telegram that repeats inverted makes half a turn from one to the next: turned back as much value by value it
    // repeats, and what it correlates with too.
    let turn = if linecode::inverts(&bits) { -0.5 } else { 0.0 } / PLACES as f64;
    let oscillator = Oscillator::new(turn);
    let mut template: Vec<Complex32> = (0..PLACES)
        .map(|n| Complex32::new(f32::from(states[n / (HALF / PLACE)]), 0.0))
        .collect();
    let (forward, inverse) = (forward(PLACES), inverse(PLACES));
    oscillator.turn(&mut template, Complex64::ONE);
    forward.process(&mut template);
    let mut place: Option<usize> = None;
    let mut waiting: Option<usize> = None;
    let mut found = Restarts {
        at_s: Vec::new(),
        windows: 0,
    };
    for (index, chunk) in ripple.chunks_exact(WINDOW).enumerate() {
        let mut buffer = Vec::with_capacity(PLACES);
        buffer.extend(
            chunk
                .chunks(PLACE)
                .map(|pair| pair.iter().sum::<Complex32>()),
        );
        oscillator.turn(&mut buffer, Complex64::ONE);
        buffer.resize(PLACES, Complex32::default());
        forward.process(&mut buffer);
        buffer
            .iter_mut()
            .zip(&template)
            .for_each(|(x, t)| *x = x.conj() * t);
        inverse.process(&mut buffer);
        let power: Vec<f32> = buffer.iter().map(Complex32::norm_sqr).collect();
        let mean = power.iter().sum::<f32>() / PLACES as f32;
        let (best, &top) = power.iter().enumerate().max_by(|a, b| a.1.total_cmp(b.1))?;
        if f64::from(top) < CLEAR * f64::from(mean) {
            continue;
        }
        found.windows += 1;
        // The place a telegram would have at the piece's first value.
        let origin = (index * WINDOW / PLACE) % PLACES;
        let here = (best + PLACES - origin) % PLACES;
        let Some(old) = place else {
            place = Some(here);
            continue;
        };
        let around = (0..=2 * SAME).map(|k| power[(old + origin + k + PLACES - SAME) % PLACES]);
        let at_old = around.fold(0.0, f32::max);
        if f64::from(top) < BETTER * f64::from(at_old) {
            waiting = None;
        } else if waiting.is_some_and(|w| distance(w, here) <= SAME) {
            found
                .at_s
                .push((index.saturating_sub(1) * WINDOW) as f64 / field_hz);
            place = Some(here);
            waiting = None;
        } else {
            waiting = Some(here);
        }
    }
    Some(found)
}

/// Headers in a row that are whole telegrams apart, of a ripple strong enough to show them: its number would have been read from them.
const WOULD_BE_READ: usize = 5;

/// Two stretches may be made by one header that is none.
const FEW: usize = 2;

/// Restarts of a tag that was not read, between headers that are seen without folding: they are whole telegrams apart otherwise. `None`
/// with fewer than two of them. Where many in a row are not broken, something else keeps the number from being read, and breaks them.
pub fn between_headers(headers: &[usize], field_hz: f64) -> Option<Restarts> {
    /// Cycles by which a header's place is known.
    const SAME_CYCLES: usize = 24;
    let goes_on = |before: &usize, header: &usize| {
        let over = (header - before) % TELEGRAM;
        over.min(TELEGRAM - over) <= SAME_CYCLES
    };
    let stretches: Vec<&[usize]> = headers.chunk_by(goes_on).collect();
    let would_be_read = stretches
        .iter()
        .any(|stretch| stretch.len() >= WOULD_BE_READ);
    // A header where none is breaks the stretch it lies in.
    let alone = stretches.iter().any(|stretch| stretch.len() == 1);
    let is_doubtful = stretches.len() <= FEW && alone;
    let begins = stretches.iter().skip(1).map(|stretch| stretch[0]);
    (headers.len() >= 2).then(|| Restarts {
        at_s: match would_be_read || is_doubtful {
            true => Vec::new(),
            false => begins.map(|begin| begin as f64 / field_hz).collect(),
        },
        windows: headers.len(),
    })
}

fn distance(a: usize, b: usize) -> usize {
    let apart = a.abs_diff(b);
    apart.min(PLACES - apart)
}
