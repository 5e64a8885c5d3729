//! What the user says about a capture.

use std::path::Path;
use std::str::FromStr;

use super::{CaptureError, ChannelInfo, Layout, RateOrigin, Unit};

/// What the user says about a capture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OpenOptions {
    /// Sample rate; wins over the one in the file.
    pub rate_hz: Option<f64>,
    /// Probe factor: volts and numbers without a unit are multiplied by it. Default 1.
    pub scale: f64,
    /// The file has no header and holds samples of this kind.
    pub raw: Option<RawKind>,
}

impl Default for OpenOptions {
    fn default() -> Self {
        Self {
            rate_hz: None,
            scale: 1.0,
            raw: None,
        }
    }
}

impl OpenOptions {
    /// Puts the rate into the layout: the user's, else the file's. 0 or nonsense in the file counts as unknown.
    pub(super) fn settle_rate(&self, layout: &mut Layout, file: Option<(f64, RateOrigin)>) {
        let sensible = |rate: f64| rate.is_finite() && rate > 0.0;
        if let Some((rate_hz, _)) = file
            && !sensible(rate_hz)
        {
            layout.notes.push(format!(
                "The file states a sample rate of {} Hz: taken as unknown.",
                readable(rate_hz)
            ));
        }
        let file = file.filter(|&(rate_hz, _)| sensible(rate_hz));
        let settled = match (self.rate_hz, file) {
            (Some(given), Some((own, _))) => {
                // A time column is known to about 1e-9; a smaller difference is rounding.
                if (given / own - 1.0).abs() > 1e-9 {
                    layout.notes.push(format!(
                        "The sample rate given, {} Hz, was used; the file says {} Hz.",
                        readable(given),
                        readable(own)
                    ));
                }
                Some((given, RateOrigin::Given))
            }
            (Some(given), None) => Some((given, RateOrigin::Given)),
            (None, own) => own,
        };
        layout.rate_hz = settled.map(|(rate_hz, _)| rate_hz);
        layout.rate_origin = settled.map(|(_, origin)| origin);
    }

    /// The probe factor on all but fractions of full scale.
    pub(super) fn scale_levels(&self, channels: &mut [Vec<f32>], info: &[ChannelInfo]) {
        if self.scale == 1.0 {
            return;
        }
        for (samples, info) in channels.iter_mut().zip(info) {
            if info.unit != Unit::FullScale {
                for sample in samples {
                    let scaled = (f64::from(*sample) * self.scale) as f32;
                    *sample = scaled.clamp(f32::MIN, f32::MAX);
                }
            }
        }
    }

    pub(super) fn check(&self, path: &Path) -> Result<(), CaptureError> {
        let refuse = |what: String, allowed: &str| {
            Err(CaptureError::Unsupported {
                path: path.to_owned(),
                what,
                allowed: allowed.into(),
            })
        };
        match self.rate_hz {
            Some(rate_hz) if !(rate_hz.is_finite() && rate_hz > 0.0) => {
                return refuse(
                    format!("a sample rate of {rate_hz} Hz"),
                    "it must be above 0",
                );
            }
            _ => {}
        }
        if !self.scale.is_finite() || self.scale == 0.0 {
            let what = format!("a scale factor of {}", self.scale);
            return refuse(what, "any finite number but 0 is");
        }
        Ok(())
    }
}

/// A number for a message: all digits where they are few, else nine, with an exponent where it is large or small.
pub(super) fn readable(value: f64) -> String {
    let value: f64 = format!("{value:.8e}").parse().unwrap_or(value);
    if value == 0.0 || (1e-4..1e12).contains(&value.abs()) {
        value.to_string()
    } else {
        format!("{value:e}")
    }
}

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

impl RawKind {
    /// All kinds.
    pub const ALL: [Self; 8] = [
        Self::I8,
        Self::U8,
        Self::I16,
        Self::I32,
        Self::F32,
        Self::F64,
        Self::Ci16,
        Self::Cf32,
    ];

    /// As it is written: i8, u8, i16, i32, f32, f64, ci16 or cf32.
    pub fn name(self) -> &'static str {
        match self {
            Self::I8 => "i8",
            Self::U8 => "u8",
            Self::I16 => "i16",
            Self::I32 => "i32",
            Self::F32 => "f32",
            Self::F64 => "f64",
            Self::Ci16 => "ci16",
            Self::Cf32 => "cf32",
        }
    }
}

/// The text names no kind.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no raw kind; one of i8, u8, i16, i32, f32, f64, ci16, cf32")]
pub struct RawKindError(String);

impl FromStr for RawKind {
    type Err = RawKindError;

    fn from_str(text: &str) -> Result<Self, RawKindError> {
        let named = Self::ALL.into_iter().find(|kind| kind.name() == text);
        named.ok_or_else(|| RawKindError(text.to_owned()))
    }
}
