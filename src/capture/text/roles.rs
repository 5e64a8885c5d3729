//! What each column is: time, a channel, or neither.

use super::super::{TimeColumn, Unit};
use super::cell::Cell;
use super::dialect::{Delimiter, Shape};
use super::plan::{Role, TablePlan};
use super::title::{Quantity, Title};

/// Rows looked at to tell a time column from a channel.
const RAMP_ROWS: usize = 2000;

impl TablePlan {
    /// Decides which column is time and which are channels.
    pub(super) fn assign(&mut self, titles: &[Title], rows: &[&[u8]], shape: Shape) {
        self.roles = vec![Role::Skip; shape.margin];
        let worded = |index: usize| shape.words.holds(shape.margin + index);
        let titles: Vec<Title> = (0..shape.columns)
            .map(|index| {
                let mut title = titles.get(index).cloned().unwrap_or_default();
                // A unit that stands in every cell is already in the number.
                if let Some(unit) = self.written_unit(rows, shape.margin + index) {
                    title.quantity = Some(unit);
                }
                title
            })
            .collect();
        // Of words and numbers that are both called time (a date, a clock) the numbers are.
        let said = (0..shape.columns).find(|&index| titles[index].is_time() && !worded(index));
        for (index, title) in titles.into_iter().enumerate() {
            if worded(index) {
                self.roles.push(Role::Skip);
                continue;
            }
            // Time and sample numbers stand on the left, and something is left for a channel.
            let leading = self.names.is_empty() && index < 2 && index + 1 < shape.columns;
            let ramp = if leading {
                self.ramp(rows, shape.margin + index)
            } else {
                Ramp::No
            };
            let timed = self.has_time();
            let titled_count = title.is_count();
            if leading && said.is_none() && title.is_frequency() && ramp != Ramp::No {
                self.spectrum.get_or_insert(index + 1);
            }
            let stated = title.quantity.is_some() || self.settings.time_unit.is_some();
            let role = if said == Some(index) && shape.columns > 1 {
                self.time_role(&title, ramp)
            } else if (said.is_some() && title.is_time())
                || (ramp == Ramp::Count && (title.is_count() || said.is_none()))
            {
                Role::Skip
            } else if ramp == Ramp::Rise && said.is_none() && !timed && title.may_be_time() {
                if title == Title::default() {
                    let note = "The first rising column has no title: taken as time in seconds.";
                    self.notes.push(note.into());
                }
                Role::Time(1.0)
            } else {
                self.add_channel(title)
            };
            match role {
                Role::Time(unit_s) => {
                    self.columns.time = Some(TimeColumn {
                        column: index + 1,
                        unit_s,
                        unit_guessed: !stated,
                    });
                }
                Role::Value(_) => self.columns.of_channels.push(index + 1),
                // Counts without a title may be times all the same, in a unit of one sample.
                Role::Skip
                    if ramp == Ramp::Count && !titled_count && self.columns.time.is_none() =>
                {
                    self.columns.time = Some(TimeColumn {
                        column: index + 1,
                        unit_s: 1.0,
                        unit_guessed: true,
                    });
                }
                Role::Skip => {}
            }
            self.roles.push(role);
        }
        if self.names.is_empty() {
            // Nothing but time columns, says the header: the last one must be the channel.
            self.roles.pop();
            self.columns.time = None;
            self.columns.of_channels.push(shape.columns);
            let role = self.add_channel(Title::default());
            self.roles.push(role);
        }
    }

    fn time_role(&self, title: &Title, ramp: Ramp) -> Role {
        match (title.quantity, self.settings.time_unit) {
            (Some(Quantity::Time(factor)), _) | (None, Some(factor)) => Role::Time(factor),
            // Whole steps of one without a unit count samples: nobody samples this field once a second.
            _ if ramp == Ramp::Count => Role::Skip,
            _ => Role::Time(1.0),
        }
    }

    fn add_channel(&mut self, title: Title) -> Role {
        let (unit, factor) = match (title.quantity, self.settings.volt_unit) {
            (None, Some(volts)) => (Unit::Volt, volts),
            _ => title.unit(),
        };
        let number = self.names.len() + 1;
        let name = if title.name.is_empty() {
            number.to_string()
        } else {
            title.name
        };
        self.names.push((name, unit));
        Role::Value(factor)
    }

    /// Unit that stands in the cells of a column themselves, seconds or volts after the number was read.
    fn written_unit(&self, rows: &[&[u8]], column: usize) -> Option<Quantity> {
        let row = rows.iter().find(|row| !row.trim_ascii().is_empty())?;
        let mut at = 0;
        for index in 0..=column {
            let from = at;
            let (cell, last) = self.dialect.next(row, &mut at);
            if index == column {
                let text = &row[from..at];
                let text = super::cell::bare(text.trim_ascii_end());
                let text = text
                    .strip_suffix(&[delimiter_byte(self.dialect.delimiter)])
                    .unwrap_or(text);
                let Cell::Number(_) = cell else { return None };
                return match super::written::value(super::cell::bare(text), self.dialect.mark)?.1 {
                    Quantity::Time(_) => Some(Quantity::Time(1.0)),
                    Quantity::Volts(_) => Some(Quantity::Volts(1.0)),
                    _ => None,
                };
            }
            if last {
                return None;
            }
        }
        None
    }

    /// How the numbers of a column go on in the first rows.
    fn ramp(&self, rows: &[&[u8]], column: usize) -> Ramp {
        let mut values = Vec::new();
        let mut whole = true;
        for row in rows.iter().take(RAMP_ROWS) {
            let mut at = 0;
            for index in 0..=column {
                let from = at;
                let (cell, last) = self.dialect.next(row, &mut at);
                if let (Cell::Number(value), true) = (cell, index == column) {
                    values.push(value);
                    // Nobody counts with decimals.
                    let text = &row[from..at];
                    let text = text.strip_suffix(&[delimiter_byte(self.dialect.delimiter)]);
                    whole &= !text.unwrap_or(&row[from..at]).contains(&self.dialect.mark);
                }
                if last {
                    break;
                }
            }
        }
        let steps = || values.windows(2).map(|pair| pair[1] - pair[0]);
        // A few falls do not make it a channel: the row where time goes back is named later.
        let falls = steps().filter(|&step| step < 0.0).count();
        if values.len() < 2 || values.first() >= values.last() || falls * 10 > values.len() {
            Ramp::No
        } else if whole && steps().all(|step| step == 1.0) {
            Ramp::Count
        } else {
            Ramp::Rise
        }
    }
}

#[derive(Clone, Copy, Debug, PartialEq)]
enum Ramp {
    No,
    /// Steps of exactly 1.
    Count,
    /// Hardly ever falls.
    Rise,
}

fn delimiter_byte(delimiter: Delimiter) -> u8 {
    match delimiter {
        Delimiter::Byte(byte) => byte,
        Delimiter::Blanks => b' ',
    }
}
