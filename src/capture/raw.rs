//! Headerless samples: the user says what they are.

use super::input::Input;
use super::number::Number;
use super::options::{OpenOptions, RawKind};
use super::packed::{Body, End, Packed, scale_of, unit_of};
use super::{CaptureError, ChannelInfo, Layout, SampleSource};

pub(super) fn open(
    input: Input,
    kind: RawKind,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let (number, complex) = match kind {
        RawKind::I8 => (Number::I8, false),
        RawKind::U8 => (Number::U8, false),
        RawKind::I16 => (Number::I16, false),
        RawKind::I32 => (Number::I32, false),
        RawKind::F32 => (Number::F32, false),
        RawKind::F64 => (Number::F64, false),
        RawKind::Ci16 => (Number::I16, true),
        RawKind::Cf32 => (Number::F32, true),
    };
    let unit = unit_of(number);
    let mut layout = Layout {
        channels: channels(if complex { &["I", "Q"] } else { &["1"] }, unit),
        complex,
        ..Layout::default()
    };
    options.settle_rate(&mut layout, None);
    let scale = scale_of(unit, options.scale, &mut layout.notes);
    let body = Body {
        number,
        big_endian: false,
        end: End::File,
        scale,
    };
    Ok(Box::new(Packed::new(input, layout, body)?))
}

pub(super) fn channels(names: &[&str], unit: super::Unit) -> Vec<ChannelInfo> {
    let channel = |name: &&str| ChannelInfo {
        name: (*name).to_owned(),
        unit,
    };
    names.iter().map(channel).collect()
}
