//! Headerless samples: the user says what they are.

use super::input::Input;
use super::number::Number;
use super::open::OpenOptions;
use super::packed::{Body, End, Packed, scale_of, unit_of};
use super::{CaptureError, ChannelInfo, Layout, SampleSource};
use std::str::FromStr;

/// Kind of headerless samples, little endian. `Ci16` and `Cf32` are complex: in-phase and quadrature in turn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RawKind {
    /// Signed 8 bit.
    I8,
    /// Unsigned 8 bit, 128 is zero.
    U8,
    /// Signed 16 bit.
    I16,
    /// Signed 32 bit.
    I32,
    /// 32-bit float.
    F32,
    /// 64-bit float.
    F64,
    /// Complex, signed 16 bit each.
    Ci16,
    /// Complex, 32-bit float each.
    Cf32,
}

/// The text names no kind.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no raw kind; one of i8, u8, i16, i32, f32, f64, ci16, cf32")]
pub struct RawKindError(String);

impl FromStr for RawKind {
    type Err = RawKindError;

    fn from_str(text: &str) -> Result<Self, RawKindError> {
        Ok(match text {
            "i8" => Self::I8,
            "u8" => Self::U8,
            "i16" => Self::I16,
            "i32" => Self::I32,
            "f32" => Self::F32,
            "f64" => Self::F64,
            "ci16" => Self::Ci16,
            "cf32" => Self::Cf32,
            _ => return Err(RawKindError(text.to_owned())),
        })
    }
}

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
