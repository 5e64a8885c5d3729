//! Samples → files that [`open`](super::open()) reads back.

use super::{Unit, write_atomically};
use std::io::{self, Write};
use std::path::Path;

/// A capture in memory, ready to be written.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Samples per second.
    pub rate_hz: f64,
    /// Name and unit of each channel; used by text only.
    pub channels: Vec<super::ChannelInfo>,
    /// One vector a channel, equally long.
    pub samples: Vec<Vec<f32>>,
    /// The two channels are the real and imaginary part of one signal.
    pub complex: bool,
}

/// Format of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WriteKind {
    /// WAV with integers of 8, 16 or 24 bits; ±1 is full scale.
    WavInteger(u16),
    /// WAV with 32-bit floats.
    WavFloat,
    /// Text: time in seconds and one column a channel.
    Csv,
    /// NPY, 32-bit floats (complex: pairs of them). Holds no rate.
    Npy,
    /// Headerless 16-bit integers, little endian; ±1 is full scale.
    RawI16,
    /// Headerless 32-bit floats, little endian.
    RawF32,
}

impl WriteKind {
    /// By the file extension: `.wav` (16 bit), `.csv`, `.npy`, `.raw` (16 bit).
    pub fn from_path(path: &Path) -> Option<Self> {
        let extension = path.extension()?.to_str()?.to_ascii_lowercase();
        Some(match extension.as_str() {
            "wav" => Self::WavInteger(16),
            "csv" => Self::Csv,
            "npy" => Self::Npy,
            "raw" => Self::RawI16,
            _ => return None,
        })
    }
}

/// What happened on the way to the file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Written {
    /// Values beyond full scale, limited to it.
    pub clipped: u64,
}

/// Why a capture cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The operating system refused.
    #[error("{0}")]
    Io(#[from] io::Error),
    /// The format cannot hold this.
    #[error("{0}")]
    Unfit(String),
}

/// Writes a capture; the file appears whole or not at all, and the same input gives the same bytes.
///
/// # Errors
/// [`WriteError`]: no samples, channels of different length, values that are not finite, a rate the format cannot
/// state, or the operating system.
pub fn write(path: &Path, recording: &Recording, kind: WriteKind) -> Result<Written, WriteError> {
    check(recording)?;
    write_atomically(path, |file| match kind {
        WriteKind::WavInteger(bits) => wav(file, recording, Some(bits)),
        WriteKind::WavFloat => wav(file, recording, None),
        WriteKind::Csv => csv(file, recording),
        WriteKind::Npy => npy(file, recording),
        WriteKind::RawI16 => {
            let mut written = Written::default();
            for value in interleaved(recording) {
                file.write_all(&(integer(value, 16, &mut written) as i16).to_le_bytes())?;
            }
            Ok(written)
        }
        WriteKind::RawF32 => floats(file, recording),
    })
}

fn check(recording: &Recording) -> Result<(), WriteError> {
    let unfit = |text: String| Err(WriteError::Unfit(text));
    let length = recording.samples.first().map_or(0, Vec::len);
    if length == 0 {
        return unfit("no samples to write; at least one is needed".into());
    }
    let channels = recording.samples.len();
    if channels != recording.channels.len()
        || recording.samples.iter().any(|own| own.len() != length)
    {
        return unfit(
            "channels of different length; all must be equally long and have a name".into(),
        );
    }
    if recording.complex && channels != 2 {
        return unfit(format!(
            "{channels} channels of a complex signal; it has two"
        ));
    }
    if !(recording.rate_hz.is_finite() && recording.rate_hz > 0.0) {
        return unfit(format!(
            "a sample rate of {} Hz; it must be above 0",
            recording.rate_hz
        ));
    }
    for (own, info) in recording.samples.iter().zip(&recording.channels) {
        if let Some(at) = own.iter().position(|sample| !sample.is_finite()) {
            return unfit(format!(
                "sample {at} of channel \"{}\" is {}; only finite values can be written",
                info.name, own[at]
            ));
        }
    }
    Ok(())
}

fn interleaved(recording: &Recording) -> impl Iterator<Item = f32> {
    let length = recording.samples.first().map_or(0, Vec::len);
    (0..length).flat_map(|index| recording.samples.iter().map(move |own| own[index]))
}

/// ±1 → integer of `bits`, rounded to the nearest, limited to what fits.
fn integer(value: f32, bits: u16, written: &mut Written) -> i32 {
    let full = f64::from(1_u32 << (bits - 1));
    let wanted = (f64::from(value) * full).round();
    let kept = wanted.clamp(-full, full - 1.0);
    // +1.0 itself is one step beyond the largest integer: no clipping worth a word.
    written.clipped += u64::from(wanted > full || wanted < -full);
    kept as i32
}

fn wav(
    file: &mut (impl Write + io::Seek),
    recording: &Recording,
    bits: Option<u16>,
) -> Result<Written, WriteError> {
    let channels = recording.samples.len() as u64;
    let width = u64::from(bits.unwrap_or(32) / 8);
    let bytes = recording.samples[0].len() as u64 * channels * width;
    // The length fields have 32 bits; the header takes less than 100 bytes.
    if bytes > u64::from(u32::MAX) - 100 {
        return Err(WriteError::Unfit(format!(
            "{bytes} bytes of samples; WAV holds up to 4 GB"
        )));
    }
    if !matches!(bits, None | Some(8 | 16 | 24)) {
        return Err(WriteError::Unfit(
            "WAV is written with 8, 16 or 24 bits or as floats".into(),
        ));
    }
    let rate_hz = recording.rate_hz;
    if rate_hz.fract() != 0.0
        || rate_hz * (channels * width) as f64 > f64::from(u32::MAX)
        || channels > 256
    {
        return Err(WriteError::Unfit(format!(
            "a sample rate of {rate_hz} Hz with {channels} channels; WAV holds whole hertz and up to 4 GB a second"
        )));
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
    for value in interleaved(recording) {
        match bits {
            Some(bits) => writer.write_sample(integer(value, bits, &mut written)),
            None => writer.write_sample(value),
        }
        .map_err(from_hound)?;
    }
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
fn csv(file: &mut impl Write, recording: &Recording) -> Result<Written, WriteError> {
    let mut header = String::from("time_s");
    for info in &recording.channels {
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
    for index in 0..recording.samples[0].len() {
        write!(file, "{}", index as f64 / recording.rate_hz)?;
        for own in &recording.samples {
            write!(file, ",{}", own[index])?;
        }
        writeln!(file)?;
    }
    Ok(Written::default())
}

/// Version 1.0 of the format (NumPy Enhancement Proposal 1): the header ends with a line end on a multiple of 64.
fn npy(file: &mut impl Write, recording: &Recording) -> Result<Written, WriteError> {
    let (length, channels) = (recording.samples[0].len(), recording.samples.len());
    let (kind, shape) = match (recording.complex, channels) {
        (true, _) => ("<c8", format!("({length},)")),
        (false, 1) => ("<f4", format!("({length},)")),
        (false, _) if length < channels => {
            return Err(WriteError::Unfit(format!(
                "{length} samples of {channels} channels; NPY needs more samples than channels to tell them apart"
            )));
        }
        (false, _) => ("<f4", format!("({length}, {channels})")),
    };
    let mut header = format!("{{'descr': '{kind}', 'fortran_order': False, 'shape': {shape}, }}");
    const START_BYTES: usize = 10;
    let total = (START_BYTES + header.len() + 1).next_multiple_of(64);
    header.push_str(&" ".repeat(total - START_BYTES - header.len() - 1));
    header.push('\n');
    file.write_all(b"\x93NUMPY\x01\x00")?;
    file.write_all(&(header.len() as u16).to_le_bytes())?;
    file.write_all(header.as_bytes())?;
    floats(file, recording)
}

fn floats(file: &mut impl Write, recording: &Recording) -> Result<Written, WriteError> {
    for value in interleaved(recording) {
        file.write_all(&value.to_le_bytes())?;
    }
    Ok(Written::default())
}
