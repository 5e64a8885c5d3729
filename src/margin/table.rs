//! Counts of a plan, and the CSV they are kept in.

use super::contest::{Contestant, Outcome};
use super::interval::wilson95;
use super::outside::Failure;
use super::paired::paired95;

/// Counts of one receiver at one point.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Tally {
    /// Captures.
    pub trials: u64,
    /// Captures in which the first tag's number was read.
    pub read: u64,
    /// Captures in which a number was read that no tag sent.
    pub wrong: u64,
    /// Captures read by the table's first receiver too.
    pub both: u64,
    /// Captures without an answer, in the order of [`Failure::ALL`].
    pub failed: [u64; 3],
}

impl Tally {
    /// Counts one more capture; the first receiver of the table has read it or not.
    pub fn count(&mut self, outcome: Outcome, first_read: bool) {
        self.trials += 1;
        self.read += u64::from(outcome.read);
        self.wrong += u64::from(outcome.wrong);
        self.both += u64::from(outcome.read && first_read);
        for (count, failure) in self.failed.iter_mut().zip(Failure::ALL) {
            *count += u64::from(outcome.failure == Some(failure));
        }
    }

    /// 95 % interval of this share less that of the table's first receiver on the same captures.
    pub fn difference(&self, first: &Self) -> (f64, f64) {
        paired95(
            self.trials,
            first.read - self.both.min(first.read),
            self.read - self.both,
        )
    }

    /// Share read; 0 without trials.
    pub fn share(&self) -> f64 {
        self.read as f64 / self.trials.max(1) as f64
    }

    /// Wilson's 95 % interval of that share.
    pub fn interval(&self) -> (f64, f64) {
        wilson95(self.read, self.trials)
    }
}

/// One line of the table.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    /// Who.
    pub receiver: Contestant,
    /// Values varied.
    pub values: Vec<f64>,
    /// Counts.
    pub tally: Tally,
}

/// Counts of every receiver at every point.
#[derive(Clone, Debug, PartialEq)]
pub struct Table {
    receivers: Vec<Contestant>,
    points: Vec<Vec<f64>>,
    /// One list of points a receiver.
    tallies: Vec<Vec<Tally>>,
}

/// Why a text is no such table.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum TableError {
    /// Other columns.
    #[error(
        "line 1 is '{0}'; a table of margin begins with '{COLUMNS}', with value2 behind value for two axes"
    )]
    Columns(String),
    /// A value that cannot be.
    #[error("line {line}: {what}")]
    Cell {
        /// Line, from 1.
        line: usize,
        /// What is wrong.
        what: String,
    },
    /// Points of one table that another does not have.
    #[error("{0}")]
    Other(String),
}

/// The columns of one axis.
const COLUMNS: &str = "receiver,value,trials,read,wrong,share,low95,high95";
/// The columns of two axes.
const COLUMNS_OF_TWO: &str = "receiver,value,value2,trials,read,wrong,share,low95,high95";
/// Further columns of a table in which somebody reads who may fail to answer.
const FURTHER: &str = ",both,timed_out,crashed,garbage";

impl Table {
    /// Nothing counted yet.
    pub fn new(receivers: &[Contestant], points: &[Vec<f64>]) -> Self {
        Self {
            receivers: receivers.to_vec(),
            points: points.to_vec(),
            tallies: vec![vec![Tally::default(); points.len()]; receivers.len()],
        }
    }

    /// Receivers in the order of rows.
    pub fn receivers(&self) -> &[Contestant] {
        &self.receivers
    }

    /// Points in the order of rows.
    pub fn points(&self) -> &[Vec<f64>] {
        &self.points
    }

    /// Counts of a receiver (by its place) at a point.
    pub fn tally(&self, receiver: usize, point: usize) -> Tally {
        self.tallies[receiver][point]
    }

    /// The same, to be changed.
    pub fn tally_mut(&mut self, receiver: usize, point: usize) -> &mut Tally {
        &mut self.tallies[receiver][point]
    }

    /// Trials counted over all points.
    pub fn trials(&self) -> u64 {
        self.tallies
            .first()
            .map_or(0, |points| points.iter().map(|t| t.trials).sum())
    }

    /// Rows with trials, receiver by receiver.
    pub fn rows(&self) -> Vec<Row> {
        let mut rows = Vec::new();
        for (receiver, tallies) in self.receivers.iter().zip(&self.tallies) {
            for (values, &tally) in self.points.iter().zip(tallies) {
                if tally.trials > 0 {
                    rows.push(Row {
                        receiver: *receiver,
                        values: values.clone(),
                        tally,
                    });
                }
            }
        }
        rows
    }

    /// As CSV. Shares have six decimals: a hundredth of the narrowest interval asked for.
    pub fn to_csv(&self) -> String {
        let two = self.points.first().is_some_and(|values| values.len() == 2);
        let further = self.receivers.contains(&Contestant::Yours);
        let mut text = String::from(if two { COLUMNS_OF_TWO } else { COLUMNS });
        text.push_str(if further { FURTHER } else { "" });
        text.push('\n');
        for row in self.rows() {
            let values: Vec<String> = row.values.iter().map(f64::to_string).collect();
            let Tally {
                trials,
                read,
                wrong,
                both,
                failed,
            } = row.tally;
            let (low, high) = row.tally.interval();
            text += &format!(
                "{},{},{trials},{read},{wrong},{:.6},{low:.6},{high:.6}",
                row.receiver.name(),
                values.join(","),
                row.tally.share(),
            );
            if further {
                let [timed_out, crashed, garbage] = failed;
                text += &format!(",{both},{timed_out},{crashed},{garbage}");
            }
            text.push('\n');
        }
        text
    }

    /// From CSV; shares and intervals are worked out again.
    ///
    /// # Errors
    /// [`TableError`] with the line.
    pub fn from_csv(text: &str) -> Result<Self, TableError> {
        let mut lines = text.lines().enumerate();
        let head = lines.next().map_or("", |(_, line)| line.trim());
        let (columns, further) = match head.strip_suffix(FURTHER) {
            Some(columns) => (columns, true),
            None => (head, false),
        };
        let axes = match columns {
            COLUMNS => 1,
            COLUMNS_OF_TWO => 2,
            _ => return Err(TableError::Columns(head.chars().take(80).collect())),
        };
        let mut rows: Vec<Row> = Vec::new();
        for (index, line) in lines.filter(|(_, line)| !line.trim().is_empty()) {
            let row = row(line, axes, further).map_err(|what| TableError::Cell {
                line: index + 1,
                what,
            })?;
            let twice = |other: &Row| other.receiver == row.receiver && other.values == row.values;
            if rows.iter().any(twice) {
                return Err(TableError::Cell {
                    line: index + 1,
                    what: "a point that stands there already".into(),
                });
            }
            rows.push(row);
        }
        let (mut receivers, mut points) = (Vec::new(), Vec::new());
        for row in &rows {
            if !receivers.contains(&row.receiver) {
                receivers.push(row.receiver);
            }
            if !points.contains(&row.values) {
                points.push(row.values.clone());
            }
        }
        let mut table = Self::new(&receivers, &points);
        for row in rows {
            let (receiver, point) = table.place(&row).expect("taken from the rows");
            *table.tally_mut(receiver, point) = row.tally;
        }
        table.check_trials()?;
        Ok(table)
    }

    /// All receivers have seen the same captures.
    fn check_trials(&self) -> Result<(), TableError> {
        for (point, values) in self.points.iter().enumerate() {
            let trials = |receiver: usize| self.tally(receiver, point).trials;
            if (1..self.receivers.len()).any(|receiver| trials(receiver) != trials(0)) {
                return Err(TableError::Other(format!(
                    "the receivers have not seen the same number of captures at {}",
                    written(values)
                )));
            }
        }
        Ok(())
    }

    fn place(&self, row: &Row) -> Option<(usize, usize)> {
        Some((
            self.receivers.iter().position(|&one| one == row.receiver)?,
            self.points
                .iter()
                .position(|values| *values == row.values)?,
        ))
    }

    /// Adds the counts of another table.
    ///
    /// # Errors
    /// A receiver or point that this table does not have.
    pub fn add(&mut self, other: &Self) -> Result<(), TableError> {
        for row in other.rows() {
            let Some((receiver, point)) = self.place(&row) else {
                return Err(TableError::Other(format!(
                    "it holds receiver {} at {}, which the plan does not have",
                    row.receiver.name(),
                    written(&row.values)
                )));
            };
            let tally = self.tally_mut(receiver, point);
            tally.trials += row.tally.trials;
            tally.read += row.tally.read;
            tally.wrong += row.tally.wrong;
            tally.both += row.tally.both;
            for (sum, more) in tally.failed.iter_mut().zip(row.tally.failed) {
                *sum += more;
            }
        }
        self.check_trials()
    }
}

fn written(values: &[f64]) -> String {
    let values: Vec<String> = values.iter().map(f64::to_string).collect();
    values.join(", ")
}

fn row(line: &str, axes: usize, further: bool) -> Result<Row, String> {
    let cells: Vec<&str> = line.trim().split(',').map(str::trim).collect();
    let columns = axes + if further { 11 } else { 7 };
    if cells.len() != columns {
        return Err(format!("{} columns instead of {columns}", cells.len()));
    }
    let receiver = Contestant::of_name(cells[0]).ok_or_else(|| {
        format!(
            "receiver '{}'; allowed are {}",
            cells[0],
            Contestant::ALL.map(Contestant::name).join(", ")
        )
    })?;
    let values = cells[1..=axes]
        .iter()
        .map(|cell| {
            cell.parse::<f64>()
                .ok()
                .filter(|value| value.is_finite())
                .map(|value| value + 0.0)
                .ok_or_else(|| format!("'{cell}' is not a number"))
        })
        .collect::<Result<Vec<f64>, String>>()?;
    // Sums of ten thousand parts of these do not overflow.
    let count = |cell: &str| {
        cell.parse::<u64>()
            .ok()
            .filter(|&count| count <= 1 << 48)
            .ok_or_else(|| format!("'{cell}' is not a count"))
    };
    let mut tally = Tally {
        trials: count(cells[axes + 1])?,
        read: count(cells[axes + 2])?,
        wrong: count(cells[axes + 3])?,
        ..Tally::default()
    };
    if further {
        tally.both = count(cells[axes + 7])?;
        for (sum, cell) in tally.failed.iter_mut().zip(&cells[axes + 8..]) {
            *sum = count(cell)?;
        }
    }
    let failed: u64 = tally.failed.iter().sum();
    if tally.read > tally.trials || tally.wrong > tally.trials || tally.both > tally.read {
        return Err(format!("more read or wrong than {} trials", tally.trials));
    }
    if failed > tally.trials - tally.read {
        return Err(format!("{failed} failures among {} trials", tally.trials));
    }
    Ok(Row {
        receiver,
        values,
        tally,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn table() -> Table {
        let mut table = Table::new(
            &[Contestant::Own, Contestant::Plain],
            &[vec![-3.0], vec![0.1]],
        );
        for receiver in 0..2 {
            for point in 0..2 {
                *table.tally_mut(receiver, point) = Tally {
                    trials: 10,
                    read: 3 + receiver as u64 + point as u64,
                    wrong: point as u64,
                    ..Tally::default()
                };
            }
        }
        table
    }

    #[test]
    fn a_table_survives_its_csv() {
        let csv = table().to_csv();
        assert!(csv.starts_with(COLUMNS));
        assert!(csv.contains("\nown,-3,10,3,0,0.300000,"), "{csv}");
        assert_eq!(Table::from_csv(&csv).unwrap(), table());
        let mut sum = table();
        sum.add(&table()).unwrap();
        assert_eq!(sum.tally(1, 1).trials, 20);
        let mut grid = Table::new(&[Contestant::Own], &[vec![1.0, 2.0]]);
        grid.tally_mut(0, 0).trials = 4;
        assert_eq!(Table::from_csv(&grid.to_csv()).unwrap(), grid);
    }

    #[test]
    fn a_table_with_an_outside_decoder_keeps_what_it_failed_at() {
        let mut table = Table::new(&[Contestant::Own, Contestant::Yours], &[vec![1.0]]);
        *table.tally_mut(0, 0) = Tally {
            trials: 20,
            read: 12,
            both: 12,
            ..Tally::default()
        };
        *table.tally_mut(1, 0) = Tally {
            trials: 20,
            read: 9,
            wrong: 1,
            both: 8,
            failed: [1, 2, 3],
        };
        let csv = table.to_csv();
        assert!(
            csv.contains("\nyours,1,20,9,1,0.450000,0.258198,0.657915,8,1,2,3\n"),
            "{csv}"
        );
        assert_eq!(Table::from_csv(&csv).unwrap(), table);
        for (from, to) in [
            (",8,1,2,3", ",10,1,2,3"),
            (",8,1,2,3", ",8,1,2,9"),
            (",8,1,2,3", ""),
        ] {
            assert!(Table::from_csv(&csv.replacen(from, to, 1)).is_err(), "{to}");
        }
        let mut sum = table.clone();
        sum.add(&table).unwrap();
        assert_eq!(sum.tally(1, 0).failed, [2, 4, 6]);
        assert_eq!(sum.tally(1, 0).both, 16);
    }

    #[test]
    fn damaged_tables_are_refused_with_the_line() {
        let csv = table().to_csv();
        for (from, to) in [
            ("own,-3,10,", "own,-3,ten,"),
            ("own,-3,10,3,", "own,-3,10,11,"),
            ("own,-3,", "other,-3,"),
            ("own,-3,", "own,inf,"),
            ("own,-3,", "own,0.1,"),
            ("own,-3,10", "own,10"),
            ("own,-3,10", "own,-3,9"),
        ] {
            let damaged = csv.replacen(from, to, 1);
            let error = Table::from_csv(&damaged).unwrap_err();
            println!("{error}");
        }
        assert!(Table::from_csv("").is_err());
        let mut small = Table::new(&[Contestant::Own], &[vec![-3.0]]);
        assert!(small.add(&table()).is_err());
    }
}
