//! What is written, whatever the samples come from.

use std::path::Path;

use fieldripple::world::Digitiser;

/// Form of the file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Form {
    Wav,
    Text,
    Npy,
    Raw,
    /// Half bits of a load, a line each.
    HalfBits,
}

/// What the samples are.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Content {
    /// Of an instrument.
    Voltage,
    /// Pairs of in-phase and quadrature samples.
    Iq,
    /// Levels 0 and 1.
    Logic,
    /// For a switch: 1 closes it, 0 opens it.
    Load,
    /// For an amplifier: interference, ±1 at the most.
    Air,
    /// Both, a channel each.
    LoadAndAir,
}

impl Content {
    /// Names of the channels.
    pub fn channels(self) -> &'static [&'static str] {
        match self {
            Self::Voltage => &["voltage"],
            Self::Iq => &["i", "q"],
            Self::Logic => &["level"],
            Self::Load => &["load"],
            Self::Air => &["interference"],
            Self::LoadAndAir => &["load", "interference"],
        }
    }

    /// Volts of an instrument; the others are what they are.
    pub fn is_voltage(self) -> bool {
        matches!(self, Self::Voltage | Self::Iq)
    }
}

/// What is written, whatever the samples come from.
pub struct Target<'a> {
    pub out: &'a Path,
    pub form: Form,
    pub settings_lines: bool,
    pub content: Content,
    pub rate_hz: f64,
    pub samples: u64,
    /// `None` = floats without steps.
    pub digitiser: Option<Digitiser>,
    pub range: f64,
}
