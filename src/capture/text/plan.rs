//! Where the rows of numbers begin and what their columns are.

use super::super::{CaptureError, Columns, Unit};
use super::cell::Cell;
use super::dialect::{Delimiter, Dialect, Shape};
use super::feed::Feed;
use super::settings::Settings;
use super::survey::survey;
use super::title::{Title, quantity};

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
        let fits = |index: usize| {
            lines
                .get(index)
                .is_some_and(|line| dialect.fits(line, shape))
        };
        // A setting may happen to look like a row; a row is followed by another, be it a damaged one.
        let goes_on = |index: usize| {
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
        let first = (0..lines.len())
            .find(|&index| fits(index) && goes_on(index))
            .or_else(|| (0..lines.len()).find(|&index| fits(index)))
            .unwrap_or(0);
        let (preamble, rows) = lines.split_at(first);
        let mut plan = Self {
            dialect,
            roles: Vec::new(),
            names: Vec::new(),
            settings: Settings::default(),
            line: first as u64 + 1,
            notes: Vec::new(),
            first_row: String::new(),
            columns: Columns {
                count: shape.columns,
                ..Columns::default()
            },
            spectrum: None,
            heads: preamble
                .iter()
                .rev()
                .map(|line| head_of(line).to_vec())
                .filter(|head| !head.is_empty())
                .take(HEADS)
                .collect(),
        };
        let texts: Vec<String> = preamble.iter().map(|line| decode(line)).collect();
        let titles = plan.understand(&texts, shape);
        plan.read_margin(rows, shape);
        plan.assign(&titles, rows, shape);
        if let Some(column) = plan.spectrum {
            let title = preamble
                .last()
                .map(|line| excerpt(line))
                .unwrap_or_default();
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

    /// Settings and titles from the lines before the rows.
    fn understand(&mut self, texts: &[String], shape: Shape) -> Vec<Title> {
        let mut is_setting = vec![false; texts.len()];
        for (text, is_setting) in texts.iter().zip(&mut is_setting) {
            *is_setting = self.settings.read_line(text, self.dialect.mark);
        }
        for (text, is_setting) in texts.iter().zip(&mut is_setting) {
            *is_setting |= self.settings.read_cells(text, self.dialect.mark);
        }
        // Settings as columns: a key in one line, its value below it in the next.
        for pair in texts.windows(2) {
            let (keys, values) = (self.cells(&pair[0], shape), self.cells(&pair[1], shape));
            for (key, value) in keys.iter().zip(&values) {
                self.settings.read_pair(key, value, self.dialect.mark);
            }
        }
        let mut candidates = Vec::new();
        for (text, is_setting) in texts.iter().zip(is_setting).rev() {
            if text.trim().is_empty() {
                continue;
            }
            let cells = self.cells(text, shape);
            if is_setting || !self.can_be_titles(&cells, shape) {
                break;
            }
            if is_remark(text, &cells) {
                continue;
            }
            candidates.push(cells);
            if candidates.len() == TITLE_LINES {
                break;
            }
        }
        let units = |cells: &Vec<String>| {
            cells.iter().any(|cell| !cell.is_empty())
                && cells
                    .iter()
                    .all(|cell| cell.is_empty() || quantity(cell).is_some())
        };
        // Units may stand above the names, and a line of comments below both.
        if let Some(at) = candidates.iter().position(units).filter(|&at| at > 0) {
            let named = candidates[0].first().map(|cell| Title::parse(cell));
            if named.is_some_and(|title| title.is_time() || title.is_count()) {
                candidates.swap(0, at);
                candidates.swap(1, at);
            } else if at + 1 < candidates.len() {
                candidates.drain(..at);
            }
        }
        let own = |cells: &Vec<String>| -> Vec<String> {
            let margin = if cells.len() >= shape.margin + shape.columns {
                shape.margin
            } else {
                0
            };
            cells
                .iter()
                .skip(margin)
                .take(shape.columns)
                .cloned()
                .collect()
        };
        let mut candidates = candidates.iter().map(own);
        let Some(nearest) = candidates.next() else {
            return Vec::new();
        };
        if !units(&nearest) {
            return nearest.iter().map(|cell| Title::parse(cell)).collect();
        }
        let names = candidates.next().filter(|above| {
            above.iter().all(|cell| quantity(cell).is_none())
                && above.iter().any(|cell| !cell.is_empty())
        });
        let Some(names) = names else {
            // "s,V" names no channel; "seconds,volts" may be all there is.
            let bare = |cell: &String| cell.chars().count() <= 4 || cell.starts_with(['(', '[']);
            return nearest
                .iter()
                .map(|cell| Title {
                    name: if bare(cell) {
                        String::new()
                    } else {
                        Title::parse(cell).name
                    },
                    quantity: quantity(cell),
                })
                .collect();
        };
        let title = |(index, unit): (usize, &String)| Title {
            name: names
                .get(index)
                .map(|name| Title::parse(name).name)
                .unwrap_or_default(),
            quantity: quantity(unit),
        };
        nearest.iter().enumerate().map(title).collect()
    }

    /// Does a line that is no row begin as one of those before the rows?
    #[cold]
    pub(super) fn is_head(&self, line: &[u8]) -> bool {
        let head = head_of(line);
        !head.is_empty() && self.heads.iter().any(|own| own == head)
    }

    /// Enough cells, and no numbers in them (channels may be named by numbers if the first column is not).
    fn can_be_titles(&self, cells: &[String], shape: Shape) -> bool {
        let numeric = |cell: &String| {
            !cell.is_empty()
                && super::digits::number(cell.as_bytes(), self.dialect.mark)
                    .is_some_and(|(_, length)| length == cell.len())
        };
        let first = cells
            .get(shape.margin)
            .or(cells.first())
            .map(|cell| Title::parse(cell));
        let leads = first.is_some_and(|title| title.is_time() || title.is_count());
        // What stands beyond the rows' columns is settings with their values below.
        let own = if cells.len() >= shape.margin + shape.columns {
            &cells[shape.margin..shape.margin + shape.columns]
        } else {
            cells
        };
        let filled = own.iter().filter(|cell| !cell.is_empty()).count();
        let enough = if shape.columns == 1 {
            filled == 1 && !own.iter().any(|cell| is_key_with_value(cell))
        } else {
            cells.len() >= shape.columns
        };
        enough && filled > 0 && (leads || !own.iter().any(numeric))
    }

    /// Cells of a line of titles or settings.
    fn cells(&self, text: &str, shape: Shape) -> Vec<String> {
        let text = text
            .trim_matches(['\r', '\n'])
            .trim_start_matches(['#', '%', '/'])
            .trim_start_matches(' ');
        let Delimiter::Byte(delimiter) = self.dialect.delimiter else {
            let wide: Vec<String> = text
                .split('\t')
                .flat_map(|part| part.split("  "))
                .map(|part| part.trim().to_owned())
                .filter(|part| !part.is_empty())
                .collect();
            if wide.len() == shape.columns {
                return wide;
            }
            let mut cells: Vec<String> = Vec::new();
            for word in text.split_whitespace() {
                match cells.last_mut() {
                    // A unit in brackets belongs to the name before it.
                    Some(last) if word.starts_with(['(', '[']) => {
                        last.push(' ');
                        last.push_str(word);
                    }
                    _ => cells.push(word.to_owned()),
                }
            }
            return cells;
        };
        if shape.columns == 1 && shape.margin == 0 {
            return vec![
                text.trim()
                    .trim_end_matches(char::from(delimiter))
                    .to_owned(),
            ];
        }
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(delimiter)
            .trim(csv::Trim::All)
            .from_reader(text.as_bytes());
        let record = reader
            .records()
            .next()
            .and_then(Result::ok)
            .unwrap_or_default();
        // A dash alone says that there is nothing.
        let nothing = |cell: &str| cell.bytes().all(|byte| byte == b'-');
        record
            .iter()
            .map(|cell| if nothing(cell) { "" } else { cell }.to_owned())
            .collect()
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

/// A setting of any kind, as it may stand right above a single column: "Coupling: DC", "Record length,60000".
fn is_key_with_value(cell: &str) -> bool {
    let parts = |mark: char| {
        cell.split_once(mark)
            .map(|(key, value)| (key.trim(), value.trim()))
            .filter(|(key, value)| !key.is_empty() && !value.is_empty())
    };
    let worded = [':', '=']
        .into_iter()
        .filter_map(parts)
        .any(|(_, value)| quantity(value).is_none());
    let counted = [',', ';', '\t']
        .into_iter()
        .filter_map(parts)
        .any(|(_, value)| value.parse::<f64>().is_ok());
    worded || counted
}

/// Lines of titles, units and comments looked at.
const TITLE_LINES: usize = 3;

/// A comment that is prose: neither units nor a title of time, nor plain words without blanks for several columns.
fn is_remark(text: &str, cells: &[String]) -> bool {
    let comment = ["#", "%", "//"];
    let titles: Vec<Title> = cells.iter().map(|cell| Title::parse(cell)).collect();
    let known = titles
        .iter()
        .any(|title| title.quantity.is_some() || title.is_time() || title.is_count());
    let plain = cells.len() > 1 && !cells.iter().any(|cell| cell.contains(' '));
    comment
        .iter()
        .any(|mark| text.trim_start().starts_with(mark))
        && !known
        && !plain
}

/// UTF-8 if it is, else Latin-1.
fn decode(line: &[u8]) -> String {
    match std::str::from_utf8(line) {
        Ok(text) => text.to_owned(),
        Err(_) => line.iter().map(|&byte| char::from(byte)).collect(),
    }
}
