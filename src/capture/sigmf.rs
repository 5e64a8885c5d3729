//! SigMF recordings: a JSON file of metadata beside a file of samples, or both in a tar archive (the published SigMF
//! specification, 1.x; POSIX.1-1988 for the archive).

use super::again::ReadSeek;
use super::input::Input;
use super::number::Number;
use super::options::OpenOptions;
use super::packed::{Body, End, Packed, scale_of, unit_of};
use super::{CaptureError, ChannelInfo, Layout, RateOrigin, SampleSource};
use serde_json::Value;
use std::io::{self, Read, Seek, SeekFrom};
use std::path::{Path, PathBuf};

/// Characters of a date with fractions of a second and a time zone, with room to spare.
const LONGEST_DATE: usize = 40;
/// Longest metadata read.
const META_LIMIT: usize = 4 << 20;
const CHANNEL_LIMIT: u64 = 256;

/// JSON that speaks of a data type of the core name space.
pub(super) fn is_meta(start: &[u8]) -> bool {
    let has = |word: &[u8]| start.windows(word.len()).any(|window| window == word);
    start.trim_ascii_start().starts_with(b"{") && (has(b"core:") || has(b"\"global\""))
}

/// A tar archive, of which only those of recordings are read.
pub(super) fn is_archive(start: &[u8]) -> bool {
    start.get(257..262) == Some(b"ustar")
}

/// The metadata that belongs to a file of samples by the specification's naming; nothing to a stream of that name.
pub(super) fn meta_of(data: &Input) -> Option<PathBuf> {
    let is_data = data
        .path()
        .extension()
        .is_some_and(|ending| ending == "sigmf-data");
    let meta = data.path().with_extension("sigmf-meta");
    (data.is_file() && is_data && meta.is_file()).then_some(meta)
}

/// From the metadata; the samples stand in a file beside it.
pub(super) fn open(
    mut input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    // What stands beside a stream or in an archive is nobody's to open.
    if !input.is_file() {
        return Err(input.unsupported(
            "SigMF metadata without its samples",
            "give the file, its samples stand beside it, or the archive of both",
        ));
    }
    let mut text = Vec::new();
    input.append(&mut text, META_LIMIT)?;
    let meta = Meta::read(&input, &text)?;
    let named = input.path().extension() == Some("sigmf-meta".as_ref());
    let data = match &meta.samples {
        Some(name) => input.path().with_file_name(name),
        None if named => input.path().with_extension("sigmf-data"),
        None => {
            return Err(input.unsupported(
                "SigMF metadata under another name",
                "NAME.sigmf-meta beside NAME.sigmf-data is needed",
            ));
        }
    };
    let data = input.neighbour(&data)?;
    let length = data.left();
    meta.source(data, length, options)
}

/// A recording in an archive of one; the first if there are several.
pub(super) fn archive(
    mut input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let (mut meta, mut data) = (None, None);
    while let Some((name, size)) = next_member(&mut input)? {
        let padded = size.div_ceil(BLOCK) * BLOCK;
        if name.ends_with(".sigmf-meta") && meta.is_none() {
            let mut text = Vec::new();
            let kept = size.min(META_LIMIT as u64);
            input.append(&mut text, kept as usize)?;
            input.skip(padded - kept)?;
            meta = Some(Meta::read(&input, &text)?);
        } else if name.ends_with(".sigmf-data") && data.is_none() {
            if let Some(meta) = meta {
                let path = input.path().to_owned();
                let content = Input::new(&path, Box::new(input.take(size)), None);
                return meta.source(content, Some(size), options);
            }
            data = Some((input.consumed(), size));
            input.skip(padded)?;
        } else {
            input.skip(padded)?;
        }
    }
    let (Some(meta), Some((at, size))) = (meta, data) else {
        return Err(input.unsupported(
            "a tar archive",
            "unpack it first; gzip and zip are read as they are, and SigMF archives",
        ));
    };
    let Some(again) = input.again() else {
        return Err(input.unsupported(
            "a SigMF archive with its metadata last, through a pipe",
            "give the file",
        ));
    };
    let reopen = || -> io::Result<Box<dyn ReadSeek>> {
        let mut file = again.open()?;
        file.seek(SeekFrom::Start(at))?;
        Ok(file)
    };
    let file = reopen().map_err(|source| input.io_error(source))?;
    let content = Input::new(input.path(), Box::new(file.take(size)), None);
    meta.source(content, Some(size), options)
}

/// Bytes of a block of an archive.
const BLOCK: u64 = 512;

/// Name and size of the next file of an archive; `None` at its end.
fn next_member(input: &mut Input) -> Result<Option<(String, u64)>, CaptureError> {
    let mut header = [0; BLOCK as usize];
    let got = input.fill(&mut header)?;
    if got < header.len() || header[257..262] != *b"ustar" {
        return Ok(None);
    }
    let text = |field: &[u8]| {
        let end = field.iter().position(|&byte| byte == 0);
        String::from_utf8_lossy(&field[..end.unwrap_or(field.len())]).into_owned()
    };
    let Ok(size) = u64::from_str_radix(text(&header[124..136]).trim(), 8) else {
        return Err(input.malformed(
            "tar archive",
            "a size that is no number",
            "octal digits are",
        ));
    };
    Ok(Some((text(&header[..100]), size)))
}

/// What the metadata says.
struct Meta {
    number: Number,
    complex: bool,
    big_endian: bool,
    count: u64,
    rate_hz: Option<f64>,
    centre_hz: Option<f64>,
    pieces: Vec<u64>,
    header_bytes: u64,
    trailing_bytes: u64,
    /// When the first sample was taken, ISO 8601.
    made: Option<String>,
    /// Name of the samples, where it is another one than the metadata's.
    samples: Option<String>,
}

impl Meta {
    fn read(input: &Input, text: &[u8]) -> Result<Self, CaptureError> {
        let refuse =
            |found: String, allowed: &str| input.malformed("SigMF metadata", found, allowed);
        let text = text.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(text);
        let meta: Value = serde_json::from_slice(text)
            .map_err(|error| refuse(error.to_string(), "JSON is needed"))?;
        let global = &meta["global"];
        let Some(kind) = global["core:datatype"].as_str() else {
            return Err(refuse(
                "no core:datatype".into(),
                "it says how the samples are stored",
            ));
        };
        let Some((number, complex, big_endian)) = datatype(kind) else {
            let what = format!("SigMF with samples of type {}", kind.escape_debug());
            let allowed = "c or r with f32, f64, i8, u8, i16, u16, i32, u32 are";
            return Err(input.unsupported(what, allowed));
        };
        let count = global["core:num_channels"].as_u64().unwrap_or(1);
        if !(1..=CHANNEL_LIMIT).contains(&count) || (complex && count > 1) {
            let what = format!(
                "SigMF with {count} {} channels",
                if complex { "complex" } else { "real" }
            );
            return Err(input.unsupported(what, "one complex or up to 256 real ones are"));
        }
        let segments = meta["captures"].as_array().map_or(&[][..], Vec::as_slice);
        let header_of = |segment: &Value| segment["core:header_bytes"].as_u64().unwrap_or(0);
        if segments.iter().skip(1).any(|next| header_of(next) > 0) {
            return Err(input.unsupported(
                "SigMF with headers between its segments",
                "one before the samples is",
            ));
        }
        let samples = global["core:dataset"].as_str();
        if samples.is_some_and(|name| Path::new(name).file_name() != Some(name.as_ref())) {
            return Err(refuse(
                "a core:dataset in another folder".into(),
                "the samples stand beside the metadata",
            ));
        }
        let mut pieces: Vec<u64> = segments
            .iter()
            .skip(1)
            .take(1000)
            .filter_map(|next| next["core:sample_start"].as_u64())
            .filter(|&at| at > 0)
            .collect();
        pieces.sort_unstable();
        let first = segments.first();
        Ok(Self {
            number,
            complex,
            big_endian,
            count,
            rate_hz: global["core:sample_rate"].as_f64(),
            centre_hz: first
                .and_then(|first| first["core:frequency"].as_f64())
                .filter(|_| complex),
            // Further segments begin at moments of their own.
            pieces,
            header_bytes: first.map_or(0, header_of),
            trailing_bytes: global["core:trailing_bytes"].as_u64().unwrap_or(0),
            made: first
                .and_then(|first| first["core:datetime"].as_str())
                .filter(|made| made.len() <= LONGEST_DATE && !made.contains(char::is_control))
                .map(str::to_owned),
            samples: samples.map(str::to_owned),
        })
    }

    /// The samples, of which so many bytes are there with what stands before and behind them.
    fn source(
        self,
        mut data: Input,
        length: Option<u64>,
        options: &OpenOptions,
    ) -> Result<Box<dyn SampleSource>, CaptureError> {
        let unit = unit_of(self.number);
        let names: Vec<String> = if self.complex {
            vec!["I".into(), "Q".into()]
        } else {
            (1..=self.count).map(|number| number.to_string()).collect()
        };
        let channel = |name| ChannelInfo { name, unit };
        let mut layout = Layout {
            channels: names.into_iter().map(channel).collect(),
            complex: self.complex,
            centre_hz: self.centre_hz,
            pieces: self.pieces,
            made: self.made,
            ..Layout::default()
        };
        let rate = self.rate_hz.map(|rate_hz| (rate_hz, RateOrigin::File));
        options.settle_rate(&mut layout, rate);
        let scale = scale_of(unit, options.scale, &mut layout.notes);
        data.skip(self.header_bytes)?;
        let beside = self.header_bytes.saturating_add(self.trailing_bytes);
        let end = match length.filter(|_| self.trailing_bytes > 0) {
            Some(length) => End::Bytes(length.saturating_sub(beside)),
            None => End::File,
        };
        let body = Body {
            number: self.number,
            big_endian: self.big_endian,
            end,
            scale,
        };
        Ok(Box::new(Packed::new(data, layout, body)?))
    }
}

/// `cf32_le` → number, complex, big endian.
fn datatype(kind: &str) -> Option<(Number, bool, bool)> {
    let complex = match kind.chars().next()? {
        'c' => true,
        'r' => false,
        _ => return None,
    };
    let (number, order) = kind[1..].split_once('_').unwrap_or((&kind[1..], "le"));
    let number = match number {
        "f32" => Number::F32,
        "f64" => Number::F64,
        "i8" => Number::I8,
        "u8" => Number::U8,
        "i16" => Number::I16,
        "u16" => Number::U16,
        "i32" => Number::I32,
        "u32" => Number::U32,
        _ => return None,
    };
    Some((number, complex, order == "be"))
}
