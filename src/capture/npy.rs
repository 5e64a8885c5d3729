//! NPY arrays: one or two dimensions, channels along the shorter one.

use super::input::Input;
use super::npy_header::{self, NpyHeader};
use super::number::Number;
use super::open::OpenOptions;
use super::packed::{Body, End, Packed, scale_of, unit_of};
use super::planes::Planes;
use super::{CaptureError, ChannelInfo, Layout, SampleSource, Unit};

/// More channels than any digitiser has.
const CHANNEL_LIMIT: u64 = 256;

pub(super) fn open(
    mut input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let header = npy_header::read(&mut input)?;
    let (frames, count, interleaved) = arrange(&input, &header)?;
    let unit = match header.number {
        Number::Bool => Unit::Unknown,
        number => unit_of(number),
    };
    let names: Vec<String> = if header.complex {
        vec!["I".into(), "Q".into()]
    } else {
        (1..=count).map(|number| number.to_string()).collect()
    };
    let channel = |name| ChannelInfo { name, unit };
    let mut layout = Layout {
        channels: names.into_iter().map(channel).collect(),
        complex: header.complex,
        logic: header.number == Number::Bool,
        length: Some(frames),
        ..Layout::default()
    };
    options.settle_rate(&mut layout, None);
    let scale = match header.number {
        Number::Bool => 1.0,
        _ => scale_of(unit, options.scale, &mut layout.notes),
    };
    let frame_bytes = (layout.channels.len() * header.number.bytes()) as u64;
    let Some(bytes) = frames.checked_mul(frame_bytes) else {
        let found = format!("shape {:?}", header.shape);
        return Err(input.malformed("header", found, "an array that fits into a file is needed"));
    };
    let body = Body {
        number: header.number,
        big_endian: header.big_endian,
        end: End::Bytes(bytes),
        scale,
    };
    if interleaved {
        Ok(Box::new(Packed::new(input, layout, body)?))
    } else {
        Ok(Box::new(Planes::new(input, layout, body, frames)?))
    }
}

/// Frames, channels, and whether the channels alternate in the file.
fn arrange(input: &Input, header: &NpyHeader) -> Result<(u64, u64, bool), CaptureError> {
    let (frames, count, interleaved) = match *header.shape {
        [frames] => (frames, 1, true),
        [rows, columns] if columns <= rows => (rows, columns, !header.fortran),
        [rows, columns] => (columns, rows, header.fortran),
        _ => {
            let what = format!("an array of {} dimensions", header.shape.len());
            return Err(input.unsupported(what, "one or two dimensions are"));
        }
    };
    if frames == 0 || count == 0 {
        let found = format!("an empty array, shape {:?}", header.shape);
        return Err(input.malformed("header", found, "at least one sample is needed"));
    }
    let limit = if header.complex { 1 } else { CHANNEL_LIMIT };
    if count > limit {
        let what = format!("an array of {count} channels");
        let allowed = format!("at most {limit} of this type along the shorter side are");
        return Err(input.unsupported(what, allowed));
    }
    Ok((frames, count, interleaved || count == 1))
}
