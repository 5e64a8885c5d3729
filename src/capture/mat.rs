//! MAT-files of level 5, packed or not (MAT-File Format, the published description of levels 4 and 5).

use super::arrays::{self, Named};
use super::input::Input;
use super::number::Number;
use super::open::OpenOptions;
use super::unpack::Bounded;
use super::{CaptureError, SampleSource};
use flate2::read::ZlibDecoder;
use std::io::{Cursor, Read};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

const HEADER_BYTES: u64 = 128;
/// Most variables looked at.
const VARIABLE_LIMIT: usize = 64;
/// Most channels of a variable.
const CHANNEL_LIMIT: usize = 256;
const MI_MATRIX: u32 = 14;
const MI_COMPRESSED: u32 = 15;

const ALLOWED: &str = "numeric variables of one or two dimensions are needed; save with -v6 or -v7";

/// The start of a level 5 file: its text, version and byte order mark.
pub(super) fn is_mat(start: &[u8]) -> bool {
    start.starts_with(b"MATLAB 5.0 MAT-file") && matches!(start.get(126..128), Some(b"IM" | b"MI"))
}

pub(super) fn open(
    mut input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let path = input.path().to_owned();
    let big_endian = input.peek(128)?.get(126) == Some(&b'M');
    input.skip(HEADER_BYTES)?;
    let mut variables = Vec::new();
    let (taken, given) = (Arc::new(AtomicU64::new(0)), Arc::default());
    while variables.len() < VARIABLE_LIMIT {
        let place = format!("byte {}", input.consumed());
        let mut tag = [0; 8];
        if input.fill(&mut tag)? < tag.len() {
            break;
        }
        let (kind, size) = (word(&tag, 0, big_endian), word(&tag, 4, big_endian));
        let mut body = Vec::new();
        // As much as really comes, whatever the tag asks for.
        if input.append(&mut body, size as usize)? < size as usize {
            return Err(input.malformed(
                place,
                "a variable that is cut off",
                "the whole file is needed",
            ));
        }
        let matrix = match kind {
            MI_MATRIX => body,
            MI_COMPRESSED => {
                taken.fetch_add(body.len() as u64, Ordering::Relaxed);
                let mut whole = Vec::new();
                let unpacked = ZlibDecoder::new(Cursor::new(body));
                Bounded::sharing(unpacked, Arc::clone(&taken), Arc::clone(&given))
                    .read_to_end(&mut whole)
                    .map_err(|source| input.io_error(source))?;
                if whole.len() < 8 || word(&whole, 0, big_endian) != MI_MATRIX {
                    continue;
                }
                whole.drain(..8);
                whole
            }
            _ => continue,
        };
        variables.extend(variable(&matrix, big_endian));
    }
    if variables.is_empty() {
        return Err(input.malformed("all variables", "no array of numbers", ALLOWED));
    }
    arrays::assemble(&path, variables, options)
}

fn word(bytes: &[u8], at: usize, big_endian: bool) -> u32 {
    let four = bytes
        .get(at..at + 4)
        .and_then(|four| four.first_chunk().copied())
        .unwrap_or_default();
    if big_endian {
        u32::from_be_bytes(four)
    } else {
        u32::from_le_bytes(four)
    }
}

/// The next element of a variable: its type and content, and what follows it.
fn element(bytes: &[u8], big_endian: bool) -> Option<(u32, &[u8], &[u8])> {
    let tag = word(bytes.get(..8)?, 0, big_endian);
    if tag >> 16 != 0 {
        // Four bytes and fewer stand in the tag itself.
        let (kind, size) = (tag & 0xFFFF, (tag >> 16) as usize);
        return Some((kind, bytes.get(4..4 + size.min(4))?, &bytes[8..]));
    }
    let size = word(bytes, 4, big_endian) as usize;
    let content = bytes.get(8..8_usize.checked_add(size)?)?;
    let padded = size.div_ceil(8) * 8;
    Some((tag, content, bytes.get(8 + padded..).unwrap_or_default()))
}

/// A numeric variable of one or two dimensions; `None` for anything else.
fn variable(matrix: &[u8], big_endian: bool) -> Option<Named> {
    /// Classes double to unsigned 64 bit.
    const NUMERIC: std::ops::RangeInclusive<u32> = 6..=15;
    let (_, flags, rest) = element(matrix, big_endian)?;
    let flags = word(flags, 0, big_endian);
    let (_, sizes, rest) = element(rest, big_endian)?;
    let (_, name, rest) = element(rest, big_endian)?;
    if !NUMERIC.contains(&(flags & 0xFF)) || sizes.len() != 8 {
        return None;
    }
    let rows = word(sizes, 0, big_endian) as usize;
    let columns = word(sizes, 4, big_endian) as usize;
    let (long, short) = (rows.max(columns), rows.min(columns));
    if short == 0 || short > CHANNEL_LIMIT {
        return None;
    }
    let count = long.checked_mul(short)?;
    let (re, rest) = values(rest, count, big_endian)?;
    let complex = flags >> 11 & 1 == 1 && short == 1;
    let channels = if complex {
        vec![re, values(rest, count, big_endian)?.0]
    } else if rows >= columns {
        // Stored column by column.
        re.chunks(rows).map(<[f32]>::to_vec).collect()
    } else {
        (0..rows)
            .map(|row| re.iter().skip(row).step_by(rows).copied().collect())
            .collect()
    };
    Some(Named {
        name: String::from_utf8_lossy(name)
            .chars()
            .filter(|c| !c.is_control())
            .take(64)
            .collect(),
        channels,
        complex,
    })
}

/// Numbers, stored as any type that holds them.
fn values(bytes: &[u8], count: usize, big_endian: bool) -> Option<(Vec<f32>, &[u8])> {
    let (kind, content, rest) = element(bytes, big_endian)?;
    // Whole numbers as they are, not as fractions of full scale: a double that holds 3 may be stored as a byte.
    let (number, full_scale) = match kind {
        1 => (Number::I8, 128.0),
        2 => (Number::U8, 128.0),
        3 => (Number::I16, 32_768.0),
        4 => (Number::U16, 32_768.0),
        5 => (Number::I32, 2_147_483_648.0),
        6 => (Number::U32, 2_147_483_648.0),
        7 => (Number::F32, 1.0),
        9 => (Number::F64, 1.0),
        _ => return None,
    };
    let bytes = content.get(..count.checked_mul(number.bytes())?)?;
    let mut out = vec![Vec::new()];
    number.spread(bytes, big_endian, &mut out);
    let mut samples = out.pop()?;
    let offset = if matches!(number, Number::U8 | Number::U16 | Number::U32) {
        full_scale
    } else {
        0.0
    };
    let mut last = 0.0;
    for sample in &mut samples {
        *sample = *sample * full_scale + offset;
        if sample.is_finite() {
            last = *sample;
        }
        *sample = last;
    }
    Some((samples, rest))
}
