//! A trial's samples as the decoder gets them.

use std::path::Path;

use anyhow::Context;
use clap::ValueEnum;
use fieldripple::capture::{ChannelInfo, Recording as Written, Unit, WriteKind, write};
use fieldripple::margin::Recording;
use fieldripple::receiver::Samples;

/// Form of the samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum Form {
    /// Whole numbers of the digitiser's bits (floats beyond 24), fractions of its range
    Wav,
    /// 32-bit floats, volts; no rate inside
    Npy,
    /// 32-bit floats, little endian, volts; nothing else inside
    Raw,
}

impl Form {
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Wav => "wav",
            Self::Npy => "npy",
            Self::Raw => "raw",
        }
    }
}

/// Writes the samples of a trial.
pub fn write_to(path: &Path, recording: &Recording, form: Form) -> anyhow::Result<()> {
    let signal = recording.signal();
    let scale = match (form, recording.digitiser) {
        (Form::Wav, Some(digitiser)) => 1.0 / digitiser.range,
        _ => 1.0,
    };
    let scaled = |value: f32| (f64::from(value) * scale) as f32;
    let (samples, complex) = match signal.samples {
        Samples::Real(real) => (
            vec![real.iter().map(|&value| scaled(value)).collect()],
            false,
        ),
        Samples::Complex(pairs) => (
            vec![
                pairs.iter().map(|pair| scaled(pair.re)).collect(),
                pairs.iter().map(|pair| scaled(pair.im)).collect(),
            ],
            true,
        ),
    };
    let names: &[&str] = if complex { &["i", "q"] } else { &["voltage"] };
    let channels = names.iter().map(|&name| ChannelInfo {
        name: name.into(),
        unit: Unit::Volt,
    });
    let kind = match (form, recording.digitiser.map(|digitiser| digitiser.bits)) {
        (Form::Npy, _) => WriteKind::Npy,
        (Form::Raw, _) => WriteKind::RawF32,
        (Form::Wav, Some(..=8)) => WriteKind::WavInteger(8),
        (Form::Wav, Some(..=16)) => WriteKind::WavInteger(16),
        (Form::Wav, Some(_)) => WriteKind::WavInteger(24),
        (Form::Wav, None) => WriteKind::WavFloat,
    };
    let written = Written {
        rate_hz: signal.rate_hz.unwrap_or(1e6),
        channels: channels.collect(),
        samples,
        complex,
    };
    write(path, &written, kind).with_context(|| path.display().to_string())?;
    Ok(())
}
