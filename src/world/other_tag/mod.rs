//! Tags of other kinds than FDX-B: half duplex in the pauses of the field, and loads switched in other codes.

mod half_duplex;
mod load;

pub(super) use half_duplex::half_duplex;
pub(super) use load::{load, load_states, start_cycles};

use super::scenario::{OtherTag, Scenario};

/// Cycles of a tone in a half-duplex bit (the encyclopedia's article "ISO 11784 and ISO 11785").
const TONE_CYCLES: f64 = 16.0;

/// Level and energy of what a tag of another kind sends, at the digitiser.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OtherSent {
    /// Peak of the tone (at its start, where it decays) or of the ripple, V.
    pub amplitude_v: f64,
    /// Length of a bit, seconds; of half-duplex bits the mean of both.
    pub bit_s: f64,
}

impl OtherSent {
    pub(super) fn new(tag: &OtherTag, scenario: &Scenario, field_v: f64) -> Self {
        if tag.kind == "hdx" {
            Self {
                amplitude_v: super::noise_level::level_v(tag.amplitude_v, tag.level_db, field_v),
                bit_s: 0.5 * TONE_CYCLES * (1.0 / tag.one_hz + 1.0 / tag.zero_hz),
            }
        } else {
            Self {
                amplitude_v: tag.depth * field_v,
                bit_s: f64::from(tag.cycles_per_bit()) / scenario.field_hz(),
            }
        }
    }

    /// Energy of a bit in real samples of the carrier, V²s.
    pub fn bit_energy(&self) -> f64 {
        0.5 * self.amplitude_v * self.amplitude_v * self.bit_s
    }
}
