//! NPY arrays: one or two dimensions, channels along the shorter one, or the fields of a structured one.

use super::arrays::{self, Named, Rise, shown};
use super::input::Input;
use super::memory_source::WithoutFirst;
use super::npy_header::{self, NpyHeader};
use super::number::Number;
use super::options::OpenOptions;
use super::packed::{Body, End, Packed, scale_of, unit_of};
use super::planes::Planes;
use super::{
    CaptureError, ChannelInfo, Columns, Layout, RateOrigin, SampleSource, TimeColumn, Unit,
};

/// More channels than any digitiser has.
const CHANNEL_LIMIT: u64 = 256;

/// Bytes looked at to find a column that rises evenly.
const RISE_BYTES: usize = 1 << 18;

pub(super) fn is_npy(start: &[u8]) -> bool {
    start.starts_with(b"\x93NUMPY")
}

pub(super) fn open(
    mut input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let header = npy_header::read(&mut input)?;
    if !header.fields.is_empty() {
        return records(input, &header, options);
    }
    if header.shape.is_empty() {
        return Err(input.malformed("header", "a single number", "an array of samples is needed"));
    }
    Ok(plain(input, &header, options, true)?.0)
}

/// An array of an NPZ: a column of times in it is no concern of its own. With it goes how its first channel rises.
#[cfg(feature = "formats")]
pub(super) fn open_array(
    mut input: Input,
    options: &OpenOptions,
) -> Result<(Box<dyn SampleSource>, Option<Rise>), CaptureError> {
    let header = npy_header::read(&mut input)?;
    if !header.fields.is_empty() {
        return Err(input.unsupported("a structured array in an NPZ", "plain arrays are"));
    }
    plain(input, &header, options, false)
}

fn plain(
    mut input: Input,
    header: &NpyHeader,
    options: &OpenOptions,
    alone: bool,
) -> Result<(Box<dyn SampleSource>, Option<Rise>), CaptureError> {
    let (frames, count, interleaved) = arrange(&input, header)?;
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
    let rise = if !header.complex && header.number.is_float() {
        rise_of(&mut input, header, count as usize, interleaved, frames)?
    } else {
        None
    };
    let time = rise.filter(|_| alone && count > 1);
    // Whole steps of one count samples, or are times in a unit that nothing states.
    let own = time.filter(|time| time.step != 1.0);
    let own = own.map(|time| (1.0 / time.step, RateOrigin::TimeColumn));
    options.settle_rate(&mut layout, own);
    let without_time = time.map(|time| {
        let mut layout = layout.clone();
        layout.channels.remove(0);
        layout.start_s = if time.step == 1.0 { 0.0 } else { time.start };
        layout.columns = Some(Columns {
            count: count as usize,
            of_channels: (2..=count as usize).collect(),
            time: Some(TimeColumn {
                column: 1,
                unit_s: 1.0,
                unit_guessed: true,
            }),
        });
        layout
    });
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
    let source: Box<dyn SampleSource> = if interleaved {
        Box::new(Packed::new(input, layout, body)?)
    } else {
        Box::new(Planes::new(input, layout, body, frames)?)
    };
    let source = match without_time {
        Some(layout) => Box::new(WithoutFirst::new(source, layout)),
        None => source,
    };
    Ok((source, rise))
}

/// How the first column rises over the first rows.
fn rise_of(
    input: &mut Input,
    header: &NpyHeader,
    count: usize,
    interleaved: bool,
    frames: u64,
) -> Result<Option<Rise>, CaptureError> {
    let width = header.number.bytes();
    let step = if interleaved { width * count } else { width };
    let rows = (RISE_BYTES / step).min(usize::try_from(frames).unwrap_or(usize::MAX));
    let start = input.peek(rows * step)?;
    let first: Vec<u8> = start
        .chunks_exact(step)
        .flat_map(|row| &row[..width])
        .copied()
        .collect();
    Ok(Rise::of(&header.number.doubles(&first, header.big_endian)))
}

/// The fields of a structured array, each a channel or the time.
fn records(
    mut input: Input,
    header: &NpyHeader,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let stride: usize = header.fields.iter().map(|field| field.bytes).sum();
    let path = input.path().to_owned();
    let mut left: u64 = header.shape.iter().fold(1, |all, &n| all.saturating_mul(n));
    let mut arrays: Vec<Named> = (header.fields.iter())
        .map(|field| Named {
            name: shown(field.name.as_bytes()),
            channels: vec![Vec::new()],
            complex: false,
            unit: field.number.map_or(Unit::Unknown, unit_of),
            rise: None,
            notes: Vec::new(),
        })
        .collect();
    let mut block = Vec::new();
    while left > 0 {
        let rows = left.min((RISE_BYTES / stride).max(1) as u64) as usize;
        block.clear();
        let got = input.append(&mut block, rows * stride)? / stride;
        let mut from = 0;
        for (field, array) in header.fields.iter().zip(&mut arrays) {
            let own: Vec<u8> = (block.chunks_exact(stride))
                .flat_map(|row| &row[from..from + field.bytes])
                .copied()
                .collect();
            from += field.bytes;
            let Some(number) = field.number else { continue };
            if array.channels[0].is_empty() {
                array.rise = Rise::of(&number.doubles(&own, field.big_endian));
            }
            number.spread(&own, field.big_endian, &mut array.channels);
        }
        left -= got as u64;
        if got < rows {
            break;
        }
    }
    let (arrays, words): (Vec<Named>, Vec<Named>) = arrays
        .into_iter()
        .partition(|array| !array.channels[0].is_empty());
    let mut arrays = arrays;
    arrays.iter_mut().for_each(Named::mend);
    let words = words.into_iter().map(|array| array.name).collect();
    arrays::assemble(&path, arrays, words, options)
}

/// Frames, channels, and whether the channels alternate in the file.
fn arrange(input: &Input, header: &NpyHeader) -> Result<(u64, u64, bool), CaptureError> {
    // Sides of one beyond the second say nothing.
    let mut shape = header.shape.clone();
    while shape.len() > 2
        && let Some(at) = shape.iter().position(|&side| side == 1)
    {
        shape.remove(at);
    }
    let (frames, count, interleaved) = match *shape {
        [] => (1, 1, true),
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
