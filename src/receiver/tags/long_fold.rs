//! Ripple of any length → as much of it as the receiver takes at once, with the noise of all of it averaged.
//!
//! The field is the clock and a telegram repeats every [`TELEGRAM`] cycles, so values an even number of telegrams apart hold
//! the same ripple whatever the telegram's parity. Averaging them keeps what a number is decided by, in constant memory.

use std::sync::Arc;

use num_complex::Complex32;

use crate::receiver::dsp::retime::{ENDS, retime};
use crate::receiver::field::pieces::Piece;
use crate::receiver::fold::sums::TELEGRAM;

/// Telegrams kept apart: even, so that both parities add up, and enough for the noise to be measured between them (at least
/// four).
const APART: usize = 8;
const LENGTH: usize = APART * TELEGRAM;

/// Where a stretch of ripple lies on the field's own cycles, counted on over all windows of a capture.
#[derive(Clone, Copy, Debug)]
struct Place {
    cycle: f64,
    from_s: f64,
    frequency_hz: f64,
}

/// Counts the field's cycles from one piece to the next, the frequency taken as changing evenly between them.
#[derive(Clone, Debug, Default)]
pub struct CycleCount {
    last: Option<Place>,
}

impl CycleCount {
    /// Cycle at which a piece begins. `offset_s` is the time of its window's first sample. Frequencies of a second's worth of
    /// field are known to millihertz, so a thousandth of a cycle is lost from window to window, where 16 are half a bit.
    pub fn of(&mut self, piece: &Piece, offset_s: f64) -> f64 {
        let from_s = offset_s + piece.from_s;
        let frequency_hz = piece.field.frequency_hz;
        let cycle = self.last.map_or(0.0, |last| {
            last.cycle + 0.5 * (last.frequency_hz + frequency_hz) * (from_s - last.from_s)
        });
        self.last = Some(Place {
            cycle,
            from_s,
            frequency_hz,
        });
        cycle
    }
}

/// Ripple averaged over telegrams that lie [`APART`] telegrams apart.
#[derive(Clone, Debug)]
pub struct LongFold {
    sums: Vec<Complex32>,
    counts: Vec<u32>,
    /// The field, edge and band of the first piece; its ripple is left out.
    like: Piece,
}

impl LongFold {
    /// Of one piece that begins at this cycle; `offset_s` is the time of its window's first sample.
    pub fn new(piece: &Piece, cycle: f64, offset_s: f64) -> Self {
        let mut sums = vec![Complex32::default(); LENGTH];
        let mut counts = vec![0; LENGTH];
        let begin = cycle.round().rem_euclid(LENGTH as f64) as usize;
        // Windows begin between cycles: laid on the nearest one, edges would lie half a cycle apart.
        let between = cycle - cycle.round();
        let ripple = retime(&piece.ripple, |_| between);
        let inside = ENDS..ripple.len().saturating_sub(ENDS).max(ENDS);
        for (k, value) in ripple
            .iter()
            .enumerate()
            .take(inside.end)
            .skip(inside.start)
        {
            let slot = (begin + k) % LENGTH;
            sums[slot] += value;
            counts[slot] += 1;
        }
        Self {
            sums,
            counts,
            like: Piece {
                ripple: Vec::new(),
                from_s: offset_s + piece.from_s,
                to_s: offset_s + piece.to_s,
                after_start: false,
                after_gap: false,
                field: piece.field,
                tones: Vec::new(),
                band_hz: piece.band_hz,
                edge: Arc::clone(&piece.edge),
                impulses: 0,
            },
        }
    }

    /// Adds a fold of later ripple.
    pub fn add(&mut self, later: &Self) {
        for (sum, other) in self.sums.iter_mut().zip(&later.sums) {
            *sum += other;
        }
        for (count, other) in self.counts.iter_mut().zip(&later.counts) {
            *count += other;
        }
        self.like.to_s = later.like.to_s;
    }

    /// From its first value to its end, seconds from the first sample of the capture.
    pub fn span_s(&self) -> (f64, f64) {
        (self.like.from_s, self.like.to_s)
    }

    /// How many telegrams were added up to one.
    pub fn times(&self) -> f64 {
        self.counts
            .iter()
            .map(|&count| f64::from(count))
            .sum::<f64>()
            / LENGTH as f64
    }

    /// The average as a piece of ripple, where all of it was there at least once.
    pub fn piece(&self) -> Option<Piece> {
        if self.counts.contains(&0) {
            return None;
        }
        let ripple = self.sums.iter().zip(&self.counts);
        Some(Piece {
            ripple: ripple.map(|(sum, &count)| sum / count as f32).collect(),
            ..self.like.clone()
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::receiver::field::pieces::FieldFit;
    use crate::receiver::front::edge::Edge;

    fn piece(from_s: f64, frequency_hz: f64, ripple: Vec<Complex32>) -> Piece {
        Piece {
            to_s: from_s + ripple.len() as f64 / frequency_hz,
            from_s,
            ripple,
            after_start: false,
            after_gap: false,
            field: FieldFit {
                frequency_hz,
                ..FieldFit::default()
            },
            tones: Vec::new(),
            band_hz: 30e3,
            edge: Arc::new(Edge::ideal()),
            impulses: 0,
        }
    }

    /// A ripple that inverts with each telegram, cut into windows with gaps between them: the average is the ripple, whatever
    /// was cut.
    #[test]
    fn windows_add_up_on_the_fields_own_cycles() {
        let frequency_hz = 134_187.3;
        let at = |cycle: usize| {
            let sign = if (cycle / TELEGRAM).is_multiple_of(2) {
                1.0
            } else {
                -1.0
            };
            Complex32::new(sign * (cycle % TELEGRAM) as f32, 0.0)
        };
        let mut count = CycleCount::default();
        let mut whole: Option<LongFold> = None;
        for (begin, length) in [(0, 70_000), (70_500, 50_001), (200_003, 90_000)] {
            let ripple = (begin..begin + length).map(at).collect();
            let offset_s = begin as f64 / frequency_hz - 0.001;
            let piece = piece(0.001, frequency_hz, ripple);
            let cycle = count.of(&piece, offset_s);
            assert!((cycle - begin as f64).abs() < 1e-3, "{cycle} {begin}");
            let fold = LongFold::new(&piece, cycle, offset_s);
            match &mut whole {
                None => whole = Some(fold),
                Some(whole) => whole.add(&fold),
            }
        }
        let whole = whole.unwrap();
        assert!((whole.times() - (210_001 - 3 * 2 * ENDS) as f64 / LENGTH as f64).abs() < 1e-9);
        let average = whole.piece().unwrap();
        for (cycle, value) in average.ripple.iter().enumerate() {
            assert!((value - at(cycle)).norm() < 1e-3, "{cycle}: {value}");
        }
    }

    /// Windows that begin anywhere between two cycles.
    #[test]
    fn parts_of_a_cycle_are_kept() {
        let frequency_hz = 134_187.3;
        // Slow against the interpolator, whose passband is flat to 0.1 %; positions of a 64th of a cycle leave half of one.
        let turns = 40.0 / TELEGRAM as f64;
        let at =
            |cycle: f64| Complex32::new((std::f64::consts::TAU * turns * cycle).cos() as f32, 0.0);
        let allowed = 1e-3 + std::f64::consts::TAU * turns / 128.0;
        let mut count = CycleCount::default();
        let mut whole: Option<LongFold> = None;
        for begin in [0.0, 70_000.5, 140_000.27, 210_001.81] {
            let ripple = (0..70_000).map(|k| at(begin + f64::from(k))).collect();
            let offset_s = begin / frequency_hz;
            let piece = piece(0.0, frequency_hz, ripple);
            let cycle = count.of(&piece, offset_s);
            let fold = LongFold::new(&piece, cycle, offset_s);
            match &mut whole {
                None => whole = Some(fold),
                Some(whole) => whole.add(&fold),
            }
        }
        for (cycle, value) in whole.unwrap().piece().unwrap().ripple.iter().enumerate() {
            let off = (value - at(cycle as f64)).norm();
            assert!(f64::from(off) < allowed, "{cycle}: {value}");
        }
    }
}
