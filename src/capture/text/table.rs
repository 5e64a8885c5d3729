//! All rows of a text capture.

use super::super::CaptureError;
use super::super::input::Input;
use super::super::open::readable;
use super::cell::{self, Cell};
use super::feed::Feed;
use super::plan::{Plan, Role};
use super::steps::{Backwards, Steps};

/// Most values kept (4 bytes each); a longer capture belongs into a binary format.
const VALUE_LIMIT: u64 = 1 << 29;

/// One channel being read.
pub(super) struct Column {
    pub(super) samples: Vec<f32>,
    last: f32,
    /// Rows before the first good value.
    pub(super) leading: usize,
    pub(super) missing: u64,
    pub(super) two_level: bool,
}

pub(super) struct Table {
    pub(super) plan: Plan,
    pub(super) columns: Vec<Column>,
    pub(super) steps: Steps,
    /// Kept as long as the channels are two-level: they may turn out to be an edge list.
    pub(super) times: Option<Vec<f64>>,
    pub(super) notes: Vec<String>,
}

/// Why a row cannot be read.
enum Fault {
    TooFew(usize),
    TooMany,
    Unreadable(usize),
    Backwards(Backwards),
}

impl Table {
    pub(super) fn read(feed: &mut Feed, mut plan: Plan) -> Result<Self, CaptureError> {
        let column = || Column {
            samples: Vec::new(),
            last: f32::NAN,
            leading: 0,
            missing: 0,
            two_level: true,
        };
        let timed = plan.roles.iter().any(|role| matches!(role, Role::Time(_)));
        let mut table = Self {
            columns: plan.names.iter().map(|_| column()).collect(),
            steps: Steps::default(),
            times: timed.then(Vec::new),
            notes: std::mem::take(&mut plan.notes),
            plan,
        };
        let mut line = table.plan.line;
        let limit = VALUE_LIMIT / table.columns.len().max(1) as u64;
        // A faulty row is an error unless it is the last one: then the file was cut off.
        let mut fault: Option<(u64, Fault, Vec<u8>)> = None;
        let mut rows = 0;
        while let Some(block) = feed.block(line)? {
            let mut at = 0;
            while at < block.len() {
                if let Some((line, fault, row)) = fault.take() {
                    if !block[at..].trim_ascii().is_empty() {
                        return Err(table.refuse(feed.input(), line, &fault, &row));
                    }
                    // Only blank lines follow so far.
                    return table.close_after(feed, line, fault, row);
                }
                let from = at;
                match table.row(block, &mut at) {
                    Ok(true) => rows += 1,
                    Ok(false) => {}
                    Err(found) => {
                        let end = block[from..]
                            .iter()
                            .position(|&byte| byte == table.plan.dialect.terminator);
                        at = from + end.unwrap_or(block.len() - from - 1);
                        fault = Some((line, found, block[from..at].to_vec()));
                    }
                }
                at += 1;
                line += 1;
            }
            if rows > limit {
                let what = format!("text with more than {limit} rows");
                return Err(feed
                    .input()
                    .unsupported(what, "longer captures need a binary format (WAV, NPY, raw)"));
            }
        }
        if let Some((line, fault, row)) = fault {
            return table.close_after(feed, line, fault, row);
        }
        Ok(table)
    }

    /// The faulty row is the last one, if nothing but blank lines follows.
    fn close_after(
        mut self,
        feed: &mut Feed,
        line: u64,
        fault: Fault,
        row: Vec<u8>,
    ) -> Result<Self, CaptureError> {
        while let Some(block) = feed.block(line + 1)? {
            if !block.trim_ascii().is_empty() {
                return Err(self.refuse(feed.input(), line, &fault, &row));
            }
        }
        if matches!(fault, Fault::Backwards(_))
            || self.columns.iter().all(|column| column.samples.is_empty())
        {
            return Err(self.refuse(feed.input(), line, &fault, &row));
        }
        self.notes.push(format!(
            "The last line ({line}) is not complete and was left out."
        ));
        Ok(self)
    }

    fn refuse(&self, input: &Input, line: u64, fault: &Fault, row: &[u8]) -> CaptureError {
        let wanted = self.plan.roles.len();
        let text: String = String::from_utf8_lossy(row).chars().take(40).collect();
        let text = text.trim().escape_debug().to_string();
        let (found, allowed) = match fault {
            Fault::TooFew(got) => (
                format!("{got} of {wanted} columns in \"{text}\""),
                "every row needs the columns of the first".into(),
            ),
            Fault::TooMany => (
                format!("more than {wanted} columns in \"{text}\""),
                "every row needs the columns of the first".into(),
            ),
            Fault::Unreadable(column) => (
                format!("column {column} of \"{text}\" is no number"),
                format!(
                    "numbers with decimal \"{}\" are allowed, or nan, inf, OVER, --- and empty cells",
                    char::from(self.plan.dialect.mark)
                ),
            ),
            Fault::Backwards(Backwards { before_s, after_s }) => (
                format!(
                    "time goes back from {} s to {} s",
                    readable(*before_s),
                    readable(*after_s)
                ),
                "the time column must rise".into(),
            ),
        };
        input.malformed(format!("line {line}"), found, allowed)
    }

    /// Reads one row at `*at` and leaves `*at` at its line end; `false` for blank and comment lines.
    #[inline]
    fn row(&mut self, text: &[u8], at: &mut usize) -> Result<bool, Fault> {
        let dialect = self.plan.dialect;
        if matches!(text[*at], b'\r' | b'\n' | b' ' | b'\t' | b'#' | 0x1A) {
            let end = text[*at..]
                .iter()
                .position(|&byte| byte == dialect.terminator)
                .unwrap_or(0);
            let line = text[*at..*at + end].trim_ascii();
            if line.is_empty() || line.starts_with(b"#") || line == b"\x1A" {
                *at += end;
                return Ok(false);
            }
        }
        let count = self.plan.roles.len();
        let mut channel = 0;
        let mut time = None;
        let mut over = false;
        for index in 0..count {
            if over {
                // Undo what this row added already.
                for column in &mut self.columns[..channel] {
                    column.samples.pop();
                }
                return Err(Fault::TooFew(index));
            }
            let (cell, last) = dialect.next(text, at);
            over = last;
            let value = match (&self.plan.roles[index], cell) {
                (Role::Skip, _) => continue,
                (_, Cell::Text) => {
                    for column in &mut self.columns[..channel] {
                        column.samples.pop();
                    }
                    return Err(Fault::Unreadable(index + 1));
                }
                (&Role::Time(factor), Cell::Number(value)) => {
                    time = Some(value * factor);
                    continue;
                }
                (Role::Time(_), Cell::Missing) => continue,
                (&Role::Value(factor), Cell::Number(value)) => (value * factor) as f32,
                (Role::Value(_), Cell::Missing) => f32::NAN,
            };
            let column = &mut self.columns[channel];
            channel += 1;
            if value.is_finite() {
                column.two_level &= value == 0.0 || value == 1.0;
                column.last = value;
            } else {
                column.missing += 1;
                if column.last.is_nan() {
                    column.leading += 1;
                }
            }
            column.samples.push(column.last);
        }
        while !over {
            let from = *at;
            let (cell, last) = dialect.next(text, at);
            if cell != Cell::Missing
                || !cell::bare(&text[from..*at])
                    .iter()
                    .all(|byte| b",;\t".contains(byte))
            {
                for column in &mut self.columns {
                    column.samples.pop();
                }
                return Err(Fault::TooMany);
            }
            over = last;
        }
        if let Err(backwards) = self.steps.add(time) {
            return Err(Fault::Backwards(backwards));
        }
        if let Some(times) = &mut self.times {
            if self.columns.iter().all(|column| column.two_level) {
                times.push(time.unwrap_or(f64::NAN));
            } else {
                self.times = None;
            }
        }
        Ok(true)
    }
}
