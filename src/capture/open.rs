//! Recognises a capture by its content.

use super::input::Input;
use super::{CaptureError, Layout, RateOrigin, RawKind, SampleSource};
use super::{npy, raw, text, wav};
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
    recognise(Input::open(path)?, options)
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
    recognise(Input::new(path, Box::new(reader), None), options)
}

pub(super) fn recognise(
    mut input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    if let Some(kind) = options.raw {
        return raw::open(input, kind, options);
    }
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
        _ => {}
    }
    if let Some(name) = foreign(start) {
        return Err(input.unsupported(name, ALLOWED));
    }
    if text::looks_like_text(start) {
        return text::open(input, options);
    }
    Err(input.unsupported("binary data of no known format", ALLOWED))
}

/// A number for a message: all digits where they are few, else with an exponent.
pub(super) fn readable(value: f64) -> String {
    if value == 0.0 || (1e-4..1e12).contains(&value.abs()) {
        value.to_string()
    } else {
        format!("{value:e}")
    }
}

const ALLOWED: &str =
    "WAV, NPY and columns of numbers as text are; bare samples need --raw with their kind";

/// Names of formats met by mistake, by their first bytes (each format's own specification).
fn foreign(start: &[u8]) -> Option<&'static str> {
    const NAMES: [(&[u8], &str); 16] = [
        (b"\x1F\x8B", "a gzip archive"),
        (b"PK\x03\x04", "a zip archive or spreadsheet"),
        (b"BZh", "a bzip2 archive"),
        (b"\xFD7zXZ\0", "an xz archive"),
        (b"\x28\xB5\x2F\xFD", "a zstd archive"),
        (b"7z\xBC\xAF\x27\x1C", "a 7z archive"),
        (b"\x89PNG", "a PNG picture"),
        (b"\xFF\xD8\xFF", "a JPEG picture"),
        (b"GIF8", "a GIF picture"),
        (b"%PDF", "a PDF document"),
        (b"fLaC", "FLAC audio"),
        (b"OggS", "Ogg audio"),
        (b"ID3", "MP3 audio"),
        (b"FORM", "AIFF audio"),
        (b"RIFX", "big-endian RIFF"),
        (b"RIFF", "RIFF without WAVE inside"),
    ];
    let found = NAMES.iter().find(|(magic, _)| start.starts_with(magic));
    found.map(|&(_, name)| name)
}
