//! Files inside gzip and zip, never more of them than their size allows.
//!
//! `flate2` unpacks; the `zip` crate reads the directory of a zip file, and only that: its members are unpacked here, as
//! streams that count what comes out. Sources: RFC 1951, RFC 1952; the ZIP file format specification (APPNOTE 6.3).

use super::again::Again;
use super::allowance::{Allowance, Bounded, Counted};
use super::arrays::{self, Named, shown};
use super::input::{Input, memory_limit};
use super::options::OpenOptions;
use super::{CaptureError, SampleSource};
use flate2::read::{DeflateDecoder, MultiGzDecoder};
use std::io::{self, Read, SeekFrom};
use std::sync::atomic::Ordering;
use zip::{CompressionMethod, ZipArchive};

/// Files within files.
const DEEPEST: u32 = 2;
/// Most members of a zip file that are looked at.
const MEMBER_LIMIT: usize = 64;
/// Longest zip file read through a pipe, where nobody can go back.
const PIPE_LIMIT: u64 = 1 << 30;

/// Recognises what is inside, at its depth.
pub(super) type Inside =
    fn(Input, &OpenOptions, u32) -> Result<Box<dyn SampleSource>, CaptureError>;

/// What a gzip file holds.
pub(super) fn gzip(
    input: Input,
    options: &OpenOptions,
    depth: u32,
    inside: Inside,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let depth = deeper(&input, depth)?;
    let path = input.path().to_owned();
    let allowance = Allowance::for_stream();
    let counted = Counted::new(input, allowance.packed());
    let content = Bounded::new(MultiGzDecoder::new(counted), &allowance, "gzip file");
    let content = Input::unpacked(&path, Box::new(content), allowance.packed());
    inside(content, options, depth)
}

fn deeper(input: &Input, depth: u32) -> Result<u32, CaptureError> {
    if depth >= DEEPEST {
        return Err(input.unsupported("an archive in an archive in an archive", "unpack it first"));
    }
    Ok(depth + 1)
}

/// The bytes of a file as it stands; all of what comes through a pipe.
fn bytes_of(input: &mut Input) -> Result<Again, CaptureError> {
    if let Some(again) = input.again() {
        return Ok(again.clone());
    }
    // A zip file in an archive must fit into what the archive may take.
    let mut all = Vec::new();
    let step = 1 << 20;
    while input.append(&mut all, step)? == step {
        let most = input.memory_limit().map_or(PIPE_LIMIT, |most| most / 4);
        if all.len() as u64 > most {
            let what = format!("a zip file of more than {most} bytes that is no file of its own");
            return Err(input.unsupported(what, "unpack it first"));
        }
    }
    Ok(Again::Memory(all.into()))
}

/// A member of a zip file.
struct Member {
    name: String,
    start: u64,
    packed: u64,
    deflated: bool,
}

/// The capture in a zip file, or the arrays of an NPZ.
pub(super) fn zip(
    mut input: Input,
    options: &OpenOptions,
    depth: u32,
    inside: Inside,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let depth = deeper(&input, depth)?;
    let bytes = bytes_of(&mut input)?;
    let members = members(&input, &bytes)?;
    let path = input.path();
    let is_array = |member: &&Member| member.name.ends_with(".npy");
    if members.iter().all(|member| is_array(&member)) {
        return arrays_of(&input, &bytes, &members, options);
    }
    let allowance = Allowance::for_stream();
    let mut first_error = None;
    for (at, member) in members.iter().enumerate() {
        let content = content(&bytes, member, &allowance);
        let content = content.map_err(|source| input.io_error(source))?;
        let content = Input::unpacked(path, content, allowance.packed());
        // Whether text is a capture only its rows say.
        match inside(content, options, depth) {
            Ok(source) if members.len() == 1 => return Ok(source),
            Ok(source) => {
                let others = members.iter().enumerate().filter(|(other, _)| *other != at);
                let others: Vec<&str> = others.take(5).map(|(_, other)| &*other.name).collect();
                let note = format!(
                    "Of the zip file \"{}\" was read, not {}.",
                    member.name,
                    others.join(", ")
                );
                return Ok(Box::new(Noted::new(source, note)));
            }
            Err(error) => first_error.get_or_insert(error),
        };
    }
    Err(first_error
        .unwrap_or_else(|| input.malformed("zip file", "nothing inside", "a capture is needed")))
}

/// Files in a zip file, without folders and hidden ones.
fn members(input: &Input, bytes: &Again) -> Result<Vec<Member>, CaptureError> {
    let damaged = |error: zip::result::ZipError| {
        let found: String = error
            .to_string()
            .chars()
            .filter(|c| !c.is_control())
            .take(120)
            .collect();
        input.malformed("zip file", found, "the whole file is needed")
    };
    let reader = bytes.open().map_err(|source| input.io_error(source))?;
    let mut archive = ZipArchive::new(io::BufReader::new(reader)).map_err(damaged)?;
    let mut members = Vec::new();
    for index in 0..archive.len() {
        let member = archive.by_index_raw(index).map_err(damaged)?;
        let name = shown(member.name().map_err(damaged)?.as_bytes());
        if name == "[Content_Types].xml" || name == "mimetype" {
            return Err(input.unsupported("a spreadsheet or document", "save the sheet as CSV"));
        }
        let hidden = name.split('/').any(|part| part.starts_with(['.', '_']));
        if name.ends_with('/') || hidden {
            continue;
        }
        if member.encrypted() {
            return Err(input.unsupported("an encrypted zip file", "unpack it first"));
        }
        let deflated = member.compression() == CompressionMethod::Deflated;
        if !deflated && member.compression() != CompressionMethod::Stored {
            return Err(input.unsupported(
                format!("a zip file packed with {}", member.compression()),
                "stored and deflated ones are",
            ));
        }
        if members.len() == MEMBER_LIMIT {
            return Err(input.unsupported(
                format!("a zip file of more than {MEMBER_LIMIT} files"),
                "fewer are",
            ));
        }
        members.push(Member {
            name,
            start: member.data_start().unwrap_or(0),
            packed: member.compressed_size(),
            deflated,
        });
    }
    if members.is_empty() {
        return Err(input.malformed("zip file", "nothing inside", "a capture is needed"));
    }
    let size = match bytes {
        Again::File(_) => input.left().unwrap_or(0),
        Again::Memory(all) => all.len() as u64,
    };
    let packed = members.iter().map(|member| member.packed);
    if packed.fold(0, u64::saturating_add) > size {
        return Err(input.malformed(
            "zip file",
            "members that lie upon each other",
            "each needs bytes of its own",
        ));
    }
    Ok(members)
}

/// A member as a stream.
fn content(
    bytes: &Again,
    member: &Member,
    allowance: &Allowance,
) -> io::Result<Box<dyn Read + Send>> {
    let mut reader = bytes.open()?;
    reader.seek(SeekFrom::Start(member.start))?;
    let packed = Counted::new(reader.take(member.packed), allowance.packed());
    Ok(if member.deflated {
        Box::new(Bounded::new(
            DeflateDecoder::new(packed),
            allowance,
            "zip file",
        ))
    } else {
        Box::new(packed)
    })
}

/// The members of an NPZ, each a channel, the time or a setting.
fn arrays_of(
    input: &Input,
    bytes: &Again,
    members: &[Member],
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    // Rate and probe factor are settled for all arrays together.
    let plain = OpenOptions {
        rate_hz: None,
        scale: 1.0,
        ..*options
    };
    let allowance = Allowance::for_stream();
    let (mut arrays, mut left_out, mut held) = (Vec::new(), Vec::new(), 0_u64);
    for member in members {
        let name = member.name.trim_end_matches(".npy").to_owned();
        let content = content(bytes, member, &allowance);
        let content = content.map_err(|source| input.io_error(source))?;
        let content = Input::unpacked(input.path(), content, allowance.packed());
        let (mut source, rise) = match super::npy::open_array(content, &plain) {
            Ok(array) => array,
            // Words, objects, arrays of nothing.
            Err(CaptureError::Unsupported { .. }) => {
                left_out.push(name);
                continue;
            }
            Err(error) => return Err(error),
        };
        let mut channels = vec![Vec::new(); source.layout().channels.len()];
        loop {
            let count = source.read(1 << 16, &mut channels)?;
            held += 4 * (count * channels.len()) as u64;
            // While a vector grows, it is there twice, once with room for as much again.
            if 3 * held > memory_limit(allowance.packed().load(Ordering::Relaxed)) {
                return Err(input.unsupported(
                    "an NPZ that unpacks to so much more than its size",
                    "save it without compression",
                ));
            }
            if count == 0 {
                break;
            }
        }
        let layout = source.layout();
        arrays.push(Named {
            name,
            complex: layout.complex,
            unit: layout.channels[0].unit,
            rise,
            notes: layout.notes.clone(),
            channels,
        });
    }
    arrays::assemble(input.path(), arrays, left_out, options)
}

/// A source with a remark.
struct Noted {
    inner: Box<dyn SampleSource>,
    layout: super::Layout,
    note: String,
}

impl Noted {
    fn new(inner: Box<dyn SampleSource>, note: String) -> Self {
        let mut own = Self {
            layout: inner.layout().clone(),
            inner,
            note,
        };
        own.layout.notes.insert(0, own.note.clone());
        own
    }
}

impl SampleSource for Noted {
    fn layout(&self) -> &super::Layout {
        &self.layout
    }

    fn read(&mut self, frames: usize, channels: &mut [Vec<f32>]) -> Result<usize, CaptureError> {
        let count = self.inner.read(frames, channels)?;
        if self.inner.layout().notes.len() + 1 != self.layout.notes.len() {
            self.layout = self.inner.layout().clone();
            self.layout.notes.insert(0, self.note.clone());
        }
        Ok(count)
    }
}
