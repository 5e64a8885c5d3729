//! Samples → files that [`open`](super::open()) reads back, block by block: a long capture never stands in memory whole.

use super::write_types::{Heading, Recording, WriteError, WriteKind, Written};
use super::{Unit, write_atomically};
use std::io::{self, Write};
use std::path::Path;

/// Writes a capture; the file appears whole or not at all, and the same input gives the same bytes.
///
/// # Errors
/// [`WriteError`]: no samples, channels of different length, values that are not finite, a rate the format cannot
/// state, or the operating system.
pub fn write(path: &Path, recording: &Recording, kind: WriteKind) -> Result<Written, WriteError> {
    let heading = heading(recording)?;
    write_blocks(path, &heading, kind, at_once(recording))
}

/// The bytes of a WAV file of so many bits a sample: what [`write()`] writes as [`WriteKind::WavInteger`].
///
/// # Errors
/// As [`write()`], those of the operating system aside.
pub fn wav_bytes(recording: &Recording, bits: u16) -> Result<Vec<u8>, WriteError> {
    let heading = heading(recording)?;
    check(&heading)?;
    let mut blocks = Blocks::new(&heading, at_once(recording));
    let mut file = io::Cursor::new(Vec::new());
    wav(&mut file, &mut blocks, Some(bits))?;
    Ok(file.into_inner())
}

fn heading(recording: &Recording) -> Result<Heading, WriteError> {
    if recording.samples.len() != recording.channels.len() {
        return unfit("every channel needs a name and every name a channel");
    }
    Ok(Heading {
        rate_hz: recording.rate_hz,
        channels: recording.channels.clone(),
        complex: recording.complex,
        length: recording.samples.first().map_or(0, Vec::len) as u64,
        settings: Vec::new(),
    })
}

/// All samples as one block.
fn at_once(recording: &Recording) -> impl FnMut(&mut [Vec<f32>]) {
    let mut left = true;
    move |block| {
        if std::mem::take(&mut left) {
            for (to, from) in block.iter_mut().zip(&recording.samples) {
                to.extend_from_slice(from);
            }
        }
    }
}

/// Writes a capture of which `next` brings block after block: it is handed one empty vector a channel to fill, and leaves
/// them empty at the end. The file appears whole or not at all, and the same input gives the same bytes.
///
/// # Errors
/// As [`write()`], and when the blocks do not add up to the length in the heading.
pub fn write_blocks(
    path: &Path,
    heading: &Heading,
    kind: WriteKind,
    next: impl FnMut(&mut [Vec<f32>]),
) -> Result<Written, WriteError> {
    write_blocks_then(path, heading, kind, next, || Ok(()))
}

/// The same; `then` is called when all samples are on the disk and before the file takes its name, so that what must never be missing
/// beside it can be written first. If `then` fails, the file does not appear.
///
/// # Errors
/// As [`write_blocks`], and what `then` returns.
pub fn write_blocks_then(
    path: &Path,
    heading: &Heading,
    kind: WriteKind,
    next: impl FnMut(&mut [Vec<f32>]),
    then: impl FnOnce() -> Result<(), WriteError>,
) -> Result<Written, WriteError> {
    check(heading)?;
    let mut blocks = Blocks::new(heading, next);
    write_atomically(path, |file| {
        let written = match kind {
            WriteKind::WavInteger(bits) => wav(file, &mut blocks, Some(bits)),
            WriteKind::WavFloat => wav(file, &mut blocks, None),
            WriteKind::Csv => csv(file, &mut blocks),
            WriteKind::Npy => npy(file, &mut blocks),
            WriteKind::RawI16 => {
                let mut written = Written::default();
                blocks.interleaved(|values| {
                    for &value in values {
                        let integer = integer(value, 16, &mut written) as i16;
                        file.write_all(&integer.to_le_bytes())?;
                    }
                    Ok(())
                })?;
                Ok(written)
            }
            WriteKind::RawF32 => floats(file, &mut blocks),
        }?;
        file.flush()?;
        then()?;
        Ok(written)
    })
}

fn unfit<T>(text: impl Into<String>) -> Result<T, WriteError> {
    Err(WriteError::Unfit(text.into()))
}

fn check(heading: &Heading) -> Result<(), WriteError> {
    let channels = heading.channels.len();
    if heading.length == 0 || channels == 0 {
        return unfit("no samples to write; at least one is needed");
    }
    if heading.complex && channels != 2 {
        return unfit(format!(
            "{channels} channels of a complex signal; it has two"
        ));
    }
    if !(heading.rate_hz.is_finite() && heading.rate_hz > 0.0) {
        return unfit(format!(
            "a sample rate of {} Hz; it must be above 0",
            heading.rate_hz
        ));
    }
    Ok(())
}

/// The samples as they come, checked.
struct Blocks<'a, F> {
    heading: &'a Heading,
    next: F,
    channels: Vec<Vec<f32>>,
    done: u64,
}

impl<'a, F: FnMut(&mut [Vec<f32>])> Blocks<'a, F> {
    fn new(heading: &'a Heading, next: F) -> Self {
        Self {
            heading,
            next,
            channels: vec![Vec::new(); heading.channels.len()],
            done: 0,
        }
    }

    /// The next samples of all channels and how many each has; 0 when all are through.
    fn advance(&mut self) -> Result<usize, WriteError> {
        self.channels.iter_mut().for_each(Vec::clear);
        (self.next)(&mut self.channels);
        let count = self.channels[0].len();
        if self.channels.iter().any(|own| own.len() != count) {
            return unfit("channels of different length; all must be equally long");
        }
        for (own, info) in self.channels.iter().zip(&self.heading.channels) {
            if let Some(at) = own.iter().position(|sample| !sample.is_finite()) {
                return unfit(format!(
                    "sample {} of channel \"{}\" is {}; only finite values can be written",
                    self.done + at as u64,
                    info.name,
                    own[at]
                ));
            }
        }
        self.done += count as u64;
        let length = self.heading.length;
        if self.done > length || (count == 0 && self.done < length) {
            return unfit(format!("{} samples for a length of {length}", self.done));
        }
        Ok(count)
    }

    /// Hands on block after block, the channels in turn.
    fn interleaved(
        &mut self,
        mut block: impl FnMut(&[f32]) -> Result<(), WriteError>,
    ) -> Result<(), WriteError> {
        let mut values = Vec::new();
        loop {
            let count = self.advance()?;
            if count == 0 {
                return Ok(());
            }
            if let [only] = &self.channels[..] {
                block(only)?;
                continue;
            }
            values.clear();
            for index in 0..count {
                values.extend(self.channels.iter().map(|own| own[index]));
            }
            block(&values)?;
        }
    }
}

/// ±1 → integer of `bits`, rounded to the nearest, limited to what fits.
#[inline]
fn integer(value: f32, bits: u16, written: &mut Written) -> i32 {
    let full = f64::from(1_u32 << (bits - 1));
    let wanted = f64::from(value) * full;
    // +1.0 itself is one step beyond the largest integer: no clipping worth a word.
    written.clipped += u64::from(wanted >= full + 0.5 || wanted < -full - 0.5);
    // Truncation of a positive number rounds down; `round` is a slow call on machines without an instruction for it.
    (wanted.clamp(-full, full - 1.0) + (full + 0.5)) as i32 - full as i32
}

fn wav<F: FnMut(&mut [Vec<f32>])>(
    file: &mut (impl Write + io::Seek),
    blocks: &mut Blocks<'_, F>,
    bits: Option<u16>,
) -> Result<Written, WriteError> {
    let heading = blocks.heading;
    let channels = heading.channels.len() as u64;
    let width = u64::from(bits.unwrap_or(32) / 8);
    // The length fields have 32 bits; the header takes less than 100 bytes.
    if heading.length > (u64::from(u32::MAX) - 100) / (channels * width) {
        return unfit(format!(
            "{} samples of {channels} channels; WAV holds up to 4 GB",
            heading.length
        ));
    }
    if !matches!(bits, None | Some(8 | 16 | 24)) {
        return unfit("WAV is written with 8, 16 or 24 bits or as floats");
    }
    let rate_hz = heading.rate_hz;
    if rate_hz.fract() != 0.0
        || rate_hz * (channels * width) as f64 > f64::from(u32::MAX)
        || channels > 256
    {
        return unfit(format!(
            "a sample rate of {rate_hz} Hz with {channels} channels; WAV holds whole hertz and up to 4 GB a second"
        ));
    }
    let spec = hound::WavSpec {
        channels: channels as u16,
        sample_rate: rate_hz as u32,
        bits_per_sample: bits.unwrap_or(32),
        sample_format: if bits.is_some() {
            hound::SampleFormat::Int
        } else {
            hound::SampleFormat::Float
        },
    };
    let mut written = Written::default();
    let mut writer = hound::WavWriter::new(file, spec).map_err(from_hound)?;
    blocks.interleaved(|values| {
        if bits == Some(16) {
            // The way hound offers for the usual case, several times as fast as sample by sample.
            for part in values.chunks(1 << 16) {
                let mut block = writer.get_i16_writer(part.len() as u32);
                for &value in part {
                    block.write_sample(integer(value, 16, &mut written) as i16);
                }
                block.flush().map_err(from_hound)?;
            }
            return Ok(());
        }
        for &value in values {
            match bits {
                Some(bits) => writer.write_sample(integer(value, bits, &mut written)),
                None => writer.write_sample(value),
            }
            .map_err(from_hound)?;
        }
        Ok(())
    })?;
    writer.finalize().map_err(from_hound)?;
    Ok(written)
}

fn from_hound(error: hound::Error) -> WriteError {
    match error {
        hound::Error::IoError(error) => WriteError::Io(error),
        other => WriteError::Unfit(other.to_string()),
    }
}

/// Times are `i / rate` and values single precision, both with the fewest digits that read back the same.
fn csv<F: FnMut(&mut [Vec<f32>])>(
    file: &mut impl Write,
    blocks: &mut Blocks<'_, F>,
) -> Result<Written, WriteError> {
    let heading = blocks.heading;
    for line in &heading.settings {
        writeln!(file, "{line}")?;
    }
    let mut header = String::from("time_s");
    for info in &heading.channels {
        let plain = |c: char| {
            if c.is_control() || ",;\"()[]{}".contains(c) {
                ' '
            } else {
                c
            }
        };
        let name: String = info.name.chars().map(plain).collect();
        header.push(',');
        header.push_str(name.trim());
        header.push_str(match info.unit {
            Unit::Volt => " (V)",
            Unit::FullScale => " (fs)",
            Unit::Unknown => "",
        });
    }
    writeln!(file, "{header}")?;
    let mut index = 0_u64;
    blocks.interleaved(|values| {
        for frame in values.chunks(heading.channels.len()) {
            write!(file, "{}", index as f64 / heading.rate_hz)?;
            for value in frame {
                write!(file, ",{value}")?;
            }
            writeln!(file)?;
            index += 1;
        }
        Ok(())
    })?;
    Ok(Written::default())
}

/// Version 1.0 of the format (NumPy Enhancement Proposal 1): the header ends with a line end on a multiple of 64.
fn npy<F: FnMut(&mut [Vec<f32>])>(
    file: &mut impl Write,
    blocks: &mut Blocks<'_, F>,
) -> Result<Written, WriteError> {
    let (length, channels) = (blocks.heading.length, blocks.heading.channels.len());
    let (kind, shape) = match (blocks.heading.complex, channels) {
        (true, _) => ("<c8", format!("({length},)")),
        (false, 1) => ("<f4", format!("({length},)")),
        (false, _) if length < channels as u64 => {
            return unfit(format!(
                "{length} samples of {channels} channels; NPY needs more samples than channels to tell them apart"
            ));
        }
        (false, _) => ("<f4", format!("({length}, {channels})")),
    };
    file.write_all(&npy_header(kind, &shape))?;
    floats(file, blocks)
}

/// What stands before the values: magic, version, length, and a description of the values with their shape.
pub(super) fn npy_header(kind: &str, shape: &str) -> Vec<u8> {
    let mut text = format!("{{'descr': '{kind}', 'fortran_order': False, 'shape': {shape}, }}");
    const START_BYTES: usize = 10;
    let total = (START_BYTES + text.len() + 1).next_multiple_of(64);
    text.push_str(&" ".repeat(total - START_BYTES - text.len() - 1));
    text.push('\n');
    let mut header = b"\x93NUMPY\x01\x00".to_vec();
    header.extend((text.len() as u16).to_le_bytes());
    header.extend(text.as_bytes());
    header
}

fn floats<F: FnMut(&mut [Vec<f32>])>(
    file: &mut impl Write,
    blocks: &mut Blocks<'_, F>,
) -> Result<Written, WriteError> {
    blocks.interleaved(|values| {
        for value in values {
            file.write_all(&value.to_le_bytes())?;
        }
        Ok(())
    })?;
    Ok(Written::default())
}
