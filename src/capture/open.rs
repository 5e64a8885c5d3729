//! Recognises a capture by its content.

use super::input::Input;
use super::options::OpenOptions;
use super::{CaptureError, SampleSource};
#[cfg(feature = "formats")]
use super::{flac, mat, unpack, vcd};
use super::{foreign, npy, raw, sigmf, text, wav};
use std::io::Read;
use std::path::Path;
use std::sync::Arc;

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

/// Opens a capture as [`open`] does, and sums up its bytes while they are read.
///
/// # Errors
/// As [`open`].
#[cfg(feature = "page")]
pub fn open_tallied(
    path: &Path,
    options: &OpenOptions,
) -> Result<(Box<dyn SampleSource>, super::Tally), CaptureError> {
    options.check(path)?;
    let mut input = Input::open(path)?;
    let tally = input.tallied();
    Ok((recognise(input, options, 0)?, tally))
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

/// Opens the bytes of a whole file; `name` is what messages call it. Unlike those of a stream they can be read from any place.
///
/// # Errors
/// As [`open`].
pub fn open_bytes(
    name: &str,
    bytes: impl Into<Arc<[u8]>>,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let path = Path::new(name);
    options.check(path)?;
    recognise(Input::in_memory(path, bytes.into()), options, 0)
}

/// The same for a file that describes another one, `beside` (name and bytes): the metadata of a SigMF recording and its samples.
///
/// # Errors
/// As [`open`].
pub fn open_pair(
    name: &str,
    bytes: impl Into<Arc<[u8]>>,
    beside: (&str, Arc<[u8]>),
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let path = Path::new(name);
    options.check(path)?;
    let input = Input::in_memory(path, bytes.into()).beside(beside.0, beside.1);
    recognise(input, options, 0)
}

/// Tells a format by how a file begins.
type Tell = fn(&[u8]) -> bool;
/// Opens a file of a format.
type Opener = fn(Input, &OpenOptions) -> Result<Box<dyn SampleSource>, CaptureError>;

/// Formats told by how a file begins.
const FORMATS: &[(Tell, Opener)] = &[
    (wav::is_wav, wav::open),
    (npy::is_npy, npy::open),
    #[cfg(feature = "formats")]
    (flac::is_flac, flac::open),
    #[cfg(feature = "formats")]
    (mat::is_mat, mat::open),
    #[cfg(feature = "formats")]
    (vcd::is_vcd, vcd::open),
    (sigmf::is_meta, sigmf::open),
    (sigmf::is_archive, sigmf::archive),
];

/// `depth` counts the archives around the input.
pub(super) fn recognise(
    mut input: Input,
    options: &OpenOptions,
    depth: u32,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    if let Some(kind) = options.raw {
        return raw::open(input, kind, options);
    }
    let start = input.peek(SNIFF_BYTES)?;
    if start.is_empty() {
        return Err(input.malformed("byte 0", "an empty file", "at least one sample is needed"));
    }
    if let Some(packing) = packing(start) {
        return unpacked(packing, input, options, depth);
    }
    if let Some((_, open)) = FORMATS.iter().find(|(tells, _)| tells(start)) {
        return open(input, options);
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

/// How files are packed.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Packing {
    Gzip,
    Zip,
    /// FLAC packs the samples themselves.
    #[cfg(not(feature = "formats"))]
    Flac,
}

fn packing(start: &[u8]) -> Option<Packing> {
    match start {
        [0x1F, 0x8B, ..] => Some(Packing::Gzip),
        [b'P', b'K', 3, 4, ..] | [b'P', b'K', 5, 6, ..] => Some(Packing::Zip),
        #[cfg(not(feature = "formats"))]
        [b'f', b'L', b'a', b'C', ..] => Some(Packing::Flac),
        _ => None,
    }
}

#[cfg(feature = "formats")]
fn unpacked(
    packing: Packing,
    input: Input,
    options: &OpenOptions,
    depth: u32,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    match packing {
        Packing::Gzip => unpack::gzip(input, options, depth, recognise),
        Packing::Zip => unpack::zip(input, options, depth, recognise),
    }
}

#[cfg(not(feature = "formats"))]
fn unpacked(
    _: Packing,
    input: Input,
    _: &OpenOptions,
    _: u32,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    Err(input.unsupported(
        "a packed file",
        "built with the feature `formats`, gzip, zip and FLAC are",
    ))
}

#[cfg(feature = "formats")]
const ALLOWED: &str = "WAV, FLAC, NPY, MAT, VCD, SigMF and columns of numbers as text are; bare samples need --raw with their kind";
#[cfg(not(feature = "formats"))]
const ALLOWED: &str = "WAV, NPY, SigMF and columns of numbers as text are; with the feature `formats` FLAC, MAT and VCD too; bare samples need --raw with their kind";
