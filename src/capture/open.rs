//! Recognises a capture by its content.

use super::input::Input;
use super::options::OpenOptions;
use super::{CaptureError, SampleSource};
#[cfg(feature = "formats")]
use super::{flac, mat, unpack, vcd};
use super::{foreign, npy, raw, sigmf, text, wav};
use std::io::Read;
use std::path::Path;

/// Bytes looked at to tell text from anything else.
const SNIFF_BYTES: usize = 4096;

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
        [0x1F, 0x8B, ..] => return unpack::gzip(input, options, depth, recognise),
        #[cfg(feature = "formats")]
        [b'P', b'K', 3, 4, ..] | [b'P', b'K', 5, 6, ..] => {
            return unpack::zip(input, options, depth, recognise);
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

const ALLOWED: &str = "WAV, FLAC, NPY, MAT, VCD, SigMF and columns of numbers as text are; bare samples need --raw with their kind";
