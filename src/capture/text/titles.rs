//! What the lines above the rows call the columns.

use super::dialect::{Delimiter, Shape};
use super::plan::TablePlan;
use super::title::{Title, quantity};

impl TablePlan {
    /// Titles of the columns, with their units, from the lines before the rows, some of which are settings.
    pub(super) fn titles(
        &self,
        texts: &[String],
        are_settings: Vec<bool>,
        shape: Shape,
    ) -> Vec<Title> {
        let mut lines = self.lines_of_titles(texts, are_settings, shape);
        units_below_names(&mut lines);
        let mut lines = lines.iter().map(|cells| of_columns(cells, shape));
        let Some(nearest) = lines.next() else {
            return Vec::new();
        };
        if !are_units(&nearest) {
            return nearest.iter().map(|cell| Title::parse(cell)).collect();
        }
        let names = lines.next().filter(|above| {
            above.iter().all(|cell| quantity(cell).is_none())
                && above.iter().any(|cell| !cell.is_empty())
        });
        let name = |index: usize, unit: &str| match &names {
            Some(names) => names.get(index).map(|name| Title::parse(name).name),
            // "s,V" names no channel; "seconds,volts" may be all there is.
            None if unit.chars().count() <= 4 || unit.starts_with(['(', '[']) => None,
            None => Some(Title::parse(unit).name),
        };
        let title = |(index, unit): (usize, &String)| Title {
            name: name(index, unit).unwrap_or_default(),
            quantity: quantity(unit),
        };
        nearest.iter().enumerate().map(title).collect()
    }

    /// Cells of the lines that may be titles, nearest to the rows first.
    fn lines_of_titles(
        &self,
        texts: &[String],
        are_settings: Vec<bool>,
        shape: Shape,
    ) -> Vec<Vec<String>> {
        let mut lines = Vec::new();
        for (text, is_setting) in texts.iter().zip(are_settings).rev() {
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
            lines.push(cells);
            if lines.len() == TITLE_LINES {
                break;
            }
        }
        lines
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
    pub(super) fn cells(&self, text: &str, shape: Shape) -> Vec<String> {
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
}

/// Nothing but units, and at least one.
fn are_units(cells: &[String]) -> bool {
    let mut filled = cells.iter().filter(|cell| !cell.is_empty()).peekable();
    filled.peek().is_some() && filled.all(|cell| quantity(cell).is_some())
}

/// Units may stand above the names, and a line of comments below both: brings the units to the front.
fn units_below_names(lines: &mut Vec<Vec<String>>) {
    let Some(at) = lines
        .iter()
        .position(|cells| are_units(cells))
        .filter(|&at| at > 0)
    else {
        return;
    };
    let named = lines[0].first().map(|cell| Title::parse(cell));
    if named.is_some_and(|title| title.is_time() || title.is_count()) {
        lines.swap(0, at);
        lines.swap(1, at);
    } else if at + 1 < lines.len() {
        lines.drain(..at);
    }
}

/// Without the cells of a margin.
fn of_columns(cells: &[String], shape: Shape) -> Vec<String> {
    let margin = if cells.len() >= shape.margin + shape.columns {
        shape.margin
    } else {
        0
    };
    let own = cells.iter().skip(margin).take(shape.columns);
    own.cloned().collect()
}

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
