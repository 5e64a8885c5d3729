//! The planned signal, digitised, into its file.

use anyhow::Context;
use ripplemark::capture::{ChannelInfo, Heading, Unit, WriteKind, write_blocks};
use ripplemark::world::View;

use super::plan::{Form, Plan};

/// Most bits of a digitiser whose samples go into whole numbers of 16 bits.
const SIXTEEN: u32 = 16;

/// How the file is written, and its sample type as `decode --raw` or the form names it.
pub fn kind(plan: &Plan) -> (WriteKind, &'static str) {
    let bits = plan.digitiser.map(|digitiser| digitiser.bits);
    match (plan.form, bits) {
        (Form::Text, _) => (WriteKind::Csv, "text"),
        (Form::Npy, _) if plan.complex() => (WriteKind::Npy, "cf32"),
        (Form::Npy, _) => (WriteKind::Npy, "f32"),
        (Form::Raw, Some(..=SIXTEEN)) if plan.complex() => (WriteKind::RawI16, "ci16"),
        (Form::Raw, Some(..=SIXTEEN)) => (WriteKind::RawI16, "i16"),
        (Form::Raw, _) if plan.complex() => (WriteKind::RawF32, "cf32"),
        (Form::Raw, _) => (WriteKind::RawF32, "f32"),
        // Alone among the whole numbers of WAV files, 8 bits are unsigned with 128 for zero.
        (Form::Wav, Some(..=8)) => (WriteKind::WavInteger(8), "u8"),
        (Form::Wav, Some(..=SIXTEEN)) => (WriteKind::WavInteger(16), "i16"),
        (Form::Wav, Some(_)) => (WriteKind::WavInteger(24), "i24"),
        (Form::Wav, None) => (WriteKind::WavFloat, "f32"),
    }
}

/// Unit of the samples: whole numbers and WAV files hold fractions of the range, the others volts.
pub fn unit(plan: &Plan) -> Unit {
    match kind(plan).0 {
        _ if plan.signal.view == View::Logic => Unit::Unknown,
        WriteKind::Csv | WriteKind::Npy | WriteKind::RawF32 => Unit::Volt,
        WriteKind::WavInteger(_) | WriteKind::WavFloat | WriteKind::RawI16 => Unit::FullScale,
    }
}

/// Writes the capture; returns how many samples were beyond the digitiser's range.
pub fn write(plan: &Plan) -> anyhow::Result<u64> {
    let signal = &plan.signal;
    let unit = unit(plan);
    let names: &[&str] = match signal.view {
        View::Iq { .. } => &["i", "q"],
        View::Logic => &["level"],
        View::Real | View::Envelope => &["voltage"],
    };
    let heading = Heading {
        rate_hz: signal.rate_hz,
        channels: names
            .iter()
            .map(|&name| ChannelInfo {
                name: name.into(),
                unit,
            })
            .collect(),
        complex: plan.complex(),
        length: signal.samples,
        settings: if plan.preamble {
            settings(plan)
        } else {
            Vec::new()
        },
    };
    let convert = conversion(plan, unit);
    let (mut re, mut im) = (Vec::new(), Vec::new());
    let mut source = signal.source();
    let mut clipped = 0;
    write_blocks(&plan.out, &heading, kind(plan).0, |block| {
        source.next_block(&mut re, &mut im);
        for (to, from) in block.iter_mut().zip([&re, &im]) {
            to.extend(from.iter().map(|&value| {
                let (sample, beyond) = convert(value);
                clipped += u64::from(beyond);
                sample
            }));
        }
    })
    .with_context(|| plan.out.display().to_string())?;
    Ok(clipped)
}

/// From a sample to what is written. A code of up to 24 bits over a power of two is exact in single precision, so the
/// whole numbers of the file are the digitiser's, left-justified: full scale stays full scale.
fn conversion(plan: &Plan, unit: Unit) -> impl Fn(f64) -> (f32, bool) {
    let digitiser = plan.digitiser.filter(|_| unit != Unit::Unknown);
    let scale = match (unit, digitiser) {
        (Unit::FullScale, Some(digitiser)) => digitiser.step() / digitiser.range,
        (_, Some(digitiser)) => digitiser.step(),
        (Unit::FullScale, None) => 1.0 / plan.range,
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

/// Lines of settings before the data, as recording instruments write them.
fn settings(plan: &Plan) -> Vec<String> {
    let mut lines = vec![
        format!("Record length,{}", plan.signal.samples),
        format!("Sample interval,{},s", 1.0 / plan.signal.rate_hz),
        format!("Vertical range,{},V", 2.0 * plan.range),
    ];
    if let Some(digitiser) = plan.digitiser {
        lines.push(format!("Resolution,{},bit", digitiser.bits));
    }
    lines.push(String::new());
    lines
}
