//! Samples → a file, as it is received and as a page hands it out.

use super::Unanswered;
use crate::capture::{ChannelInfo, Recording, Unit, wav_bytes};
use crate::decode::{Decoded, Settings, decode_bytes};

/// Field of captures, of full scale: the rest is for noise and a second field.
pub(super) const AMPLITUDE: f64 = 0.4;

/// A WAV file of 16 bits.
pub(super) fn file(samples: &[f64], rate_hz: f64) -> Result<Vec<u8>, Unanswered> {
    let recording = Recording {
        rate_hz,
        channels: vec![ChannelInfo {
            name: "1".into(),
            unit: Unit::FullScale,
        }],
        complex: false,
        samples: vec![samples.iter().map(|&sample| sample as f32).collect()],
    };
    wav_bytes(&recording, 16).map_err(|error| Unanswered::new(error.to_string()))
}

/// What `decode` makes of a file of this name.
pub(super) fn received(name: &str, file: &[u8]) -> Result<Decoded, Unanswered> {
    decode_bytes(name, file, &Settings::new()).map_err(|error| Unanswered::new(error.to_string()))
}

/// Two digits a byte.
pub(super) fn hexadecimal(bytes: &[u8]) -> String {
    let digit = |value: u8| char::from(b"0123456789abcdef"[usize::from(value)]);
    bytes
        .iter()
        .flat_map(|byte| [digit(byte >> 4), digit(byte & 15)])
        .collect()
}
