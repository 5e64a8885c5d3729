//! 125 kHz tags that switch a load in Manchester code or at field/8 and field/10.

use super::super::interferer::Adder;
use super::super::random::{Stream, generator, uniform};
use super::super::scenario::{FieldPulses, OtherTag};
use num_complex::Complex64;

/// Half periods of the two load frequencies, field cycles: field/8 for a 0, field/10 for a 1 (common practice, from memory).
const FSK_HALF_CYCLES: [usize; 2] = [4, 5];

/// Load states (±1) of one round of the word, one a field cycle.
///
/// Manchester: a 1 begins closed (+1), a 0 open. FSK: whole periods, as many as fit into the bit; what is left over lengthens the last
/// half period (50 cycles: five periods of field/10, or six of field/8 and two cycles more), so that every bit begins alike.
pub fn load_states(tag: &OtherTag, seed: u64, index: usize) -> Vec<i8> {
    let cycles = tag.cycles_per_bit() as usize;
    if tag.kind == "fsk" {
        return tag
            .fsk_bits(seed, index)
            .into_iter()
            .flat_map(|bit| {
                let half = FSK_HALF_CYCLES[usize::from(bit)];
                let last = (cycles / (2 * half) * 2).max(2) - 1;
                (0..cycles).map(move |cycle| {
                    if (cycle / half).min(last).is_multiple_of(2) {
                        1
                    } else {
                        -1
                    }
                })
            })
            .collect();
    }
    tag.word(seed, index)
        .bits()
        .into_iter()
        .flat_map(|bit| {
            (0..cycles).map(move |cycle| if (2 * cycle < cycles) == bit { 1 } else { -1 })
        })
        .collect()
}

/// Field cycles from the first sample (in a pulsed field: from each switching on) to the start of a word; drawn where nobody stated it.
pub fn start_cycles(tag: &OtherTag, seed: u64, index: usize, round: usize) -> f64 {
    tag.start_cycles.unwrap_or_else(|| {
        let mut random = generator(seed, Stream::OtherTag(index as u8 | 0x80));
        uniform(&mut random) * round as f64
    })
}

/// Turns the field z into z·(1 + R·s): must come before whatever is added to the field. In a pulsed field the word begins anew at each
/// switching on, after the start.
pub fn load(
    tag: &OtherTag,
    seed: u64,
    index: usize,
    field_hz: f64,
    pulses: Option<FieldPulses>,
    rate_hz: f64,
) -> Adder {
    let states = load_states(tag, seed, index);
    let start = start_cycles(tag, seed, index, states.len());
    let (sin, cos) = libm::sincos(tag.angle_deg.to_radians());
    let ripple = Complex64::new(cos, sin) * tag.depth;
    let round = states.len() as f64;
    let mut sample_index = 0u64;
    Box::new(move |block| {
        for sample in block {
            let at_s = sample_index as f64 / rate_hz;
            sample_index += 1;
            let at_s = pulses.map_or(at_s, |pulses| pulses.since_on_s(at_s));
            let cycles = at_s * field_hz - start;
            let place = cycles - libm::floor(cycles / round) * round;
            let state = states[(place as usize).min(states.len() - 1)];
            *sample *= ripple * f64::from(state) + 1.0;
        }
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn tag(kind: &str) -> OtherTag {
        OtherTag {
            kind: kind.into(),
            data: Some("0123456789".into()),
            ..OtherTag::default()
        }
    }

    /// A change in the middle of every bit, the second half the opposite of the first.
    #[test]
    fn manchester_bits_are_balanced() {
        for cycles in [64, 32] {
            let tag = OtherTag {
                cycles_per_bit: Some(cycles),
                ..tag("manchester")
            };
            let states = load_states(&tag, 1, 0);
            let bits = tag.word(1, 0).bits();
            assert_eq!(states.len(), 64 * cycles as usize);
            for (bit, states) in bits.iter().zip(states.chunks(cycles as usize)) {
                let (first, second) = states.split_at(cycles as usize / 2);
                assert!(first.iter().all(|&s| s == if *bit { 1 } else { -1 }));
                assert!(second.iter().all(|&s| s == -first[0]));
            }
        }
    }

    #[test]
    fn fsk_bits_are_five_periods_of_ten_or_six_of_eight_cycles() {
        let tag = tag("fsk");
        let states = load_states(&tag, 1, 0);
        for (bit, states) in tag.fsk_bits(1, 0).iter().zip(states.chunks(50)) {
            let changes = states.windows(2).filter(|w| w[0] != w[1]).count();
            assert_eq!((states[0], states[49]), (1, -1));
            assert_eq!(changes, if *bit { 9 } else { 11 });
        }
    }
}
