//! Samples, digitised, into their file.

use std::cell::Cell;
use std::path::Path;

use anyhow::Context;
use fieldripple::capture::{ChannelInfo, Heading, Unit, WriteError, WriteKind, write_blocks_then};

use super::target::{Content, Form, Target};

/// Most bits of a digitiser whose samples go into whole numbers of 16 bits.
const SIXTEEN: u32 = 16;

/// How the file is written, and its sample type as `decode --raw` or the form names it.
pub fn kind(target: &Target) -> (WriteKind, &'static str) {
    let bits = target.digitiser.map(|digitiser| digitiser.bits);
    match (target.form, bits) {
        (Form::Text | Form::HalfBits, _) => (WriteKind::Csv, "text"),
        (Form::Npy, _) if target.content == Content::Iq => (WriteKind::Npy, "cf32"),
        (Form::Npy, _) => (WriteKind::Npy, "f32"),
        (Form::Raw, Some(..=SIXTEEN)) if target.content == Content::Iq => {
            (WriteKind::RawI16, "ci16")
        }
        (Form::Raw, Some(..=SIXTEEN)) => (WriteKind::RawI16, "i16"),
        (Form::Raw, _) if target.content == Content::Iq => (WriteKind::RawF32, "cf32"),
        (Form::Raw, _) => (WriteKind::RawF32, "f32"),
        // Alone among the whole numbers of WAV files, 8 bits are unsigned with 128 for zero.
        (Form::Wav, Some(..=8)) => (WriteKind::WavInteger(8), "u8"),
        (Form::Wav, Some(..=SIXTEEN)) => (WriteKind::WavInteger(16), "i16"),
        (Form::Wav, Some(_)) => (WriteKind::WavInteger(24), "i24"),
        (Form::Wav, None) => (WriteKind::WavFloat, "f32"),
    }
}

/// Unit of the samples: whole numbers and WAV files hold fractions of the range, the others volts.
pub fn unit(target: &Target) -> Unit {
    match kind(target).0 {
        _ if !target.content.is_voltage() => Unit::Unknown,
        WriteKind::Csv | WriteKind::Npy | WriteKind::RawF32 => Unit::Volt,
        WriteKind::WavInteger(_) | WriteKind::WavFloat | WriteKind::RawI16 => Unit::FullScale,
    }
}

/// Writes the capture to `place`; `next` fills both vectors (the second with quadrature samples, if there are any) with the next samples or nothing
/// at the end. Returns how many samples were beyond the digitiser's range. The same number goes to `truth`, which writes what is in the
/// capture before the capture takes its name: no capture stands there without its truth.
pub fn write(
    place: &Path,
    target: &Target,
    mut next: impl FnMut(&mut Vec<f64>, &mut Vec<f64>),
    truth: impl FnOnce(u64) -> anyhow::Result<()>,
) -> anyhow::Result<u64> {
    let unit = unit(target);
    let heading = Heading {
        rate_hz: target.rate_hz,
        channels: target
            .content
            .channels()
            .iter()
            .map(|&name| ChannelInfo {
                name: name.into(),
                unit,
            })
            .collect(),
        complex: target.content == Content::Iq,
        length: target.samples,
        settings: if target.settings_lines {
            settings(target)
        } else {
            Vec::new()
        },
    };
    let convert = conversion(target, unit);
    let (mut re, mut im) = (Vec::new(), Vec::new());
    let clipped = Cell::new(0);
    let mut untold = None;
    let written = write_blocks_then(
        place,
        &heading,
        kind(target).0,
        |block| {
            next(&mut re, &mut im);
            for (to, from) in block.iter_mut().zip([&re, &im]) {
                to.extend(from.iter().map(|&value| {
                    let (sample, beyond) = convert(value);
                    clipped.set(clipped.get() + u64::from(beyond));
                    sample
                }));
            }
        },
        || {
            truth(clipped.get()).map_err(|error| {
                untold = Some(error);
                WriteError::Unfit(String::new())
            })
        },
    );
    if let Some(error) = untold {
        return Err(error);
    }
    written.with_context(|| target.out.display().to_string())?;
    Ok(clipped.get())
}

/// From a sample to what is written. A code of up to 24 bits over a power of two is exact in single precision, so the
/// whole numbers of the file are the digitiser's, left-justified: full scale stays full scale.
fn conversion(target: &Target, unit: Unit) -> impl Fn(f64) -> (f32, bool) {
    let digitiser = target.digitiser.filter(|_| unit != Unit::Unknown);
    let scale = match (unit, digitiser) {
        (Unit::FullScale, Some(digitiser)) => digitiser.step() / digitiser.range,
        (_, Some(digitiser)) => digitiser.step(),
        (Unit::FullScale, None) => 1.0 / target.range,
        (_, None) => 1.0,
    };
    move |value| match digitiser {
        None => ((value * scale) as f32, false),
        Some(digitiser) => {
            let (code, clipped) = digitiser.code(value);
            ((f64::from(code) * scale) as f32, clipped)
        }
    }
}

/// Lines of settings before the data: name, value, unit.
fn settings(target: &Target) -> Vec<String> {
    let mut lines = vec![
        format!("samples,{}", target.samples),
        format!("step,{},s", 1.0 / target.rate_hz),
        format!("span,{},V", 2.0 * target.range),
    ];
    if let Some(digitiser) = target.digitiser {
        lines.push(format!("digits,{},bit", digitiser.bits));
    }
    lines.push(String::new());
    lines
}
