//! All rows of a text capture.

use super::super::CaptureError;
use super::super::input::Input;
use super::super::options::readable;
use super::feed::Feed;
use super::plan::{TablePlan, excerpt};
use super::rows::{Fault, Rows};
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
    pub(super) plan: TablePlan,
    pub(super) columns: Vec<Column>,
    pub(super) steps: Steps,
    /// Kept as long as the channels are two-level: they may turn out to be an edge list.
    pub(super) times: Option<Vec<f64>>,
    pub(super) notes: Vec<String>,
    /// First rows of further pieces: time went back there.
    pub(super) pieces: Vec<u64>,
    /// The piece being read: its first time, last time, rows, and what is added to its times to go on from the one before.
    piece: Piece,
    /// Words stand behind the last row.
    closing: bool,
}

#[derive(Clone, Copy, Default)]
struct Piece {
    first_s: f64,
    last_s: f64,
    rows: u64,
    shift_s: f64,
}

const DAY_S: f64 = 86_400.0;

/// What times lack that go on over midnight: a clock without a date begins anew, days are counted within 32, and a day written as
/// 01/02 is taken for the 2nd of January where rows before it can only mean the 31st (`written.rs`). `None` where nothing is lacking.
fn over_midnight(last_s: f64, next_s: f64) -> Option<f64> {
    let turn_s = DAY_S * ((last_s / DAY_S).floor() + 1.0 - (next_s / DAY_S).floor());
    let within_a_second =
        last_s.rem_euclid(DAY_S) >= DAY_S - 1.0 && next_s.rem_euclid(DAY_S) <= 1.0;
    (within_a_second && turn_s != 0.0).then_some(turn_s)
}

/// Longest words behind the last row.
const CLOSING_BYTES: usize = 4096;

/// Rows that make a piece; fewer are a fault of the file.
const LEAST_PIECE: u64 = 64;

/// What ends a table before the file ends.
enum Stop {
    Unreadable(Fault),
    Backwards(Backwards),
}

impl Table {
    pub(super) fn read(feed: &mut Feed, mut plan: TablePlan) -> Result<Self, CaptureError> {
        let column = || Column {
            samples: Vec::new(),
            last: f32::NAN,
            leading: 0,
            missing: 0,
            two_level: true,
        };
        let timed = plan.has_time();
        let mut table = Self {
            columns: plan.names.iter().map(|_| column()).collect(),
            steps: Steps::default(),
            times: timed.then(Vec::new),
            notes: std::mem::take(&mut plan.notes),
            pieces: Vec::new(),
            piece: Piece::default(),
            closing: false,
            plan,
        };
        let mut line = table.plan.line;
        let limit = VALUE_LIMIT / table.columns.len().max(1) as u64;
        let mut rows = 0;
        while let Some(block) = feed.block(line)? {
            let found = Rows::of(&table.plan, block);
            rows += found.times.len() as u64;
            if let Some((begin, end, stop)) = table.take(&found, block) {
                // A faulty row is an error unless it is the last one: then the file was cut off.
                let terminator = table.plan.dialect.terminator;
                let before = block[..begin].iter().filter(|&&byte| byte == terminator);
                let line = line + before.count() as u64;
                let length = block[begin..].iter().position(|&byte| byte == terminator);
                let end = end.unwrap_or(begin + length.unwrap_or(block.len() - begin - 1));
                let row = block[begin..end].to_vec();
                let rest = block[end..].trim_ascii();
                let words = matches!(stop, Stop::Unreadable(Fault::Unreadable(1)));
                let closing = rest.is_empty() || (words && table.is_closing(rest));
                if !closing {
                    return Err(table.refuse(feed.input(), line, &stop, &row));
                }
                table.closing = !rest.is_empty();
                return table.close_after(feed, line, stop, row);
            }
            line += found.lines;
            // A row takes its values, and while the table may be a list of edges its time. What grows is there twice for a
            // moment, once with room for as much again.
            let values = table.columns.iter().map(|column| 4 * column.samples.len());
            let times = table.times.as_ref().map_or(0, |times| 8 * times.len());
            let held = 3 * (values.sum::<usize>() + times) as u64;
            if feed.input().memory_limit().is_some_and(|most| held > most) {
                return Err(feed.input().unsupported(
                    "packed text that unpacks to so much more than its size",
                    "unpack it first",
                ));
            }
            if rows > limit {
                let what = format!("text with more than {limit} rows");
                return Err(feed
                    .input()
                    .unsupported(what, "longer captures need a binary format (WAV, NPY, raw)"));
            }
        }
        Ok(table)
    }

    /// The faulty row is the last one, if nothing but blank lines follows.
    fn close_after(
        mut self,
        feed: &mut Feed,
        line: u64,
        stop: Stop,
        row: Vec<u8>,
    ) -> Result<Self, CaptureError> {
        while let Some(block) = feed.block(line + 1)? {
            if !block.trim_ascii().is_empty() {
                return Err(self.refuse(feed.input(), line, &stop, &row));
            }
        }
        if matches!(stop, Stop::Backwards(_))
            || self.columns.iter().all(|column| column.samples.is_empty())
        {
            return Err(self.refuse(feed.input(), line, &stop, &row));
        }
        self.notes.push(if self.closing {
            format!("What stands from line {line} on is no rows and was left out.")
        } else {
            format!("The last line ({line}) is not complete and was left out.")
        });
        Ok(self)
    }

    /// A few lines of words at the end, none of them a row.
    fn is_closing(&self, rest: &[u8]) -> bool {
        let terminator = self.plan.dialect.terminator;
        let mut lines = rest.split(|&byte| byte == terminator);
        rest.len() <= CLOSING_BYTES
            && lines.all(|line| {
                Rows::of(&self.plan, &[line, &[terminator][..]].concat())
                    .times
                    .is_empty()
            })
    }

    fn refuse(&self, input: &Input, line: u64, stop: &Stop, row: &[u8]) -> CaptureError {
        let wanted = self.plan.roles.len();
        let text = excerpt(row);
        let first = format!(
            "; the first row is line {}, \"{}\"",
            self.plan.line, self.plan.first_row
        );
        let (found, allowed) = match stop {
            Stop::Unreadable(Fault::TooFew(got)) => (
                format!("{got} of {wanted} columns in \"{text}\""),
                "every row needs the columns of the first".into(),
            ),
            Stop::Unreadable(Fault::TooMany) => (
                format!("more than {wanted} columns in \"{text}\""),
                "every row needs the columns of the first".into(),
            ),
            Stop::Unreadable(Fault::Unreadable(column)) => (
                format!(
                    "column {column} of \"{text}\" is no number: \"{}\"",
                    excerpt(self.plan.dialect.cell(row, *column))
                ),
                format!(
                    "numbers with decimal \"{}\" are allowed, or nan, inf, OVER, --- and empty cells",
                    char::from(self.plan.dialect.mark)
                ),
            ),
            Stop::Backwards(Backwards { before_s, after_s }) => (
                format!(
                    "time goes back from {} s to {} s",
                    readable(*before_s),
                    readable(*after_s)
                ),
                "the time column must rise, or begin anew for a further piece".into(),
            ),
        };
        input.malformed(format!("line {line}"), found, allowed + &first)
    }

    /// Adds rows up to the first that does not fit: where it begins, where it ends if that is known, and why.
    fn take(&mut self, rows: &Rows, block: &[u8]) -> Option<(usize, Option<usize>, Stop)> {
        let channels = self.columns.len();
        for (index, column) in self.columns.iter_mut().enumerate() {
            column.extend(&rows.values, index, channels);
        }
        let before = self.steps.count();
        let shifted = self.in_one_go(&rows.times, before);
        if let Err((row, backwards)) = self.steps.extend(shifted.as_deref().unwrap_or(&rows.times))
        {
            let begin = Rows::begin_of(&self.plan, block, row);
            return Some((begin, None, Stop::Backwards(backwards)));
        }
        if self.columns.iter().any(|column| !column.two_level) {
            self.times = None;
        }
        if let Some(times) = &mut self.times {
            times.extend_from_slice(shifted.as_deref().unwrap_or(&rows.times));
        }
        let (begin, end, fault) = rows.fault.as_ref()?;
        Some((*begin, Some(*end), Stop::Unreadable(*fault)))
    }
}

impl Table {
    /// Times of further rows that go on from piece to piece, where the column begins anew; `None` where it never does.
    fn in_one_go(&mut self, times: &[f64], rows_before: u64) -> Option<Vec<f64>> {
        let leaps = |from: f64, to: f64| !(0.0..DAY_S / 2.0).contains(&(to - from));
        let falls = times.windows(2).any(|pair| leaps(pair[0], pair[1]));
        let seam = times
            .first()
            .is_some_and(|&time| self.piece.rows > 0 && leaps(self.piece.last_s, time));
        let plain = self.piece.shift_s == 0.0 && times.iter().all(|time| time.is_finite());
        if !falls && !seam && plain {
            let (Some(&first), Some(&last)) = (times.first(), times.last()) else {
                return None;
            };
            if self.piece.rows == 0 {
                self.piece.first_s = first;
            }
            self.piece.last_s = last;
            self.piece.rows += times.len() as u64;
            return None;
        }
        let mut whole = times.to_vec();
        for (row, time) in whole.iter_mut().enumerate() {
            if !time.is_finite() {
                continue;
            }
            let piece = &mut self.piece;
            if piece.rows == 0 {
                piece.first_s = *time;
            } else if let Some(turn_s) = over_midnight(piece.last_s, *time) {
                piece.shift_s += turn_s;
                piece.first_s -= turn_s;
            } else if *time < piece.last_s && piece.rows >= LEAST_PIECE {
                let step_s = (piece.last_s - piece.first_s) / (piece.rows - 1) as f64;
                // Back by most of a piece, not by a row that is out of order.
                if piece.last_s - *time >= 0.5 * step_s * (piece.rows - 1) as f64 {
                    *piece = Piece {
                        first_s: *time,
                        last_s: *time,
                        rows: 0,
                        shift_s: piece.shift_s + piece.last_s + step_s - *time,
                    };
                    self.pieces.push(rows_before + row as u64);
                }
            }
            let piece = &mut self.piece;
            piece.last_s = *time;
            piece.rows += 1;
            *time += piece.shift_s;
        }
        Some(whole)
    }
}

impl Column {
    /// The values of one channel out of rows of several.
    fn extend(&mut self, values: &[f32], channel: usize, channels: usize) {
        // Folded without an early exit, so that the common case runs in vector registers.
        let finite = values.iter().fold(true, |good, x| good & x.is_finite());
        if !finite || self.two_level {
            for value in values.iter().skip(channel).step_by(channels) {
                self.add(*value);
            }
        } else if channels == 1 {
            self.samples.extend_from_slice(values);
        } else {
            let own = values.iter().skip(channel).step_by(channels);
            self.samples.extend(own);
        }
        if let Some(&last) = self.samples.last() {
            self.last = last;
        }
    }

    /// The next value; the last good one where it is none.
    #[inline]
    fn add(&mut self, value: f32) {
        if value.is_finite() {
            self.two_level &= value == 0.0 || value == 1.0;
            self.last = value;
        } else {
            self.missing += 1;
            if self.last.is_nan() {
                self.leading += 1;
            }
        }
        self.samples.push(self.last);
    }
}
