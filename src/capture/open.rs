//! Recognises a capture by its content.

use super::input::Input;
use super::{CaptureError, Layout, RateOrigin, RawKind, SampleSource};
#[cfg(feature = "formats")]
use super::{flac, mat, unpack, vcd};
use super::{foreign, npy, raw, sigmf, text, wav};
use std::io::Read;
use std::path::Path;

/// Bytes looked at to tell text from anything else.
const SNIFF_BYTES: usize = 4096;

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

/// Opens a capture; `-` is standard input. Nothing but the start is read yet, except that text is read to its end,
/// because its rate is only known there.
///
/// # Errors
/// [`CaptureError`] for what cannot be opened or is no capture.
pub fn open(path: &Path, options: &OpenOptions) -> Result<Box<dyn SampleSource>, CaptureError> {
    options.check(path)?;
    recognise(Input::open(path)?, options, 0)
}

/// Opens the bytes of a capture, as they come from a pipe, a socket or memory; `name` is what messages call it.
///
/// # Errors
/// As [`open`].
pub fn open_reader(
    name: &str,
    reader: impl Read + Send + 'static,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let path = Path::new(name);
    options.check(path)?;
    recognise(Input::new(path, Box::new(reader), None), options, 0)
}

/// `depth` counts the archives around the input.
pub(super) fn recognise(
    mut input: Input,
    options: &OpenOptions,
    depth: u32,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    if let Some(kind) = options.raw {
        return raw::open(input, kind, options);
    }
    #[cfg(not(feature = "formats"))]
    let _ = depth;
    let start = input.peek(SNIFF_BYTES)?;
    if start.is_empty() {
        return Err(input.malformed("byte 0", "an empty file", "at least one sample is needed"));
    }
    match start {
        [
            b'R',
            b'I',
            b'F',
            b'F',
            _,
            _,
            _,
            _,
            b'W',
            b'A',
            b'V',
            b'E',
            ..,
        ]
        | [
            b'R',
            b'F',
            b'6',
            b'4',
            _,
            _,
            _,
            _,
            b'W',
            b'A',
            b'V',
            b'E',
            ..,
        ]
        | [
            b'B',
            b'W',
            b'6',
            b'4',
            _,
            _,
            _,
            _,
            b'W',
            b'A',
            b'V',
            b'E',
            ..,
        ] => {
            return wav::open(input, options);
        }
        [0x93, b'N', b'U', b'M', b'P', b'Y', ..] => return npy::open(input, options),
        #[cfg(feature = "formats")]
        [0x1F, 0x8B, ..] => return unpack::gzip(input, options, depth),
        #[cfg(feature = "formats")]
        [b'P', b'K', 3, 4, ..] | [b'P', b'K', 5, 6, ..] => {
            return unpack::zip(input, options, depth);
        }
        #[cfg(feature = "formats")]
        [b'f', b'L', b'a', b'C', ..] => return flac::open(input, options),
        #[cfg(feature = "formats")]
        _ if mat::is_mat(start) => return mat::open(input, options),
        #[cfg(not(feature = "formats"))]
        [0x1F, 0x8B, ..] | [b'P', b'K', 3, 4, ..] | [b'f', b'L', b'a', b'C', ..] => {
            return Err(input.unsupported(
                "a packed file",
                "built with the feature `formats`, gzip, zip and FLAC are",
            ));
        }
        #[cfg(feature = "formats")]
        _ if vcd::is_vcd(start) => return vcd::open(input, options),
        _ if sigmf::is_meta(start) => return sigmf::open(input, options),
        _ if start.get(257..262) == Some(b"ustar") => return sigmf::archive(input, options),
        _ => {}
    }
    // A title may begin like a picture's or an archive's magic bytes.
    if (!text::looks_like_text(start) || start.starts_with(b"%PDF"))
        && let Some(other) = foreign::foreign(start)
    {
        return Err(input.unsupported(other.what, other.instead));
    }
    if let Some(meta) = sigmf::meta_of(&input) {
        return sigmf::open(Input::open(&meta)?, options);
    }
    let start = input.peek(SNIFF_BYTES)?;
    if let Some(other) = foreign::markup(start) {
        return Err(input.unsupported(other.what, other.instead));
    }
    if text::looks_like_text(start) {
        return text::open(input, options);
    }
    Err(input.unsupported("binary data of no known format", ALLOWED))
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

const ALLOWED: &str = "WAV, FLAC, NPY, MAT, VCD, SigMF and columns of numbers as text are; bare samples need --raw with their kind";
