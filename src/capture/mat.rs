//! MAT-files of level 5, packed or not (MAT-File Format, the published description of levels 4 and 5).

use super::allowance::{Allowance, Bounded};
use super::arrays::{self, Named, Rise, shown};
use super::input::{Input, memory_limit};
use super::number::Number;
use super::options::OpenOptions;
use super::{CaptureError, SampleSource, Unit};
use flate2::read::ZlibDecoder;
use std::io::{Cursor, Read};

const HEADER_BYTES: u64 = 128;
/// Most variables looked at.
const VARIABLE_LIMIT: usize = 64;
/// Most channels of a variable.
const CHANNEL_LIMIT: usize = 256;
const MI_MATRIX: u32 = 14;
const MI_COMPRESSED: u32 = 15;
/// Structures in structures.
const DEEPEST: u32 = 2;

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
    let mut variables: Vec<Named> = Vec::new();
    let (allowance, mut held) = (Allowance::for_memory(), 0);
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
                allowance.take(body.len() as u64);
                let mut whole = Vec::new();
                let unpacked = ZlibDecoder::new(Cursor::new(body));
                Bounded::new(unpacked, &allowance, "MAT-file")
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
        let new = variable(&matrix, big_endian, 0);
        let values = new.iter().flat_map(|array| &array.channels).map(Vec::len);
        held += 4 * values.sum::<usize>() as u64;
        if held + 2 * matrix.len() as u64 > memory_limit(input.consumed()) {
            return Err(input.unsupported(
                "a MAT-file that unpacks to so much more than its size",
                "save it without compression (-v6)",
            ));
        }
        variables.extend(new);
    }
    if variables.is_empty() {
        return Err(input.malformed("all variables", "no array of numbers", ALLOWED));
    }
    arrays::assemble(&path, variables, Vec::new(), options)
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

/// A numeric variable of one or two dimensions, or those in a structure; nothing for anything else.
fn variable(matrix: &[u8], big_endian: bool, depth: u32) -> Vec<Named> {
    array(matrix, big_endian).map_or_else(
        || structure(matrix, big_endian, depth).unwrap_or_default(),
        |array| vec![array],
    )
}

/// The fields of a structure, the single one of its kind.
fn structure(matrix: &[u8], big_endian: bool, depth: u32) -> Option<Vec<Named>> {
    const STRUCTURE: u32 = 2;
    let (_, flags, rest) = element(matrix, big_endian)?;
    let (_, sizes, rest) = element(rest, big_endian)?;
    let (_, _, rest) = element(rest, big_endian)?;
    let single = sizes.len() == 8 && (0..2).all(|at| word(sizes, 4 * at, big_endian) == 1);
    if word(flags, 0, big_endian) & 0xFF != STRUCTURE || !single || depth >= DEEPEST {
        return None;
    }
    let (_, width, rest) = element(rest, big_endian)?;
    let (_, names, mut rest) = element(rest, big_endian)?;
    let width = word(width, 0, big_endian) as usize;
    let mut found = Vec::new();
    for name in names.chunks_exact(width.max(1)).take(VARIABLE_LIMIT) {
        let (kind, field, behind) = element(rest, big_endian)?;
        rest = behind;
        if kind != MI_MATRIX {
            continue;
        }
        let mut own = variable(field, big_endian, depth + 1);
        // A field has its name in the structure.
        if let [only] = &mut own[..]
            && only.name.is_empty()
        {
            let end = name.iter().position(|&byte| byte == 0);
            only.name = shown(&name[..end.unwrap_or(name.len())]);
        }
        found.extend(own);
    }
    Some(found)
}

fn array(matrix: &[u8], big_endian: bool) -> Option<Named> {
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
    let (stored, content, _) = element(rest, big_endian)?;
    let first = if short == 1 || rows >= columns {
        content
    } else {
        &[]
    };
    let rise = number_of(stored).and_then(|(number, _)| {
        let most = long.min(RISE_ROWS) * number.bytes();
        Rise::of(&number.doubles(first.get(..most)?, big_endian))
    });
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
    let mut array = Named {
        name: shown(name),
        channels,
        complex,
        unit: Unit::Unknown,
        rise: rise.filter(|_| !complex),
        notes: Vec::new(),
    };
    array.mend();
    Some(array)
}

/// Rows looked at to find an even rise in double precision.
const RISE_ROWS: usize = 1 << 15;

/// Whole numbers as they are, not as fractions of full scale: a double that holds 3 may be stored as a byte.
fn number_of(kind: u32) -> Option<(Number, f32)> {
    Some(match kind {
        1 => (Number::I8, 128.0),
        2 => (Number::U8, 128.0),
        3 => (Number::I16, 32_768.0),
        4 => (Number::U16, 32_768.0),
        5 => (Number::I32, 2_147_483_648.0),
        6 => (Number::U32, 2_147_483_648.0),
        7 => (Number::F32, 1.0),
        9 => (Number::F64, 1.0),
        _ => return None,
    })
}

/// Numbers, stored as any type that holds them.
fn values(bytes: &[u8], count: usize, big_endian: bool) -> Option<(Vec<f32>, &[u8])> {
    let (kind, content, rest) = element(bytes, big_endian)?;
    let (number, full_scale) = number_of(kind)?;
    let bytes = content.get(..count.checked_mul(number.bytes())?)?;
    let mut out = vec![Vec::new()];
    number.spread(bytes, big_endian, &mut out);
    let mut samples = out.pop()?;
    let offset = if matches!(number, Number::U8 | Number::U16 | Number::U32) {
        full_scale
    } else {
        0.0
    };
    for sample in &mut samples {
        *sample = *sample * full_scale + offset;
    }
    Some((samples, rest))
}
