//! A half-duplex tag: sends its telegram once in every pause of the field, two tones with continuous phase.

use super::super::interferer::{Adder, turn};
use super::super::random::uniform;
use super::super::scenario::{FieldPulses, OtherTag};
use super::TONE_CYCLES;
use crate::telegram::Telegram;
use rand::rngs::ChaCha8Rng;

/// Adds the answers. Every bit is 16 whole cycles of its tone, so it begins with the phase the answer began with; that one is
/// drawn anew for every pause, since the tag's oscillator runs free.
pub fn half_duplex(
    tag: &OtherTag,
    telegram: &Telegram,
    pulses: FieldPulses,
    amplitude_v: f64,
    rate_hz: f64,
    mut random: ChaCha8Rng,
) -> Adder {
    let bits = telegram.half_duplex_bits();
    let tone_hz = [tag.zero_hz, tag.one_hz];
    let mut ends_s = Vec::with_capacity(bits.len());
    let mut end_s = 0.0;
    for bit in bits {
        end_s += TONE_CYCLES / tone_hz[usize::from(bit)];
        ends_s.push(end_s);
    }
    let delay_s = tag.delay_ms * 1e-3;
    let decay_s = tag.decay_ms.map(|ms| ms * 1e-3);
    let mut start_cycles = uniform(&mut random);
    let mut bit = 0;
    let mut index = 0u64;
    Box::new(move |block| {
        for sample in block {
            let since_s = pulses.since_on_s(index as f64 / rate_hz) - pulses.on_s - delay_s;
            index += 1;
            if since_s < 0.0 {
                if bit > 0 {
                    bit = 0;
                    start_cycles = uniform(&mut random);
                }
                continue;
            }
            while bit < bits.len() && since_s >= ends_s[bit] {
                bit += 1;
            }
            if bit == bits.len() {
                continue;
            }
            let begin_s = if bit == 0 { 0.0 } else { ends_s[bit - 1] };
            let cycles = tone_hz[usize::from(bits[bit])] * (since_s - begin_s);
            let decayed = decay_s.map_or(1.0, |decay_s| libm::exp(-since_s / decay_s));
            *sample += turn(start_cycles + cycles) * (amplitude_v * decayed);
        }
    })
}
