//! Which bits a half-duplex answer holds, given where it begins and its two tones.
//!
//! Bits last 16 cycles of their own tone, so when bit k begins depends on how many of the bits before it are 1. That count is
//! the state of a trellis; its forward and backward sums give the odds of every bit with the timing left open, and its best
//! path the likeliest answer.

use super::tone::{ToneSums, ln_i0};
use crate::telegram::{HALF_DUPLEX_BITS as BITS, HALF_DUPLEX_HEADER as HEADER};

/// States this much (natural logarithm) behind the best one are dropped from the sums; bits are therefore never surer than this.
const DROP: f64 = 40.0;

/// States this much behind are dropped from the search for the best path: one in a million right ones is that far back.
const DROP_EARLY: f64 = 14.0;

/// A tone's amplitude is known to this factor, and the noise in a bit stays below so many times its rms: one of 10^5 is above.
const ROOM: f64 = 1.3;
/// See [`ROOM`].
const NOISE_ROOM: f64 = 3.4;

/// Levels of an answer and of the noise it is in.
#[derive(Clone, Copy, Debug)]
pub struct Levels {
    /// Amplitude of the tones of a 0 and of a 1 at the middle of the answer: a tuned antenna favours one of them.
    pub amplitude: [f64; 2],
    /// The amplitude falls by e^{−fading} from bit to bit.
    pub fading: f64,
    /// Mean square of the noise in a value of full bandwidth.
    pub noise: f64,
}

impl Levels {
    /// Amplitude of one bit's tone.
    pub fn amplitude_of(&self, index: usize, bit: bool) -> f64 {
        let middle = (BITS / 2) as f64;
        self.amplitude[usize::from(bit)] * (self.fading * (middle - index as f64)).exp()
    }
}

/// A hypothesis on where the answer is: begin in values, sums of the tones of a 0 and of a 1.
#[derive(Clone, Copy, Debug)]
pub struct Place<'a> {
    pub begin: f64,
    pub tones: [&'a ToneSums; 2],
}

impl Place<'_> {
    /// Where bit `index` begins if `ones` of those before it are 1.
    pub fn begin_of(&self, index: usize, ones: usize) -> f64 {
        self.begin
            + (index - ones) as f64 * self.tones[0].length
            + ones as f64 * self.tones[1].length
    }

    /// Logarithm of how much likelier the values of this bit are than noise alone; the phase is left open. Bits beyond the end
    /// say nothing.
    fn gain(&self, index: usize, ones: usize, bit: usize, levels: &Levels) -> f64 {
        let tone = self.tones[bit];
        let Some(energy) = tone.energy(self.begin_of(index, ones)) else {
            return 0.0;
        };
        let amplitude = levels.amplitude_of(index, bit == 1);
        let size = energy.sqrt();
        // More than tone and noise can be is something else, such as an antenna that still rings.
        let most =
            ROOM * amplitude * tone.length + NOISE_ROOM * (levels.noise * tone.length).sqrt();
        let excess = (size - most).max(0.0);
        ln_i0(2.0 * amplitude * size.min(most) / levels.noise)
            - (amplitude * amplitude * tone.length + excess * excess / tone.length) / levels.noise
    }

    /// The likeliest first `count` bits that begin with the header, and the logarithm of how much likelier they are than noise.
    pub fn best(&self, levels: &Levels, count: usize) -> (f64, Vec<bool>) {
        let mut scores = vec![0.0];
        let mut came_by: Vec<Vec<bool>> = Vec::with_capacity(count);
        for index in 0..count {
            let top = scores.iter().copied().fold(f64::NEG_INFINITY, f64::max);
            let mut next = vec![f64::NEG_INFINITY; index + 2];
            let mut by = vec![false; index + 2];
            for (ones, &score) in scores.iter().enumerate() {
                if score < top - DROP_EARLY {
                    continue;
                }
                for bit in 0..2 {
                    if HEADER.get(index).is_some_and(|&known| known != (bit == 1)) {
                        continue;
                    }
                    let here = score + self.gain(index, ones, bit, levels);
                    if here > next[ones + bit] {
                        next[ones + bit] = here;
                        by[ones + bit] = bit == 1;
                    }
                }
            }
            scores = next;
            came_by.push(by);
        }
        let (mut ones, score) =
            scores
                .iter()
                .copied()
                .enumerate()
                .fold((0, f64::NEG_INFINITY), |best, this| {
                    if this.1 > best.1 { this } else { best }
                });
        let mut bits = vec![false; count];
        for index in (0..count).rev() {
            bits[index] = came_by[index][ones];
            ones -= usize::from(bits[index]);
        }
        (score, bits)
    }

    /// ln P(1)/P(0) of every bit, the header's as if they were unknown.
    pub fn soft(&self, levels: &Levels) -> [f64; BITS] {
        let none = f64::NEG_INFINITY;
        let mut gains = vec![[0.0; 2]; BITS * (BITS + 1) / 2];
        let row = |index: usize| index * (index + 1) / 2;
        let mut forward = vec![none; row(BITS + 1)];
        forward[0] = 0.0;
        for index in 0..BITS {
            let top = forward[row(index)..row(index + 1)]
                .iter()
                .copied()
                .fold(none, f64::max);
            for ones in 0..=index {
                let score = forward[row(index) + ones];
                if score < top - DROP {
                    forward[row(index) + ones] = none;
                    continue;
                }
                for bit in 0..2 {
                    let gain = self.gain(index, ones, bit, levels);
                    gains[row(index) + ones][bit] = gain;
                    let next = &mut forward[row(index + 1) + ones + bit];
                    *next = add(*next, score + gain);
                }
            }
        }
        let mut backward = vec![0.0; BITS + 1];
        let mut soft = [0.0; BITS];
        for index in (0..BITS).rev() {
            let mut sums = [none; 2];
            let mut before = vec![none; index + 1];
            for ones in 0..=index {
                let score = forward[row(index) + ones];
                if score == none {
                    continue;
                }
                for bit in 0..2 {
                    let on = gains[row(index) + ones][bit] + backward[ones + bit];
                    sums[bit] = add(sums[bit], score + on);
                    before[ones] = add(before[ones], on);
                }
            }
            soft[index] = (sums[1] - sums[0]).clamp(-DROP, DROP);
            backward = before;
        }
        soft
    }
}

/// ln(e^a + e^b)
fn add(a: f64, b: f64) -> f64 {
    let (high, low) = if a > b { (a, b) } else { (b, a) };
    if low == f64::NEG_INFINITY {
        high
    } else {
        high + (low - high).exp().ln_1p()
    }
}
