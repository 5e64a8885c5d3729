//! Several tags at once: the mean telegram of each, the others' ripple taken off.

use num_complex::{Complex32, Complex64};

use super::View;
use super::aligned::Aligned;
use crate::receiver::{HALF, Piece, TELEGRAM};

/// How often every tag is fitted again to what the others leave. Two telegrams that are alike in half of their bits hide a quarter of
/// each other's error in a round, so little of it is left after six.
const ROUNDS: usize = 6;
/// Half bits before and after one that its ripple is told by: two and one, as what a tank remembers comes later.
const NEIGHBOURS: usize = 3;

impl<'a> View<'a> {
    /// A view of each tag alone, strongest first; the one view where no more than one was read.
    pub fn tags(&self) -> Vec<View<'a>> {
        let several = self.reception.readings.len() > 1;
        let alone = match several {
            true => apart(self),
            false => None,
        };
        let Some(alone) = alone else {
            return vec![self.clone()];
        };
        let views = alone.into_iter().enumerate().map(|(chosen, aligned)| View {
            aligned: Some(aligned),
            chosen,
            apart: true,
            ..self.clone()
        });
        views.collect()
    }

    /// A view of each half-duplex answer.
    pub fn answers(&self) -> Vec<View<'a>> {
        let count = self.reception.others.half_duplex.len();
        let views = (0..count).map(|chosen| View {
            aligned: None,
            chosen,
            ..self.clone()
        });
        views.collect()
    }
}

/// The mean telegram of each tag in what the others' leave; `None` where one of them is nowhere to be found.
fn apart(view: &View<'_>) -> Option<Vec<Aligned>> {
    let pieces = view.pieces();
    let readings = &view.reception.readings;
    let mut found: Vec<Aligned> = Vec::new();
    for round in 0..ROUNDS {
        for (k, reading) in readings.iter().enumerate() {
            let others: Vec<Aligned> = (found.iter().enumerate())
                .filter(|(j, _)| *j != k)
                .map(|(_, other)| regular(other))
                .collect();
            let left: Vec<Piece> = (pieces.iter().enumerate())
                .map(|(at, piece)| without(piece, at, &others))
                .collect();
            let aligned = Aligned::new(&left, &reading.attempt)?;
            match round {
                0 => found.push(aligned),
                _ => found[k] = aligned,
            }
        }
    }
    Some(found)
}

/// The piece at this place without what these tags make of it.
fn without(piece: &Piece, at: usize, tags: &[Aligned]) -> Piece {
    let left = |(i, value): (usize, &Complex32)| {
        let theirs: Complex64 = tags.iter().map(|tag| tag.expected(at, i)).sum();
        value - Complex32::new(theirs.re as f32, theirs.im as f32)
    };
    Piece {
        ripple: piece.ripple.iter().enumerate().map(left).collect(),
        ..piece.clone()
    }
}

/// The telegram as its load states alone make it: what another tag adds has nothing to do with them and averages out.
fn regular(tag: &Aligned) -> Aligned {
    let halves = tag.states.len();
    let state = |half: isize| {
        let turned = tag.inverts && !(0..halves as isize).contains(&half);
        let state = f64::from(tag.states[half.rem_euclid(halves as isize) as usize]);
        if turned { -state } else { state }
    };
    // Which of the neighbours are as the half bit itself, and the cycle in it.
    let class = |cell: usize| {
        let half = (cell / HALF) as isize;
        let same = |other: isize| usize::from(state(other) == state(half));
        let alike = same(half - 2) + 2 * same(half - 1) + 4 * same(half + 1);
        (cell % HALF) << NEIGHBOURS | alike
    };
    let mut sums = vec![(Complex64::default(), 0.0); HALF << NEIGHBOURS];
    for cell in 0..TELEGRAM {
        let (sum, count) = &mut sums[class(cell)];
        *sum += tag.cells[cell] * state((cell / HALF) as isize);
        *count += 1.0;
    }
    let mean = |cell: usize| {
        let (sum, count) = sums[class(cell)];
        sum / f64::max(count, 1.0) * state((cell / HALF) as isize)
    };
    let mut regular = tag.clone();
    regular.cells = (0..TELEGRAM).map(mean).collect();
    regular
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::draw::About;
    use crate::linecode::load_states;
    use crate::receiver::{Samples, Signal, receive};
    use crate::telegram::Telegram;

    /// Two tags of 1 % and 0.6 % on one axis: alone, each one's half bits lie at its own two states and nowhere else.
    #[test]
    fn each_of_two_tags_is_seen_alone() {
        let tags = [
            (0x8000_F9C0_0001_E240_u64, 0.01, 1234),
            (0x8000_F9C0_0009_FBF1, 0.006, 3000),
        ];
        let states: Vec<Vec<i8>> = tags
            .iter()
            .map(|&(code, ..)| {
                let bits = Telegram::new(code).bits();
                load_states(&[bits, bits].concat(), 1)
            })
            .collect();
        let (rate_hz, field_hz) = (500_000.0, 134_200.0);
        let samples: Vec<f32> = (0..150_000)
            .map(|n| {
                let cycle = f64::from(n) / rate_hz * field_hz;
                let ripple: f64 = (tags.iter().zip(&states))
                    .map(|(&(_, depth, begun), states)| {
                        let half = (cycle as usize + begun) / HALF;
                        depth * f64::from(states[half % states.len()])
                    })
                    .sum();
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
        assert_eq!(reception.readings.len(), 2);
        let view = View::new(&reception, About::default());
        let alone = view.tags();
        assert_eq!(alone.len(), 2);
        for (view, (code, depth, _)) in alone.iter().zip(tags) {
            let aligned = view.aligned.as_ref().unwrap();
            assert_eq!(view.reading().unwrap().attempt.decision.telegram.code, code);
            let turn = Complex64::cis(-aligned.angle);
            for (mean, state) in aligned.half_bits() {
                // What is claimed: two thirds of the other tag, which would add or take away 60 % or 170 %, are gone from every half
                // bit. The rest is what the receiver's band makes of its edges.
                let value = (mean * turn).re.abs();
                let other = 0.016 - depth;
                assert!(
                    (value - depth).abs() < other / 3.0,
                    "{state}: {value} of {depth}"
                );
            }
        }
    }
}
