//! Which dialect a file is written in: the one that explains most of its lines.

use super::dialect::{Delimiter, Dialect, Shape, Words};
use super::digits;
use std::collections::BTreeMap;

/// Rows with words in them must be so many times more than rows without.
const WORDS_WIN: usize = 4;
/// … and at least so many: a few lines of words and numbers are a preamble.
const LEAST_WORDED: usize = 16;

fn likeliest(
    lines: &[&[u8]],
    terminator: u8,
    words_allowed: bool,
) -> Option<(usize, Dialect, Shape)> {
    let mut best: Option<(usize, Dialect, Shape)> = None;
    for dialect in Dialect::all(terminator) {
        let mut counts = BTreeMap::new();
        for line in lines {
            if let Some(shape) = dialect.shape(line, words_allowed) {
                *counts.entry(shape).or_insert(0_usize) += 1;
            }
        }
        for (shape, count) in counts {
            if best.is_none_or(|(most, ..)| count > most) {
                best = Some((count, dialect, shape));
            }
        }
    }
    best
}

/// The dialect and shape that explain most lines.
pub(super) fn survey(lines: &[&[u8]], terminator: u8) -> Option<(Dialect, Shape)> {
    let pure = likeliest(lines, terminator, false);
    let few = pure.is_none_or(|(count, ..)| count * WORDS_WIN <= lines.len());
    let worded = if few {
        likeliest(lines, terminator, true)
    } else {
        None
    };
    let worded = worded.filter(|best| {
        best.0 >= LEAST_WORDED && best.0 >= WORDS_WIN * pure.map_or(0, |pure| pure.0)
    });
    let (_, dialect, shape) = worded.or(pure)?;
    if dialect.delimiter == Delimiter::Byte(b',')
        && shape
            == (Shape {
                margin: 0,
                columns: 2,
                words: Words::default(),
            })
        && is_decimal_comma(lines, dialect, shape)
    {
        let dialect = Dialect {
            delimiter: Delimiter::Blanks,
            mark: b',',
            terminator,
        };
        return Some((
            dialect,
            Shape {
                margin: 0,
                columns: 1,
                words: Words::default(),
            },
        ));
    }
    Some((dialect, shape))
}

/// One column of numbers such as `-0,125`: everything behind the comma is unsigned digits, equally many in each line,
/// and what stands before it is no running number.
fn is_decimal_comma(lines: &[&[u8]], dialect: Dialect, shape: Shape) -> bool {
    let rows: Vec<&[u8]> = lines
        .iter()
        .copied()
        .filter(|line| dialect.fits(line, shape))
        .collect();
    let part = |row: &[u8]| -> Option<(f64, usize)> {
        let (whole, behind) = row
            .trim_ascii()
            .split_at(row.trim_ascii().iter().position(|&byte| byte == b',')?);
        let behind = &behind[1..];
        let digits = !behind.is_empty() && behind.iter().all(u8::is_ascii_digit);
        let (value, length) = digits::number(whole, b'.')?;
        let plain = length == whole.len() && !whole.contains(&b'.');
        (digits && plain).then_some((value, behind.len()))
    };
    let parts: Option<Vec<(f64, usize)>> = rows.iter().map(|row| part(row)).collect();
    parts.is_some_and(|parts| {
        let same = parts.windows(2).all(|pair| pair[0].1 == pair[1].1);
        let running = parts.windows(2).all(|pair| pair[1].0 > pair[0].0);
        // One digit behind the comma could be a state or a count, unless something is minus nought.
        let nought = |&(whole, _): &(f64, usize)| whole == 0.0 && whole.is_sign_negative();
        let decimal = parts.iter().any(nought) || parts.iter().all(|part| part.1 >= 2);
        same && !running && decimal && parts.len() > 1
    })
}
