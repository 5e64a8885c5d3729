//! NPY arrays: one or two dimensions, channels along the shorter one.

use super::arrays::even_step;
use super::input::Input;
use super::memory_source::WithoutFirst;
use super::npy_header::{self, NpyHeader};
use super::number::Number;
use super::open::OpenOptions;
use super::packed::{Body, End, Packed, scale_of, unit_of};
use super::planes::Planes;
use super::{
    CaptureError, ChannelInfo, Columns, Layout, RateOrigin, SampleSource, TimeColumn, Unit,
};

/// More channels than any digitiser has.
const CHANNEL_LIMIT: u64 = 256;

pub(super) fn open(
    input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    open_as(input, options, true)
}

/// An array of an NPZ: a column of times in it is no concern of its own.
pub(super) fn open_array(
    input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    open_as(input, options, false)
}

fn open_as(
    mut input: Input,
    options: &OpenOptions,
    may_hold_time: bool,
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
    let time = if may_hold_time && count > 1 && !header.complex && header.number.is_float() {
        time_of(&mut input, &header, count as usize, interleaved, frames)?
    } else {
        None
    };
    let own = time.map(|(step_s, _)| (1.0 / step_s, RateOrigin::TimeColumn));
    options.settle_rate(&mut layout, own);
    let without_time = time.map(|(_, start_s)| {
        let mut layout = layout.clone();
        layout.channels.remove(0);
        layout.start_s = start_s;
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
    Ok(match without_time {
        Some(layout) => Box::new(WithoutFirst::new(source, layout)),
        None => source,
    })
}

/// Step and start of the first column, where it rises evenly over the first rows.
fn time_of(
    input: &mut Input,
    header: &NpyHeader,
    count: usize,
    interleaved: bool,
    frames: u64,
) -> Result<Option<(f64, f64)>, CaptureError> {
    const BYTES: usize = 1 << 18;
    let width = header.number.bytes();
    let step = if interleaved { width * count } else { width };
    let rows = (BYTES / step).min(usize::try_from(frames).unwrap_or(usize::MAX));
    let start = input.peek(rows * step)?;
    let first: Vec<u8> = start
        .chunks_exact(step)
        .flat_map(|row| &row[..width])
        .copied()
        .collect();
    let mut column = vec![Vec::new()];
    header.number.spread(&first, header.big_endian, &mut column);
    let column = &column[0];
    Ok(even_step(column)
        .filter(|&step_s| step_s != 1.0)
        .map(|step_s| (step_s, f64::from(column[0]))))
}

/// Frames, channels, and whether the channels alternate in the file.
fn arrange(input: &Input, header: &NpyHeader) -> Result<(u64, u64, bool), CaptureError> {
    let (frames, count, interleaved) = match *header.shape {
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
