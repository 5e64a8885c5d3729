//! SigMF recordings: a JSON file of metadata beside a file of samples (the published SigMF specification, 1.x).

use super::input::Input;
use super::number::Number;
use super::open::OpenOptions;
use super::packed::{Body, End, Packed, scale_of, unit_of};
use super::{CaptureError, ChannelInfo, Layout, RateOrigin, SampleSource};
use serde_json::Value;
use std::io::Read;
use std::path::{Path, PathBuf};

/// Longest metadata read.
const META_LIMIT: usize = 4 << 20;
const CHANNEL_LIMIT: u64 = 256;

/// JSON that speaks of a data type of the core name space.
pub(super) fn is_meta(start: &[u8]) -> bool {
    let has = |word: &[u8]| start.windows(word.len()).any(|window| window == word);
    start.trim_ascii_start().starts_with(b"{") && (has(b"core:") || has(b"\"global\""))
}

/// The metadata that belongs to a file of samples by the specification's naming.
pub(super) fn meta_of(data: &Path) -> Option<PathBuf> {
    let is_data = data
        .extension()
        .is_some_and(|ending| ending == "sigmf-data");
    let meta = data.with_extension("sigmf-meta");
    (is_data && meta.is_file()).then_some(meta)
}

/// From the metadata; the samples stand in the file of the same name beside it.
pub(super) fn open(
    mut input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let mut text = Vec::new();
    (&mut input)
        .take(META_LIMIT as u64)
        .read_to_end(&mut text)
        .map_err(|source| input.io_error(source))?;
    let refuse = |found: String, allowed: &str| input.malformed("SigMF metadata", found, allowed);
    let meta: Value = serde_json::from_slice(&text)
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
        return Err(input.unsupported(what, "c or r with f32, f64, i8, u8, i16, u16, i32, u32 are"));
    };
    let count = global["core:num_channels"].as_u64().unwrap_or(1);
    if !(1..=CHANNEL_LIMIT).contains(&count) || (complex && count > 1) {
        let what = format!(
            "SigMF with {count} {} channels",
            if complex { "complex" } else { "real" }
        );
        return Err(input.unsupported(what, "one complex or up to 256 real ones are"));
    }
    if input.path() == Path::new("-") {
        return Err(input.unsupported(
            "SigMF metadata through a pipe",
            "give the file, its samples stand beside it",
        ));
    }
    // Out of an archive the path is the archive's, and what stands beside that is another's.
    if input
        .path()
        .extension()
        .is_none_or(|ending| ending != "sigmf-meta")
    {
        return Err(input.unsupported(
            "SigMF metadata under another name",
            "NAME.sigmf-meta beside NAME.sigmf-data is needed, both unpacked",
        ));
    }
    let data = Input::open(&input.path().with_extension("sigmf-data"))?;
    let unit = unit_of(number);
    let names: Vec<String> = if complex {
        vec!["I".into(), "Q".into()]
    } else {
        (1..=count).map(|number| number.to_string()).collect()
    };
    let segments = meta["captures"].as_array().map_or(&[][..], Vec::as_slice);
    let mut layout = Layout {
        channels: names
            .into_iter()
            .map(|name| ChannelInfo { name, unit })
            .collect(),
        complex,
        centre_hz: segments
            .first()
            .and_then(|first| first["core:frequency"].as_f64())
            .filter(|_| complex),
        // Further segments begin at moments of their own.
        pieces: segments
            .iter()
            .skip(1)
            .take(1000)
            .filter_map(|next| next["core:sample_start"].as_u64())
            .filter(|&at| at > 0)
            .collect(),
        ..Layout::default()
    };
    layout.pieces.sort_unstable();
    let rate = global["core:sample_rate"].as_f64();
    options.settle_rate(&mut layout, rate.map(|rate_hz| (rate_hz, RateOrigin::File)));
    let scale = scale_of(unit, options.scale, &mut layout.notes);
    let body = Body {
        number,
        big_endian,
        end: End::File,
        scale,
    };
    Ok(Box::new(Packed::new(data, layout, body)?))
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
