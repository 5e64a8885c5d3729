//! The header of an NPY file (NumPy Enhancement Proposal 1, `numpy.lib.format`, versions 1.0 to 3.0).

use super::CaptureError;
use super::input::Input;
use super::number::Number;

/// Longest header read; `numpy` itself writes a few hundred bytes.
const HEADER_LIMIT: usize = 1 << 16;

/// What a header says.
#[derive(Debug, PartialEq)]
pub(super) struct NpyHeader {
    pub(super) number: Number,
    pub(super) big_endian: bool,
    pub(super) complex: bool,
    pub(super) fortran: bool,
    pub(super) shape: Vec<u64>,
    /// Fields of a structured array; none of a plain one.
    pub(super) fields: Vec<Field>,
}

/// One field of a structured array.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Field {
    pub(super) name: String,
    /// `None` for what is no number.
    pub(super) number: Option<Number>,
    pub(super) big_endian: bool,
    pub(super) bytes: usize,
}

/// Consumes magic, version and header.
pub(super) fn read(input: &mut Input) -> Result<NpyHeader, CaptureError> {
    const ENDED: &str = "the file ends in its header";
    const ALLOWED: &str = "a whole header is needed";
    let mut start = [0; 8];
    if input.fill(&mut start)? < start.len() {
        return Err(input.malformed("byte 6", ENDED, ALLOWED));
    }
    let size_bytes = match start[6] {
        1 => 2,
        2 | 3 => 4,
        version => {
            let what = format!("NPY version {version}");
            return Err(input.unsupported(what, "1, 2 and 3 are"));
        }
    };
    let mut size = [0; 4];
    if input.fill(&mut size[..size_bytes])? < size_bytes {
        return Err(input.malformed("byte 8", ENDED, ALLOWED));
    }
    let size = u32::from_le_bytes(size) as usize;
    if size > HEADER_LIMIT {
        let found = format!("a header of {size} bytes");
        return Err(input.malformed("byte 8", found, "at most 65536 are allowed"));
    }
    let place = format!("byte {}", input.consumed());
    let mut header = vec![0; size];
    if input.fill(&mut header)? < size {
        return Err(input.malformed(place, ENDED, ALLOWED));
    }
    let text = String::from_utf8_lossy(&header);
    let (Some(descr), Some(fortran), Some(shape)) = (
        value_of(&text, "descr"),
        value_of(&text, "fortran_order"),
        value_of(&text, "shape"),
    ) else {
        let allowed = "a dictionary with descr, fortran_order and shape is needed";
        return Err(input.malformed(place, "an incomplete header", allowed));
    };
    let fields = fields(descr).unwrap_or_default();
    // Of a structured array the fields say it.
    let plain = if fields.is_empty() {
        kind(descr)
    } else {
        Some((Number::F64, false, false))
    };
    let Some((number, big_endian, complex)) = plain else {
        let what = format!("NPY with values of type {}", excerpt(descr));
        let allowed = "bool, integers, floats and complex numbers of plain types are";
        return Err(input.unsupported(what, allowed));
    };
    let fortran = match fortran {
        "True" => true,
        "False" => false,
        other => {
            let found = format!("fortran_order {}", excerpt(other));
            return Err(input.malformed(place, found, "True or False is allowed"));
        }
    };
    let Some(shape) = numbers(shape) else {
        let found = format!("shape {}", excerpt(shape));
        return Err(input.malformed(place, found, "a tuple of lengths is allowed"));
    };
    Ok(NpyHeader {
        number,
        big_endian,
        complex,
        fortran,
        shape,
        fields,
    })
}

/// `[('t', '<f8'), ('v', '<f4')]` → its fields; `None` for anything else and for arrays in arrays.
fn fields(descr: &str) -> Option<Vec<Field>> {
    /// A field's longest text.
    const MOST_BYTES: usize = 1 << 12;
    let inner = descr.strip_prefix('[')?.strip_suffix(']')?;
    let field = |part: &str| {
        let (part, _) = part.split_once(')')?;
        let (name, code) = part.split_once(',')?;
        let code = code.trim();
        let name = name.trim().trim_matches(['\'', '"']);
        let name = name.chars().filter(|c| !c.is_control()).take(64).collect();
        if let Some((number, big_endian, false)) = kind(code) {
            return Some(Field {
                name,
                number: Some(number),
                big_endian,
                bytes: number.bytes(),
            });
        }
        // Padding and text: `|V4`, `|S8`, `<U8` with four bytes a letter.
        let code = code.trim_matches(['\'', '"', '<', '>', '|']);
        let count: usize = code.get(1..)?.parse().ok()?;
        let bytes = match code.as_bytes().first()? {
            b'V' | b'S' | b'M' | b'm' => count,
            b'U' => count.checked_mul(4)?,
            _ => return None,
        };
        (bytes <= MOST_BYTES).then_some(Field {
            name,
            number: None,
            big_endian: false,
            bytes,
        })
    };
    let fields: Option<Vec<Field>> = inner.split('(').skip(1).map(field).collect();
    fields.filter(|fields| fields.iter().any(|field| field.number.is_some()))
}

/// The text of a value in the dictionary literal: a quoted text, a tuple, or a bare word.
fn value_of<'a>(text: &'a str, key: &str) -> Option<&'a str> {
    let at = ['\'', '"'].into_iter().find_map(|quote| {
        let quoted = format!("{quote}{key}{quote}");
        text.find(&quoted).map(|at| at + quoted.len())
    })?;
    let rest = text[at..].trim_start().strip_prefix(':')?.trim_start();
    let end = match rest.chars().next()? {
        quote @ ('\'' | '"') => 2 + rest[1..].find(quote)?,
        '(' => 1 + rest.find(')')?,
        // A structured type: only shown in the refusal.
        '[' => 1 + rest.find(']')?,
        _ => rest.find([',', '}'])?,
    };
    Some(rest[..end].trim())
}

/// `'<f4'` → number, big endian, complex.
fn kind(descr: &str) -> Option<(Number, bool, bool)> {
    let code = descr.strip_prefix(['\'', '"'])?.strip_suffix(['\'', '"'])?;
    let order = code.chars().next().filter(|c| "<>|=".contains(*c))?;
    let (number, complex) = match &code[1..] {
        "b1" | "?" => (Number::Bool, false),
        "i1" | "b" => (Number::I8, false),
        "u1" | "B" => (Number::U8, false),
        "i2" => (Number::I16, false),
        "u2" => (Number::U16, false),
        "i4" => (Number::I32, false),
        "u4" => (Number::U32, false),
        "i8" => (Number::I64, false),
        "u8" => (Number::U64, false),
        "f2" => (Number::F16, false),
        "f4" => (Number::F32, false),
        "f8" => (Number::F64, false),
        "c8" => (Number::F32, true),
        "c16" => (Number::F64, true),
        _ => return None,
    };
    Some((number, order == '>', complex))
}

/// `(3, 4)` or `(3,)` → lengths; old versions of Python wrote `3L`.
fn numbers(tuple: &str) -> Option<Vec<u64>> {
    let inner = tuple.strip_prefix('(')?.strip_suffix(')')?;
    let parts = inner.split(',').map(str::trim);
    let parts = parts.filter(|part| !part.is_empty());
    parts
        .map(|part| part.strip_suffix('L').unwrap_or(part).parse().ok())
        .collect()
}

fn excerpt(text: &str) -> String {
    text.chars()
        .take(40)
        .collect::<String>()
        .escape_default()
        .to_string()
}
