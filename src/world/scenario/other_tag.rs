//! Tags of other kinds, as the keys of a scenario give them; see [`super::KEYS`].
#![allow(missing_docs)]

use super::super::random::{Stream, generator, uniform};
use super::{Scenario, ScenarioError, Sends};
use crate::telegram::ReadOnlyWord;
use serde::{Deserialize, Serialize};

/// Bits of the word an FSK tag repeats, where nothing is known of them (common practice, from memory).
const FSK_WORD_BITS: usize = 96;

/// A half-duplex tag, or a 125 kHz tag that switches a load in Manchester code or at field/8 and field/10.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct OtherTag {
    pub kind: String,
    #[serde(flatten)]
    pub sends: Sends,
    pub level_db: f64,
    pub amplitude_v: Option<f64>,
    pub one_hz: f64,
    pub zero_hz: f64,
    pub delay_ms: f64,
    pub decay_ms: Option<f64>,
    pub data: Option<String>,
    pub depth: f64,
    pub angle_deg: f64,
    pub cycles_per_bit: Option<u32>,
    pub start_cycles: Option<f64>,
}

impl Default for OtherTag {
    fn default() -> Self {
        Self {
            kind: "hdx".into(),
            sends: Sends::default(),
            level_db: -40.0,
            amplitude_v: None,
            one_hz: 124_200.0,
            zero_hz: 134_200.0,
            delay_ms: 1.5,
            decay_ms: None,
            data: None,
            depth: 0.01,
            angle_deg: 30.0,
            cycles_per_bit: None,
            start_cycles: None,
        }
    }
}

/// A pulsed field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FieldPulses {
    /// Seconds on.
    pub on_s: f64,
    /// Seconds off.
    pub off_s: f64,
    /// How long before the first sample the first pulse began, seconds.
    pub lead_s: f64,
}

impl FieldPulses {
    /// Seconds since the field was last switched on, and from one switching on to the next.
    pub fn since_on_s(&self, at_s: f64) -> f64 {
        let period_s = self.on_s + self.off_s;
        let at_s = at_s + self.lead_s;
        at_s - libm::floor(at_s / period_s) * period_s
    }
}

impl Scenario {
    /// How the first reader's field is pulsed.
    pub fn field_pulses(&self) -> Option<FieldPulses> {
        let (times, lead_s) = match &self.direct {
            Some(direct) => (
                direct
                    .on_ms
                    .zip(direct.off_ms)
                    .map(|(on, off)| (on * 1e-3, off * 1e-3)),
                0.0,
            ),
            None => (self.reader.pulses_s(), self.reader.on_before_s()),
        };
        times.map(|(on_s, off_s)| FieldPulses {
            on_s,
            off_s,
            lead_s,
        })
    }
}

impl OtherTag {
    pub(super) fn check(&self) -> Result<(), ScenarioError> {
        self.sends.check()?;
        match &self.data {
            Some(data) if data.len() > 10 || u64::from_str_radix(data, 16).is_err() => {
                Err(ScenarioError::Together(format!(
                    "other_tag.data \"{data}\": up to ten hex digits are allowed"
                )))
            }
            _ => Ok(()),
        }
    }

    /// Field cycles of a bit of those that switch a load.
    pub fn cycles_per_bit(&self) -> u32 {
        let usual = if self.kind == "fsk" { 50 } else { 64 };
        self.cycles_per_bit.unwrap_or(usual)
    }

    /// The word of a read-only tag; data nobody stated is drawn from the seed.
    pub fn word(&self, seed: u64, index: usize) -> ReadOnlyWord {
        let data = match &self.data {
            Some(data) => u64::from_str_radix(data, 16).unwrap_or(0),
            None => {
                let drawn = uniform(&mut generator(seed, Stream::OtherTag(index as u8)));
                (drawn * ReadOnlyWord::MAX as f64) as u64
            }
        };
        ReadOnlyWord::new(data & ReadOnlyWord::MAX).expect("40 bits were kept")
    }

    /// The bits an FSK tag repeats, drawn from the seed.
    pub fn fsk_bits(&self, seed: u64, index: usize) -> Vec<bool> {
        let mut random = generator(seed, Stream::OtherTag(index as u8));
        (0..FSK_WORD_BITS)
            .map(|_| uniform(&mut random) < 0.5)
            .collect()
    }
}
