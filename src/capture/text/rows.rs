//! Lines of text → the numbers in them, two halves of a block side by side.

use super::cell::{self, Cell};
use super::plan::{Role, TablePlan};

/// Shorter blocks are read before a second thread has begun.
const WORTH_HALVING: usize = 1 << 15;

/// Bytes of a cell with its delimiter, guessed on the short side.
const USUAL_CELL: usize = 8;

/// Why a row cannot be read.
#[derive(Clone, Copy)]
pub(super) enum Fault {
    TooFew(usize),
    TooMany,
    Unreadable(usize),
}

/// Rows of a block, up to the first that cannot be read.
#[derive(Default)]
pub(super) struct Rows {
    /// Lines read, with blank ones and comments.
    pub(super) lines: u64,
    /// Time of each row, seconds; NaN where none stands.
    pub(super) times: Vec<f64>,
    /// Values of all channels, row by row; NaN where none stands.
    pub(super) values: Vec<f32>,
    /// Begin and end of the row that cannot be read, and why.
    pub(super) fault: Option<(usize, usize, Fault)>,
}

impl Rows {
    /// Of whole lines, each with its line end.
    pub(super) fn of(plan: &TablePlan, block: &[u8]) -> Self {
        let middle = block.len() / 2;
        let line_end = |&byte: &u8| byte == plan.dialect.terminator;
        match block[middle..].iter().position(line_end) {
            Some(behind) if block.len() >= WORTH_HALVING => {
                let middle = middle + behind + 1;
                let (mut first, second) = crate::threads::join(
                    || Self::one_by_one(plan, &block[..middle], 0),
                    || Self::one_by_one(plan, &block[middle..], middle),
                );
                if first.fault.is_none() {
                    first.append(second);
                }
                first
            }
            _ => Self::one_by_one(plan, block, 0),
        }
    }

    fn append(&mut self, other: Self) {
        self.lines += other.lines;
        self.times.extend(other.times);
        self.values.extend(other.values);
        self.fault = other.fault;
    }

    /// Places are counted from `origin` on.
    fn one_by_one(plan: &TablePlan, text: &[u8], origin: usize) -> Self {
        // A row of digits only is rarely shorter; where it is, there will be room in time.
        let usual = text.len() / (USUAL_CELL * plan.roles.len().max(1));
        let mut rows = Self {
            times: Vec::with_capacity(usual),
            values: Vec::with_capacity(usual * plan.names.len()),
            ..Self::default()
        };
        let mut at = 0;
        while at < text.len() {
            let begin = at;
            match rows.row(plan, text, &mut at) {
                Ok(()) => rows.lines += 1,
                Err(fault) => {
                    let mut rest = text[begin..].iter();
                    let end = rest
                        .position(|&byte| byte == plan.dialect.terminator)
                        .unwrap_or(text.len() - begin - 1);
                    // What the row held up to there is none of a whole row's.
                    rows.values.truncate(rows.times.len() * plan.names.len());
                    rows.fault = Some((origin + begin, origin + begin + end, fault));
                    break;
                }
            }
            at += 1;
        }
        rows
    }

    /// Begin of a row of the block, counted without blank and comment lines.
    #[cold]
    pub(super) fn begin_of(plan: &TablePlan, block: &[u8], row: usize) -> usize {
        let mut rows = Self::default();
        let mut at = 0;
        loop {
            let begin = at;
            if rows.row(plan, block, &mut at).is_err() || rows.times.len() > row {
                return begin;
            }
            at += 1;
        }
    }

    /// Reads one row at `*at` and leaves `*at` at its line end; blank lines, comments and repeated titles give none.
    #[inline(always)]
    fn row(&mut self, plan: &TablePlan, text: &[u8], at: &mut usize) -> Result<(), Fault> {
        let begin = *at;
        self.cells(plan, text, at).or_else(|fault| {
            let mut rest = text[begin..].iter();
            let end = rest
                .position(|&byte| byte == plan.dialect.terminator)
                .map_or(text.len() - 1, |length| begin + length);
            if !plan.is_head(&text[begin..end]) {
                return Err(fault);
            }
            self.values.truncate(self.times.len() * plan.names.len());
            *at = end;
            Ok(())
        })
    }

    /// The hot path of text.
    #[inline(always)]
    fn cells(&mut self, plan: &TablePlan, text: &[u8], at: &mut usize) -> Result<(), Fault> {
        let dialect = plan.dialect;
        if matches!(
            text[*at],
            b'\r' | b'\n' | b' ' | b'\t' | b'#' | 0x1A | b',' | b';' | b'|'
        ) {
            let end = text[*at..]
                .iter()
                .position(|&byte| byte == dialect.terminator)
                .unwrap_or(0);
            let line = text[*at..*at + end].trim_ascii();
            let nothing = line.iter().all(|byte| b",;| \t\"".contains(byte));
            if nothing || line.starts_with(b"#") || line == b"\x1A" {
                *at += end;
                return Ok(());
            }
        }
        let mut time = f64::NAN;
        let mut over = false;
        for (index, role) in plan.roles.iter().enumerate() {
            if over {
                return Err(Fault::TooFew(index));
            }
            let (cell, last) = dialect.next(text, at);
            over = last;
            match (role, cell) {
                (Role::Skip, _) | (Role::Time(_), Cell::Missing) => {}
                (_, Cell::Text) => return Err(Fault::Unreadable(index + 1)),
                (&Role::Time(factor), Cell::Number(value)) => time = value * factor,
                (&Role::Value(factor), Cell::Number(value)) => {
                    self.values.push((value * factor) as f32);
                }
                (Role::Value(_), Cell::Missing) => self.values.push(f32::NAN),
            }
        }
        while !over {
            let from = *at;
            let (cell, last) = dialect.next(text, at);
            let blank = cell::bare(&text[from..*at])
                .iter()
                .all(|byte| b",;|\t".contains(byte));
            if cell != Cell::Missing || !blank {
                return Err(Fault::TooMany);
            }
            over = last;
        }
        self.times.push(time);
        Ok(())
    }
}
