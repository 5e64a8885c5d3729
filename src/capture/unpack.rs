//! Files inside gzip and zip, never more of them than their size allows.
//!
//! Sources: RFC 1951, RFC 1952; the ZIP file format specification (APPNOTE 6.3), local headers.

use super::arrays::{self, Named};
use super::input::Input;
use super::open::{OpenOptions, recognise};
use super::{CaptureError, SampleSource};
use flate2::read::{DeflateDecoder, MultiGzDecoder};
use std::io::{self, Read};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// Unpacked bytes allowed for each packed one, and those that every file may have. Samples with noise in them pack to a
/// tenth at best, logic levels to a thirtieth; a bomb to a thousandth.
const RATIO: u64 = 40;
const ANYWAY: u64 = 4 << 20;
/// Files within files.
const DEEPEST: u32 = 2;
/// Longest name of a member.
const NAME_LIMIT: u16 = 1024;
/// Most arrays of an NPZ.
const MEMBER_LIMIT: usize = 64;

/// Counts what is taken from a file.
pub(super) struct Counted<R> {
    inner: R,
    count: Arc<AtomicU64>,
}

impl<R> Counted<R> {
    pub(super) fn new(inner: R) -> (Self, Arc<AtomicU64>) {
        let count = Arc::new(AtomicU64::new(0));
        let own = Self {
            inner,
            count: Arc::clone(&count),
        };
        (own, count)
    }
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let got = self.inner.read(buffer)?;
        self.count.fetch_add(got as u64, Ordering::Relaxed);
        Ok(got)
    }
}

/// An error once more comes out than went in allows.
pub(super) struct Bounded<R> {
    inner: R,
    packed: Arc<AtomicU64>,
    /// Bytes that came out, of all members together where they share one allowance.
    given: Arc<AtomicU64>,
}

impl<R> Bounded<R> {
    pub(super) fn new(inner: R, packed: Arc<AtomicU64>) -> Self {
        Self::sharing(inner, packed, Arc::default())
    }

    /// One of several members that have one allowance: many small bombs are a large one.
    pub(super) fn sharing(inner: R, packed: Arc<AtomicU64>, given: Arc<AtomicU64>) -> Self {
        Self {
            inner,
            packed,
            given,
        }
    }
}

impl<R: Read> Read for Bounded<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let got = self.inner.read(buffer)?;
        let given = self.given.fetch_add(got as u64, Ordering::Relaxed) + got as u64;
        let allowed = ANYWAY + RATIO * self.packed.load(Ordering::Relaxed);
        if given > allowed {
            return Err(io::Error::new(
                io::ErrorKind::InvalidData,
                format!(
                    "unpacks to more than {RATIO} times its size, which no capture does; unpack it first"
                ),
            ));
        }
        Ok(got)
    }
}

/// What a gzip file holds.
pub(super) fn gzip(
    input: Input,
    options: &OpenOptions,
    depth: u32,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let depth = deeper(&input, depth)?;
    let path = input.path().to_owned();
    let (counted, count) = Counted::new(input);
    let content = Bounded::new(MultiGzDecoder::new(counted), count);
    recognise(Input::new(&path, Box::new(content), None), options, depth)
}

fn deeper(input: &Input, depth: u32) -> Result<u32, CaptureError> {
    if depth >= DEEPEST {
        return Err(input.unsupported("an archive in an archive in an archive", "unpack it first"));
    }
    Ok(depth + 1)
}

/// What stands before a member of a zip file.
struct Member {
    name: String,
    deflated: bool,
    /// Packed bytes, where the header says.
    size: Option<u64>,
}

/// The one capture in a zip file, or the arrays of an NPZ.
pub(super) fn zip(
    mut input: Input,
    options: &OpenOptions,
    depth: u32,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let depth = deeper(&input, depth)?;
    let mut arrays = Vec::new();
    let (taken, given) = (Arc::default(), Arc::default());
    while let Some(member) = next_member(&mut input)? {
        if member.name == "[Content_Types].xml" || member.name == "mimetype" {
            return Err(input.unsupported("a spreadsheet or document", "save the sheet as CSV"));
        }
        let hidden = member
            .name
            .split('/')
            .any(|part| part.starts_with(['.', '_']));
        if member.name.ends_with('/') || hidden {
            pass(&mut input, &member)?;
            continue;
        }
        let Some(name) = member.name.strip_suffix(".npy") else {
            if !arrays.is_empty() {
                break;
            }
            let path = input.path().to_owned();
            return recognise(
                Input::new(&path, content(input, &member), None),
                options,
                depth,
            );
        };
        if arrays.len() >= MEMBER_LIMIT {
            return Err(input.unsupported("more than 64 arrays", "fewer are"));
        }
        let (array, rest) = array(input, &member, name, options, (&taken, &given))?;
        arrays.push(array);
        input = rest;
    }
    if arrays.is_empty() {
        return Err(input.malformed("zip file", "nothing inside", "a capture is needed"));
    }
    arrays::assemble(input.path(), arrays, options)
}

/// The rest of the file as the content of a member that ends it or says how long it is.
fn content(input: Input, member: &Member) -> Box<dyn Read + Send> {
    let (counted, count) = Counted::new(input);
    let packed = counted.take(member.size.unwrap_or(u64::MAX));
    if member.deflated {
        Box::new(Bounded::new(DeflateDecoder::new(packed), count))
    } else {
        Box::new(packed)
    }
}

fn pass(input: &mut Input, member: &Member) -> Result<(), CaptureError> {
    match member.size {
        Some(size) => input.skip(size).map(drop),
        None => Err(input.unsupported(
            format!(
                "a zip file that does not say how long \"{}\" is",
                member.name.escape_debug()
            ),
            "unpack it first",
        )),
    }
}

/// Reads a whole array; gives the file back behind it.
fn array(
    mut input: Input,
    member: &Member,
    name: &str,
    options: &OpenOptions,
    (taken, given): (&Arc<AtomicU64>, &Arc<AtomicU64>),
) -> Result<(Named, Input), CaptureError> {
    let path = input.path().to_owned();
    let Some(size) = member.size else {
        return Err(input.unsupported(
            "an NPZ whose members have no stated size",
            "unpack it first",
        ));
    };
    let mut packed = Vec::new();
    // As much as really comes, whatever the header asks for.
    let mut left = size;
    while left > 0 {
        let want = left.min(1 << 20) as usize;
        let got = input.append(&mut packed, want)?;
        left -= got as u64;
        if got < want {
            return Err(input.malformed(
                "zip file",
                "a member that is cut off",
                "the whole file is needed",
            ));
        }
    }
    taken.fetch_add(packed.len() as u64, Ordering::Relaxed);
    let packed = io::Cursor::new(packed);
    let reader: Box<dyn Read + Send> = if member.deflated {
        Box::new(Bounded::sharing(
            DeflateDecoder::new(packed),
            Arc::clone(taken),
            Arc::clone(given),
        ))
    } else {
        Box::new(packed)
    };
    // Rate and probe factor are settled for all arrays together.
    let plain = OpenOptions {
        rate_hz: None,
        scale: 1.0,
        ..*options
    };
    let mut source = super::npy::open_array(Input::new(&path, reader, None), &plain)?;
    let mut channels = vec![Vec::new(); source.layout().channels.len()];
    while source.read(1 << 16, &mut channels)? > 0 {}
    let named = Named {
        name: name.chars().filter(|c| !c.is_control()).take(64).collect(),
        complex: source.layout().complex,
        channels,
    };
    Ok((named, input))
}

/// The header of the next member; `None` where the directory begins.
fn next_member(input: &mut Input) -> Result<Option<Member>, CaptureError> {
    const STORED: u16 = 0;
    const DEFLATED: u16 = 8;
    // A descriptor may stand behind the member before.
    if input.peek(4)? == b"PK\x07\x08" {
        input.skip(16)?;
    }
    let place = format!("byte {}", input.consumed());
    if input.peek(4)? != b"PK\x03\x04" {
        return Ok(None);
    }
    let mut header = [0; 30];
    if input.fill(&mut header)? < header.len() {
        return Err(input.malformed(
            place,
            "a member that is cut off",
            "the whole file is needed",
        ));
    }
    let word = |at: usize| u16::from_le_bytes([header[at], header[at + 1]]);
    let (flags, method, name_bytes, extra_bytes) = (word(6), word(8), word(26), word(28));
    if name_bytes > NAME_LIMIT {
        return Err(input.malformed(
            place,
            format!("a name of {name_bytes} bytes"),
            "1024 are enough",
        ));
    }
    let mut name = vec![0; usize::from(name_bytes)];
    let mut extra = vec![0; usize::from(extra_bytes)];
    input.fill(&mut name)?;
    input.fill(&mut extra)?;
    if flags & 1 == 1 {
        return Err(input.unsupported("an encrypted zip file", "unpack it first"));
    }
    if method != STORED && method != DEFLATED {
        return Err(input.unsupported(
            format!("a zip file of method {method}"),
            "stored and deflated ones are",
        ));
    }
    let short = u32::from_le_bytes([header[18], header[19], header[20], header[21]]);
    let size = match (short, flags & 8) {
        (u32::MAX, _) => long_size(&extra),
        (_, 8) if short == 0 => None,
        _ => Some(u64::from(short)),
    };
    if size.is_none() && method == STORED {
        return Err(input.unsupported("a stored member without its size", "unpack it first"));
    }
    Ok(Some(Member {
        name: String::from_utf8_lossy(&name).into_owned(),
        deflated: method == DEFLATED,
        size,
    }))
}

/// Packed size in the extra field of long files: behind the unpacked one.
fn long_size(extra: &[u8]) -> Option<u64> {
    let mut rest = extra;
    while let [k0, k1, l0, l1, behind @ ..] = rest {
        let length = usize::from(u16::from_le_bytes([*l0, *l1]));
        let body = behind.get(..length)?;
        if (*k0, *k1) == (1, 0) {
            return body
                .get(8..16)?
                .first_chunk()
                .map(|&bytes| u64::from_le_bytes(bytes));
        }
        rest = &behind[length..];
    }
    None
}
