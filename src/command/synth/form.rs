//! Forms of a capture file, and what they cannot hold.

use anyhow::{bail, ensure};

use super::Arguments;
use super::target::{Form, Target};
use crate::command::signal::Kind;
use fieldripple::number::shown;

/// Largest file written, bytes: above it many programs no longer read a WAV file.
const LARGEST_BYTES: f64 = (1u64 << 31) as f64;

/// Refuses what a file cannot hold.
pub fn check(target: &Target, seconds: f64) -> anyhow::Result<()> {
    ensure!(
        target.form != Form::Wav || target.rate_hz.fract() == 0.0,
        "a WAV file states its rate in whole Hz, not {}: take a whole --rate or another form",
        target.rate_hz
    );
    let bytes = target.samples as f64 * bytes_a_sample(target);
    ensure!(
        bytes <= LARGEST_BYTES,
        "{seconds} s at {} would be {:.1} GB; allowed are {:.1} GB: take less --seconds, --rate or --bits",
        shown(target.rate_hz, "S/s"),
        bytes / 1e9,
        LARGEST_BYTES / 1e9
    );
    Ok(())
}

fn bytes_a_sample(target: &Target) -> f64 {
    let channels = target.content.channels().len() as f64;
    let bits = target.digitiser.map_or(32, |digitiser| digitiser.bits);
    let bytes = match target.form {
        // A value and its comma.
        Form::Text | Form::HalfBits => 12.0,
        Form::Wav => f64::from(bits.div_ceil(8)),
        Form::Raw if bits <= 16 => 2.0,
        Form::Npy | Form::Raw => 4.0,
    };
    // A line of text also has a time.
    bytes * channels + if target.form == Form::Text { 14.0 } else { 0.0 }
}

/// The form that the ending asks for.
pub fn form(arguments: &Arguments) -> anyhow::Result<Form> {
    let ending = arguments
        .out
        .extension()
        .and_then(|ending| ending.to_str())
        .map(str::to_ascii_lowercase);
    let form = match ending.as_deref() {
        Some("wav") => Form::Wav,
        Some("csv") => Form::Text,
        Some("npy") => Form::Npy,
        Some("raw") => Form::Raw,
        Some("txt") if arguments.signal.kind() == Kind::Load => Form::HalfBits,
        _ => bail!(
            "{}: the ending says what to write; allowed are .wav, .csv, .npy and .raw, and .txt for --kind load",
            arguments.out.display()
        ),
    };
    ensure!(
        !arguments.settings_lines || (form == Form::Text && !arguments.signal.kind().drives()),
        "--settings-lines goes with captures in .csv only"
    );
    Ok(form)
}
