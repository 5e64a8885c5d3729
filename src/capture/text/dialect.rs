//! Which characters separate columns and decimals.

use super::cell::{self, Cell};
use super::digits;

/// What stands between columns.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Delimiter {
    /// One of this byte.
    Byte(u8),
    /// Any run of blanks and tabs.
    Blanks,
}

/// Form of the rows.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Dialect {
    pub(super) delimiter: Delimiter,
    /// Decimal mark.
    pub(super) mark: u8,
    pub(super) terminator: u8,
}

/// Columns of a row of numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) struct Shape {
    /// Empty cells on the left (room for settings in the first rows).
    pub(super) margin: usize,
    /// Columns of numbers, and of words between them.
    pub(super) columns: usize,
    /// Columns of words, a bit each, margin included.
    pub(super) words: Words,
}

/// A bit a column.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub(super) struct Words([u64; COLUMN_LIMIT / 64]);

impl Words {
    /// Columns count from 0.
    pub(super) fn holds(&self, column: usize) -> bool {
        self.0
            .get(column / 64)
            .is_some_and(|bits| bits >> (column % 64) & 1 == 1)
    }

    fn add(&mut self, column: usize) {
        if let Some(bits) = self.0.get_mut(column / 64) {
            *bits |= 1 << (column % 64);
        }
    }

    fn any(&self) -> bool {
        self.0 != Self::default().0
    }
}

/// More columns than any instrument has channels.
const COLUMN_LIMIT: usize = 256;

impl Dialect {
    /// In order of preference where a file fits several.
    pub(super) fn all(terminator: u8) -> impl Iterator<Item = Self> {
        let byte = Delimiter::Byte;
        [
            (byte(b','), b'.'),
            (byte(b';'), b'.'),
            (byte(b';'), b','),
            (byte(b'\t'), b'.'),
            (byte(b'\t'), b','),
            (byte(b'|'), b'.'),
            (byte(b'|'), b','),
            (Delimiter::Blanks, b'.'),
            (Delimiter::Blanks, b','),
            // In quotes.
            (byte(b','), b','),
        ]
        .into_iter()
        .map(move |(delimiter, mark)| Self {
            delimiter,
            mark,
            terminator,
        })
    }

    /// The text of a cell of a row, counted from 1, for messages.
    pub(super) fn cell<'a>(&self, row: &'a [u8], column: usize) -> &'a [u8] {
        let mut cells: Box<dyn Iterator<Item = &[u8]>> = match self.delimiter {
            Delimiter::Byte(byte) => Box::new(row.split(move |&b| b == byte)),
            Delimiter::Blanks => Box::new(
                row.split(u8::is_ascii_whitespace)
                    .filter(|cell| !cell.is_empty()),
            ),
        };
        cells.nth(column.saturating_sub(1)).unwrap_or_default()
    }

    /// Takes the cell at `*at` and moves behind it; `true` if it was the last one of its line (`*at` is then the line
    /// end). `text` must hold a line end at or behind `*at`.
    #[inline(always)]
    pub(super) fn next(&self, text: &[u8], at: &mut usize) -> (Cell, bool) {
        let from = self.skip_blanks(text, *at);
        if let Some((value, length)) = digits::number(&text[from..], self.mark) {
            let end = from + length;
            let next = self.skip_blanks(text, end);
            let value = if value.is_finite() {
                Cell::Number(value)
            } else {
                Cell::Missing
            };
            if text[next] == self.terminator {
                *at = next;
                return (value, true);
            }
            match self.delimiter {
                Delimiter::Byte(byte) if text[next] == byte => {
                    *at = next + 1;
                    return (value, false);
                }
                Delimiter::Blanks if next > end => {
                    *at = next;
                    return (value, false);
                }
                _ => {}
            }
        }
        self.next_slowly(text, from, at)
    }

    #[cold]
    fn next_slowly(&self, text: &[u8], from: usize, at: &mut usize) -> (Cell, bool) {
        let mut end = from;
        let mut quoted = false;
        while text[end] != self.terminator {
            let byte = text[end];
            quoted ^= byte == b'"';
            let ends = match self.delimiter {
                Delimiter::Byte(delimiter) => byte == delimiter,
                Delimiter::Blanks => matches!(byte, b' ' | b'\t' | b'\r'),
            };
            if ends && !quoted {
                break;
            }
            end += 1;
        }
        let cell = cell::judge(&text[from..end], self.mark);
        let next = match self.delimiter {
            Delimiter::Blanks => self.skip_blanks(text, end),
            Delimiter::Byte(_) => end,
        };
        let last = text[next] == self.terminator;
        let step = usize::from(!last && self.delimiter != Delimiter::Blanks);
        *at = next + step;
        (cell, last)
    }

    #[inline]
    fn skip_blanks(&self, text: &[u8], mut at: usize) -> usize {
        let tab_is_blank = self.delimiter != Delimiter::Byte(b'\t');
        while text[at] != self.terminator
            && (text[at] == b' ' || text[at] == b'\r' || (text[at] == b'\t' && tab_is_blank))
        {
            at += 1;
        }
        at
    }

    /// Shape of a line that holds nothing but numbers and gaps, or words too where they are allowed; `line` ends with a
    /// line end.
    pub(super) fn shape(&self, line: &[u8], words_allowed: bool) -> Option<Shape> {
        let mut words = Words::default();
        let (mut at, mut cells, mut margin, mut columns) = (0, 0, 0, 0);
        let mut numbers = 0;
        loop {
            let from = at;
            let (cell, last) = self.next(line, &mut at);
            cells += 1;
            // Empty cells on the right are trailing delimiters.
            let empty = cell == Cell::Missing
                && line[from..at]
                    .iter()
                    .all(|&byte| b" \t\r,;|".contains(&byte));
            match cell {
                Cell::Text if words_allowed => words.add(cells - 1),
                Cell::Text => return None,
                Cell::Number(_) => numbers += 1,
                Cell::Missing => {}
            }
            if !empty {
                columns = cells;
            } else if columns == 0 {
                margin = cells;
            }
            if cells > COLUMN_LIMIT {
                return None;
            }
            if last {
                break;
            }
        }
        (numbers > 0)
            .then(|| Shape {
                margin,
                columns: columns - margin,
                words,
            })
            .filter(|shape| !words_allowed || shape.words.any())
    }

    /// Is this a row of the given shape? Cells in its margin may hold anything.
    pub(super) fn fits(&self, line: &[u8], shape: Shape) -> bool {
        let (mut at, mut cells, mut numbers) = (0, 0, 0);
        loop {
            let (cell, last) = self.next(line, &mut at);
            cells += 1;
            let inside = (shape.margin + 1..=shape.margin + shape.columns).contains(&cells);
            match cell {
                Cell::Number(_) if inside && !shape.words.holds(cells - 1) => numbers += 1,
                Cell::Missing => {}
                _ if cells <= shape.margin || shape.words.holds(cells - 1) => {}
                _ => return false,
            }
            if last {
                return numbers > 0 && cells >= shape.margin + shape.columns;
            }
        }
    }
}
