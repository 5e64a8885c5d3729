//! Samples → file.

use std::fs::{self, File};
use std::io::{BufWriter, Seek, Write};
use std::path::Path;

use anyhow::Context;
use ripplemark::world::View;

use super::plan::{Form, Plan};

/// Where a whole file is written to: a temporary one beside the target.
pub trait Sink: Write + Seek {}
impl<T: Write + Seek> Sink for T {}

/// Writes a file under a temporary name beside `path` and renames it when it is complete; nothing is left of a failure.
pub fn write_whole(
    path: &Path,
    content: impl FnOnce(&mut dyn Sink) -> anyhow::Result<()>,
) -> anyhow::Result<()> {
    let mut temporary = path.to_path_buf().into_os_string();
    temporary.push(format!(".{}.part", std::process::id()));
    let whole = || -> anyhow::Result<()> {
        let mut file = BufWriter::new(File::create(&temporary)?);
        content(&mut file)?;
        file.flush()?;
        drop(file);
        Ok(fs::rename(&temporary, path)?)
    };
    whole()
        .inspect_err(|_| {
            let _ = fs::remove_file(&temporary);
        })
        .with_context(|| format!("{}", path.display()))
}

/// Type of the samples as `decode --raw` names it, or the WAV equivalent.
pub fn sample_type(plan: &Plan) -> String {
    let complex = if plan.complex() { "c" } else { "" };
    match (plan.form, plan.digitiser) {
        (Form::Text, _) => "text".into(),
        (Form::Raw, Some(_)) if plan.signal.view == View::Logic => "u8".into(),
        // Alone among the whole numbers of WAV files, 8 bits are unsigned with 128 for zero.
        (Form::Wav, Some(_)) if plan.container_bits() == 8 => format!("{complex}u8"),
        (Form::Npy, _) | (_, None) => format!("{complex}f32"),
        (_, Some(_)) => format!("{complex}i{}", plan.container_bits()),
    }
}

/// Writes the capture; returns how many samples were clipped.
pub fn write(plan: &Plan) -> anyhow::Result<u64> {
    let mut clipped = 0;
    write_whole(&plan.out, |file| {
        clipped = match plan.form {
            Form::Wav => wav(plan, file)?,
            Form::Text => text(plan, file)?,
            Form::Npy => npy(plan, file)?,
            Form::Raw => raw(plan, file)?,
        };
        Ok(())
    })?;
    Ok(clipped)
}

/// Calls `block` with the samples of each block as they are written, the quadratures of I/Q samples in turn.
fn blocks<T: Copy>(
    plan: &Plan,
    convert: impl Fn(f64) -> (T, bool),
    mut block: impl FnMut(&[T]) -> anyhow::Result<()>,
) -> anyhow::Result<u64> {
    let (mut re, mut im, mut samples) = (Vec::new(), Vec::new(), Vec::new());
    let mut source = plan.signal.source();
    let mut clipped = 0;
    while source.next_block(&mut re, &mut im) > 0 {
        samples.clear();
        let mut push = |value| {
            let (sample, beyond) = convert(value);
            clipped += u64::from(beyond);
            samples.push(sample);
        };
        if plan.complex() {
            for (&re, &im) in re.iter().zip(&im) {
                push(re);
                push(im);
            }
        } else {
            re.iter().copied().for_each(push);
        }
        block(&samples)?;
    }
    Ok(clipped)
}

/// Whole numbers as the container holds them: the digitiser's code, left-justified, so that full scale stays full scale.
fn container(plan: &Plan) -> impl Fn(f64) -> (i32, bool) {
    let digitiser = plan.digitiser;
    let shift = digitiser.map_or(0, |digitiser| plan.container_bits() - digitiser.bits);
    // The upper level of a logic capture is the largest code, not an overload.
    let logic = plan.signal.view == View::Logic;
    move |value| {
        let (code, clipped) = digitiser.map_or((0, false), |digitiser| digitiser.code(value));
        (code << shift, clipped && !logic)
    }
}

/// Volts: the value of the digitiser's step, or the sample itself.
fn volts(plan: &Plan) -> impl Fn(f64) -> (f32, bool) {
    let digitiser = plan.digitiser.filter(|_| plan.signal.view != View::Logic);
    move |value| match digitiser {
        None => (value as f32, false),
        Some(digitiser) => {
            let (code, clipped) = digitiser.code(value);
            (digitiser.value(code) as f32, clipped)
        }
    }
}

fn wav(plan: &Plan, file: &mut dyn Sink) -> anyhow::Result<u64> {
    let float = plan.digitiser.is_none();
    let rate = plan.signal.rate_hz;
    let spec = hound::WavSpec {
        channels: if plan.complex() { 2 } else { 1 },
        sample_rate: rate as u32,
        bits_per_sample: plan.container_bits() as u16,
        sample_format: if float {
            hound::SampleFormat::Float
        } else {
            hound::SampleFormat::Int
        },
    };
    let mut writer = hound::WavWriter::new(file, spec)?;
    let clipped = if float {
        let range = plan.range;
        blocks(
            plan,
            |value| ((value / range) as f32, false),
            |samples| {
                Ok(samples
                    .iter()
                    .try_for_each(|&sample| writer.write_sample(sample))?)
            },
        )?
    } else if spec.bits_per_sample == 16 {
        blocks(plan, container(plan), |samples| {
            let mut block = writer.get_i16_writer(samples.len() as u32);
            samples
                .iter()
                .for_each(|&sample| block.write_sample(sample as i16));
            Ok(block.flush()?)
        })?
    } else {
        blocks(plan, container(plan), |samples| {
            Ok(samples
                .iter()
                .try_for_each(|&sample| writer.write_sample(sample))?)
        })?
    };
    writer.finalize()?;
    Ok(clipped)
}

fn text(plan: &Plan, file: &mut dyn Sink) -> anyhow::Result<u64> {
    let signal = &plan.signal;
    let interval_s = 1.0 / signal.rate_hz;
    let (unit, heading) = match signal.view {
        View::Logic => ("", "time_s,level"),
        View::Iq { .. } => ("V", "time_s,i_v,q_v"),
        _ => ("V", "time_s,voltage_v"),
    };
    if plan.preamble {
        writeln!(file, "Record length,{}", signal.samples)?;
        writeln!(file, "Sample interval,{interval_s},s")?;
        writeln!(file, "Vertical unit,{unit}")?;
        writeln!(file, "Vertical range,{}", 2.0 * plan.range)?;
        if let Some(digitiser) = plan.digitiser {
            writeln!(file, "Resolution,{},bit", digitiser.bits)?;
        }
        writeln!(file)?;
    }
    writeln!(file, "{heading}")?;
    let channels = if plan.complex() { 2 } else { 1 };
    let mut index = 0u64;
    blocks(plan, volts(plan), |samples| {
        for frame in samples.chunks(channels) {
            write!(file, "{}", index as f64 / signal.rate_hz)?;
            for value in frame {
                write!(file, ",{value}")?;
            }
            writeln!(file)?;
            index += 1;
        }
        Ok(())
    })
}

fn npy(plan: &Plan, file: &mut dyn Sink) -> anyhow::Result<u64> {
    // NPY format version 1.0 (NumPy Enhancement Proposal 1): magic, version, header length, a dictionary padded with
    // blanks to a multiple of 64 bytes, then the numbers.
    let dtype = if plan.complex() { "<c8" } else { "<f4" };
    let mut header = format!(
        "{{'descr': '{dtype}', 'fortran_order': False, 'shape': ({},), }}",
        plan.signal.samples
    );
    while !(10 + header.len() + 1).is_multiple_of(64) {
        header.push(' ');
    }
    header.push('\n');
    file.write_all(b"\x93NUMPY\x01\x00")?;
    file.write_all(&(header.len() as u16).to_le_bytes())?;
    file.write_all(header.as_bytes())?;
    blocks(plan, volts(plan), |samples| floats(file, samples))
}

fn floats(file: &mut dyn Sink, samples: &[f32]) -> anyhow::Result<()> {
    for sample in samples {
        file.write_all(&sample.to_le_bytes())?;
    }
    Ok(())
}

fn raw(plan: &Plan, file: &mut dyn Sink) -> anyhow::Result<u64> {
    if plan.digitiser.is_none() {
        return blocks(plan, volts(plan), |samples| floats(file, samples));
    }
    if plan.signal.view == View::Logic {
        return blocks(
            plan,
            |value| (value as u8, false),
            |samples| Ok(file.write_all(samples)?),
        );
    }
    let bytes = plan.container_bits() as usize / 8;
    blocks(plan, container(plan), |samples| {
        for sample in samples {
            file.write_all(&sample.to_le_bytes()[..bytes])?;
        }
        Ok(())
    })
}
