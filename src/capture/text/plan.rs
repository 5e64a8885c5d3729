//! Where the rows of numbers begin and what their columns are.

use super::super::{CaptureError, Columns, Unit};
use super::cell::Cell;
use super::dialect::{Dialect, Shape};
use super::feed::Feed;
use super::settings::Settings;
use super::survey::survey;

/// Lines looked at to find the form.
const SURVEY_LINES: usize = 20_000;
const EARLY_LINES: usize = 2000;

/// What to do with a column.
#[derive(Clone, Debug, PartialEq)]
pub(super) enum Role {
    /// Sample numbers, a second time column, settings on the left.
    Skip,
    /// Time, with the factor to seconds.
    Time(f64),
    /// A channel, with the factor to its unit.
    Value(f64),
}

/// How to read the rows.
pub(super) struct TablePlan {
    pub(super) dialect: Dialect,
    pub(super) roles: Vec<Role>,
    pub(super) names: Vec<(String, Unit)>,
    pub(super) settings: Settings,
    /// Number of the first row's line, from 1.
    pub(super) line: u64,
    pub(super) notes: Vec<String>,
    /// The first row, for messages.
    pub(super) first_row: String,
    /// Which columns were taken.
    pub(super) columns: Columns,
    /// A column of frequencies where the time should be, counted from 1.
    pub(super) spectrum: Option<usize>,
    /// What the lines before the rows begin with: where one comes again, another piece begins.
    heads: Vec<Vec<u8>>,
}

/// Most beginnings of lines kept.
const HEADS: usize = 64;

/// A line up to its first separator.
fn head_of(line: &[u8]) -> &[u8] {
    let end = line.iter().position(|byte| b",;\t|:=".contains(byte));
    line[..end.unwrap_or(line.len())].trim_ascii()
}

/// The start of a line for a message.
pub(super) fn excerpt(line: &[u8]) -> String {
    let text: String = String::from_utf8_lossy(line).chars().take(40).collect();
    text.trim().escape_debug().to_string()
}

impl TablePlan {
    /// Looks at the head of the file and leaves the feed at the first row.
    pub(super) fn make(feed: &mut Feed) -> Result<Self, CaptureError> {
        let mut head = feed.head().to_vec();
        if head.is_empty() && !feed.is_over() {
            return Err(feed.long_line(1));
        }
        if head.last() != Some(&feed.terminator) {
            head.push(feed.terminator);
        }
        let lines: Vec<&[u8]> = head
            .split_inclusive(|&byte| byte == feed.terminator)
            .take(SURVEY_LINES)
            .collect();
        // Most files show their form early; the rest is looked at only if they do not.
        let early = &lines[..lines.len().min(EARLY_LINES)];
        let found = survey(early, feed.terminator).or_else(|| survey(&lines, feed.terminator));
        let Some((dialect, shape)) = found else {
            return Err(feed.input().malformed(
                format!("line {}", lines.len()),
                "no rows of numbers up to here",
                "columns of numbers separated by comma, semicolon, tab or blanks are allowed",
            ));
        };
        let (preamble, rows) = lines.split_at(first_row(&lines, dialect, shape));
        let mut plan = Self::blank(dialect, shape, preamble);
        let texts: Vec<String> = preamble.iter().map(|line| decode(line)).collect();
        let are_settings = plan.read_settings(&texts, shape);
        let titles = plan.titles(&texts, are_settings, shape);
        plan.read_margin(rows, shape);
        plan.assign(&titles, rows, shape);
        if let Some(column) = plan.spectrum {
            let title = preamble.last().map(|line| excerpt(line));
            let title = title.unwrap_or_default();
            let what = format!("a spectrum (column {column} is a frequency: \"{title}\")");
            return Err(feed.input().unsupported(
                what,
                "a waveform is needed: export the samples over time, not over frequency",
            ));
        }
        plan.first_row = rows.first().map(|row| excerpt(row)).unwrap_or_default();
        let bytes = preamble.iter().map(|line| line.len()).sum();
        feed.skip(bytes);
        Ok(plan)
    }

    /// With no column's role known yet.
    fn blank(dialect: Dialect, shape: Shape, preamble: &[&[u8]]) -> Self {
        let heads = preamble
            .iter()
            .rev()
            .map(|line| head_of(line).to_vec())
            .filter(|head| !head.is_empty());
        Self {
            dialect,
            roles: Vec::new(),
            names: Vec::new(),
            settings: Settings::default(),
            line: preamble.len() as u64 + 1,
            notes: Vec::new(),
            first_row: String::new(),
            columns: Columns {
                count: shape.columns,
                ..Columns::default()
            },
            spectrum: None,
            heads: heads.take(HEADS).collect(),
        }
    }

    /// Whether a column of times was found.
    pub(super) fn has_time(&self) -> bool {
        self.roles.iter().any(|role| matches!(role, Role::Time(_)))
    }

    /// Settings from the lines before the rows; `true` for each line that is one.
    fn read_settings(&mut self, texts: &[String], shape: Shape) -> Vec<bool> {
        let mark = self.dialect.mark;
        let settings = &mut self.settings;
        let lines: Vec<bool> = texts
            .iter()
            .map(|text| settings.read_line(text, mark))
            .collect();
        let of_cells: Vec<bool> = texts
            .iter()
            .map(|text| settings.read_cells(text, mark))
            .collect();
        // Settings as columns: a key in one line, its value below it in the next.
        for pair in texts.windows(2) {
            let (keys, values) = (self.cells(&pair[0], shape), self.cells(&pair[1], shape));
            for (key, value) in keys.iter().zip(&values) {
                self.settings.read_pair(key, value, mark);
            }
        }
        lines.iter().zip(of_cells).map(|(a, b)| *a || b).collect()
    }

    /// Does a line that is no row begin as one of those before the rows?
    #[cold]
    pub(super) fn is_head(&self, line: &[u8]) -> bool {
        let head = head_of(line);
        !head.is_empty() && self.heads.iter().any(|own| own == head)
    }

    /// Settings to the left of the first rows.
    fn read_margin(&mut self, rows: &[&[u8]], shape: Shape) {
        if shape.margin == 0 {
            return;
        }
        for row in rows.iter().take(100) {
            let cells = self.cells(&decode(row), shape);
            let left: Vec<&str> = cells
                .iter()
                .take(shape.margin)
                .map(String::as_str)
                .collect();
            self.settings.read_line(&left.join(","), self.dialect.mark);
        }
    }
}

/// Rows that follow the first one of a table with a margin.
const MARGIN_ROWS: usize = 8;

/// Index of the first row. A setting may happen to look like one; a row is followed by another, be it a damaged one.
fn first_row(lines: &[&[u8]], dialect: Dialect, shape: Shape) -> usize {
    let goes_on = |index: &usize| {
        let after = &lines[index + 1..];
        // Beside an empty margin a setting looks like a row: several have to follow.
        if shape.margin > 0 {
            let mut next = after.iter().filter(|line| !line.trim_ascii().is_empty());
            return (0..MARGIN_ROWS)
                .all(|_| next.next().is_none_or(|line| dialect.fits(line, shape)));
        }
        let next = after.iter().find(|line| !line.trim_ascii().is_empty());
        next.is_none_or(|line| {
            let begins = matches!(dialect.next(line, &mut 0), (Cell::Number(_), _));
            dialect.fits(line, shape) || begins
        })
    };
    let fitting = || (0..lines.len()).filter(|&index| dialect.fits(lines[index], shape));
    fitting()
        .find(goes_on)
        .or_else(|| fitting().next())
        .unwrap_or(0)
}

/// UTF-8 if it is, else Latin-1.
fn decode(line: &[u8]) -> String {
    match std::str::from_utf8(line) {
        Ok(text) => text.to_owned(),
        Err(_) => line.iter().map(|&byte| char::from(byte)).collect(),
    }
}
