//! WAV, also as streamed recorders leave it: with length fields that say nothing.
//!
//! The chunks before the samples are walked here; the format chunk goes to `hound` in a small header of our own with
//! lengths that agree, so that a wrong length never meets its checks. The samples are decoded in blocks by
//! [`Packed`](super::packed::Packed).
//!
//! Sources: Multimedia Programming Interface and Data Specifications 1.0 (RIFF, WAVE); Multiple Channel Audio Data and
//! WAVE Files (extensible format); EBU Tech 3306 (RF64).

use super::input::Input;
use super::number::Number;
use super::options::OpenOptions;
use super::packed::{Body, End, Packed, scale_of, unit_of};
use super::{CaptureError, ChannelInfo, Layout, RateOrigin, SampleSource};
use std::io::{Read, Seek, SeekFrom};

/// Longest format chunk kept; the extensible one has 40 bytes.
const FORMAT_LIMIT: u32 = 1024;
/// More tracks than any recorder has; bounds the frame size.
const CHANNEL_LIMIT: u16 = 256;
const TAG_INTEGER: u16 = 1;
const TAG_FLOAT: u16 = 3;
const TAG_EXTENSIBLE: u16 = 0xFFFE;

/// A RIFF file of 32 or, by the name of its first chunk, of 64 bits.
pub(super) fn is_wav(start: &[u8]) -> bool {
    matches!(start.get(..4), Some(b"RIFF" | b"RF64" | b"BW64")) && start.get(8..12) == Some(b"WAVE")
}

pub(super) fn open(
    mut input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let (format, claimed, mut centre_hz) = walk(&mut input)?;
    let (spec, number) = understand(&mut input, format)?;
    if spec.channels == 2 && centre_hz.is_none() {
        centre_hz = centre_behind(&input, claimed);
    }
    let unit = unit_of(number);
    let channel = |index: u16| ChannelInfo {
        name: (index + 1).to_string(),
        unit,
    };
    let mut layout = Layout {
        channels: (0..spec.channels).map(channel).collect(),
        complex: centre_hz.is_some() && spec.channels == 2,
        centre_hz: centre_hz.filter(|_| spec.channels == 2),
        ..Layout::default()
    };
    options.settle_rate(
        &mut layout,
        Some((f64::from(spec.sample_rate), RateOrigin::File)),
    );
    let scale = scale_of(unit, options.scale, &mut layout.notes);
    let body = Body {
        number,
        big_endian: false,
        end: End::Claimed(claimed),
        scale,
    };
    Ok(Box::new(Packed::new(input, layout, body)?))
}

/// Chunks looked at behind the samples.
const CHUNKS_BEHIND: usize = 64;

/// The centre in a chunk behind the samples, where the input is a file in which one can look there.
fn centre_behind(input: &Input, claimed: u64) -> Option<f64> {
    let mut file = input.again()?.open().ok()?;
    let mut at = input.consumed().checked_add(claimed)?;
    for _ in 0..CHUNKS_BEHIND {
        at += at % 2;
        file.seek(SeekFrom::Start(at)).ok()?;
        let mut header = [0; 8];
        file.read_exact(&mut header).ok()?;
        let length = u32::from_le_bytes([header[4], header[5], header[6], header[7]]);
        if header.starts_with(b"auxi") && length >= 36 {
            let mut content = [0; 36];
            file.read_exact(&mut content).ok()?;
            return Some(centre_in(&content));
        }
        at = at.checked_add(8 + u64::from(length))?;
    }
    None
}

/// Two dates of 16 bytes, then the centre in hertz, as receivers of radio write it (from memory, common practice).
fn centre_in(content: &[u8; 36]) -> f64 {
    f64::from(u32::from_le_bytes([
        content[32],
        content[33],
        content[34],
        content[35],
    ]))
}

/// Goes to the first sample; returns the format chunk, the stated length of the samples and the frequency that they are
/// centred on, where a chunk says it.
fn walk(input: &mut Input) -> Result<(Vec<u8>, u64, Option<f64>), CaptureError> {
    const ALLOWED: &str = "a \"fmt \" chunk and a \"data\" chunk are needed";
    input.skip(12)?;
    let mut format = None;
    let mut long_data = None;
    let mut centre_hz = None;
    loop {
        let place = format!("byte {}", input.consumed());
        let mut header = [0; 8];
        if input.fill(&mut header)? < header.len() {
            return Err(input.malformed(place, "the file ends before the samples", ALLOWED));
        }
        let [a, b, c, d, l0, l1, l2, l3] = header;
        let length = u32::from_le_bytes([l0, l1, l2, l3]);
        match &[a, b, c, d] {
            b"data" => {
                let Some(format) = format else {
                    return Err(input.malformed(place, "samples before their format", ALLOWED));
                };
                let claimed = match (length, long_data) {
                    (u32::MAX, Some(long)) => long,
                    _ => u64::from(length),
                };
                return Ok((format, claimed, centre_hz));
            }
            b"fmt " => {
                if !(16..=FORMAT_LIMIT).contains(&length) {
                    let found = format!("a format chunk of {length} bytes");
                    return Err(input.malformed(place, found, "16 to 1024 are allowed"));
                }
                let mut content = vec![0; length as usize];
                if input.fill(&mut content)? < content.len() {
                    return Err(input.malformed(
                        place,
                        "the file ends in its format chunk",
                        ALLOWED,
                    ));
                }
                input.skip(u64::from(length % 2))?;
                format = Some(content);
            }
            b"ds64" if length >= 16 => {
                // Size of the whole, then of the samples, 64 bit each.
                let mut content = [0; 16];
                input.fill(&mut content)?;
                input.skip(u64::from(length) + u64::from(length % 2) - 16)?;
                let long = content.last_chunk().map(|&bytes| u64::from_le_bytes(bytes));
                long_data = long;
            }
            b"auxi" if (36..=1 << 16).contains(&length) => {
                let mut content = [0; 36];
                input.fill(&mut content)?;
                centre_hz = Some(centre_in(&content));
                input.skip(u64::from(length) + u64::from(length % 2) - 36)?;
            }
            _ => {
                let padded = u64::from(length) + u64::from(length % 2);
                if input.skip(padded)? < padded {
                    let found = format!(
                        "chunk \"{}\" of {length} bytes runs past the end",
                        [a, b, c, d].escape_ascii()
                    );
                    return Err(input.malformed(place, found, ALLOWED));
                }
            }
        }
    }
}

/// Has `hound` read the format chunk and finds out how the numbers are stored.
fn understand(
    input: &mut Input,
    mut format: Vec<u8>,
) -> Result<(hound::WavSpec, Number), CaptureError> {
    const ALLOWED: &str = "8, 16, 24 and 32-bit integers and 32 and 64-bit floats are";
    let field = |format: &[u8], at: usize| u16::from_le_bytes([format[at], format[at + 1]]);
    let channels = field(&format, 2);
    let frame_bytes = field(&format, 12);
    let place = format!("byte {}", input.consumed());
    if !(1..=CHANNEL_LIMIT).contains(&channels) {
        let found = format!("{channels} channels");
        return Err(input.malformed(place, found, "1 to 256 are allowed"));
    }
    if frame_bytes % channels != 0 || frame_bytes == 0 {
        let found = format!("{frame_bytes} bytes a frame of {channels} channels");
        return Err(input.malformed(place, found, "every sample needs a whole number of them"));
    }
    let width = frame_bytes / channels;
    let tag = match field(&format, 0) {
        TAG_EXTENSIBLE if format.len() >= 26 => field(&format, 24),
        tag => tag,
    };
    if !matches!(tag, TAG_INTEGER | TAG_FLOAT) {
        let what = format!("WAV with format tag {tag}");
        return Err(input.unsupported(what, ALLOWED));
    }
    let mut set = |at: usize, value: u16| format[at..at + 2].copy_from_slice(&value.to_le_bytes());
    let double = tag == TAG_FLOAT && width == 8;
    if double {
        // `hound` knows no 64-bit floats: shown to it as 32-bit ones, decoded here.
        set(12, frame_bytes / 2);
        set(14, 32);
        if format.len() >= 20 {
            format[18..20].copy_from_slice(&32_u16.to_le_bytes());
        }
    }
    // Bytes a second follow from the rest and are as unreliable as the lengths.
    let rate_hz = u32::from_le_bytes([format[4], format[5], format[6], format[7]]);
    let frame_bytes = field(&format, 12);
    let Some(byte_rate) = rate_hz.checked_mul(u32::from(frame_bytes)) else {
        let found = format!("a sample rate of {rate_hz} Hz with {frame_bytes} bytes a frame");
        return Err(input.malformed(place, found, "at most 4 GB a second can be stated"));
    };
    format[8..12].copy_from_slice(&byte_rate.to_le_bytes());

    let bits = field(&format, 14);
    if tag == TAG_INTEGER && !matches!(bits, 0 | 8 | 16 | 24 | 32) && bits <= 64 {
        return Err(input.unsupported(format!("WAV of {bits} bits"), ALLOWED));
    }
    let mut header = b"RIFF\0\0\0\0WAVEfmt ".to_vec();
    header.extend((format.len() as u32).to_le_bytes());
    header.extend(&format);
    header.extend(b"data\0\0\0\0");
    let total = (header.len() - 8) as u32;
    header[4..8].copy_from_slice(&total.to_le_bytes());
    let spec = match hound::WavReader::new(header.as_slice()) {
        Ok(reader) => reader.spec(),
        Err(hound::Error::Unsupported) => {
            let what = format!("WAV with format tag {tag} and {} bits", field(&format, 14));
            return Err(input.unsupported(what, ALLOWED));
        }
        Err(error) => return Err(input.malformed(place, error.to_string(), ALLOWED)),
    };
    let number = match (spec.sample_format, width) {
        (hound::SampleFormat::Float, 8) if double => Number::F64,
        (hound::SampleFormat::Float, 4) if spec.bits_per_sample == 32 => Number::F32,
        (hound::SampleFormat::Int, 1) => Number::U8,
        (hound::SampleFormat::Int, 2) => Number::I16,
        (hound::SampleFormat::Int, 3) => Number::I24,
        (hound::SampleFormat::Int, 4) if spec.bits_per_sample == 24 => place_of_24_bits(input)?,
        (hound::SampleFormat::Int, 4) => Number::I32,
        _ => {
            let bits = spec.bits_per_sample;
            let what = format!("WAV with format tag {tag}, {bits} bits in {width} bytes");
            return Err(input.unsupported(what, ALLOWED));
        }
    };
    Ok((spec, number))
}

/// 24 bits in four bytes belong into the upper three, but some writers use the lower three. The lowest byte is 0 in
/// the first kind, the highest only carries the sign (or 0) in the second.
fn place_of_24_bits(input: &mut Input) -> Result<Number, CaptureError> {
    let start = input.peek(1 << 16)?.as_chunks::<4>().0;
    let upper = start.iter().all(|bytes| bytes[0] == 0);
    let lower = start.iter().all(|bytes| {
        let sign = if bytes[2] >= 0x80 { 0xFF } else { 0 };
        bytes[3] == 0 || bytes[3] == sign
    });
    Ok(if lower && !upper {
        Number::I24Low
    } else {
        Number::I32
    })
}
