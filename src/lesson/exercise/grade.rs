//! Answers against the answer sheet.

use std::collections::BTreeMap;

use thiserror::Error;

use super::cell::{capture, numbers, word};
use super::draw::Fault;
use super::sheets::{HEADER, SECRET};

/// What became of a cell.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Outcome {
    /// As on the answer sheet.
    Right,
    /// Something else.
    Wrong,
    /// Nothing was written.
    Blank,
    /// It cannot be told what is meant; what stands there, and what is allowed.
    Unreadable(String),
}

impl Outcome {
    /// The word for it in tables.
    pub const fn word(&self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Wrong => "wrong",
            Self::Blank => "blank",
            Self::Unreadable(_) => "unreadable",
        }
    }
}

/// A cell that gives a mark.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// Row: a capture, or a question about two.
    pub row: String,
    /// Column.
    pub column: &'static str,
    /// What became of it.
    pub outcome: Outcome,
}

/// Marks for a whole sheet.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Grade {
    /// In the order of the answer sheet.
    pub marks: Vec<Mark>,
    /// Lines that were left out, and why.
    pub remarks: Vec<String>,
}

impl Grade {
    /// Marks reached.
    pub fn reached(&self) -> usize {
        self.marks
            .iter()
            .filter(|mark| mark.outcome == Outcome::Right)
            .count()
    }

    /// Marks to be had.
    pub fn possible(&self) -> usize {
        self.marks.len()
    }
}

/// Why answers cannot be graded at all.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum GradeError {
    /// No row names the columns.
    #[error(
        "no line names the columns 'capture' and one of 'numbers', 'fault', 'change'; the first line is '{found}'"
    )]
    Header {
        /// What stands there.
        found: String,
    },
    /// Nothing below it.
    #[error("no answers below the line with the columns' names")]
    Empty,
    /// Not a table.
    #[error("line {line}: {what}")]
    Table {
        /// Where, from 1.
        line: u64,
        /// What stands there.
        what: String,
    },
}

/// A table: cells by row and column, with the line of each row.
#[derive(Default)]
struct Table {
    rows: Vec<(String, u64, BTreeMap<&'static str, String>)>,
    remarks: Vec<String>,
}

/// Grades answers by an answer sheet, both as text: commas, semicolons or tabs between the cells, with or without quotes.
///
/// # Errors
/// What is wrong, and whether it is so with the answers (`true`) or with the sheet (`false`).
pub fn grade(answers: &str, sheet: &str) -> Result<Grade, (bool, GradeError)> {
    let given = read(answers).map_err(|error| (true, error))?;
    let right = read(sheet).map_err(|error| (false, error))?;
    let known = |row: &str| right.rows.iter().any(|(name, ..)| name == row);
    let mut remarks = given.remarks;
    for (row, line, _) in given.rows.iter().filter(|(row, ..)| !known(row)) {
        remarks.push(format!(
            "line {line}: the answer sheet has no '{row}'; are these answers to other exercises?"
        ));
    }
    let mut marks = Vec::new();
    for (row, _, wanted) in &right.rows {
        let found = given.rows.iter().find(|(name, ..)| name == row);
        for column in &HEADER[1..] {
            let Some(wanted) = wanted.get(column).filter(|cell| !cell.is_empty()) else {
                continue;
            };
            let cell = found.and_then(|(_, _, cells)| cells.get(column));
            marks.push(Mark {
                row: row.clone(),
                column,
                outcome: compared(column, cell.map_or("", String::as_str), wanted),
            });
        }
    }
    Ok(Grade { marks, remarks })
}

fn compared(column: &str, given: &str, wanted: &str) -> Outcome {
    if given.is_empty() || given.chars().all(|c| "-–—_?".contains(c)) {
        return Outcome::Blank;
    }
    let right = |same: bool| match same {
        true => Outcome::Right,
        false => Outcome::Wrong,
    };
    let shown: String = given.chars().take(40).collect();
    let only = |words: Vec<&str>| {
        Outcome::Unreadable(format!("'{shown}' is none of {}", words.join(", ")))
    };
    match column {
        "numbers" => match numbers(given) {
            Some(found) => right(Some(found) == numbers(wanted)),
            None => Outcome::Unreadable(format!(
                "'{shown}' is no number; write 999:123456789 or all 15 digits, several with a blank between"
            )),
        },
        "fault" => match Fault::ALL.iter().any(|fault| fault.word() == word(given)) {
            true => right(word(given) == word(wanted)),
            false => only(Fault::ALL.map(Fault::word).to_vec()),
        },
        _ if capture(wanted).starts_with("capture") => right(capture(given) == capture(wanted)),
        _ => match Fault::ALL.iter().any(|fault| fault.change() == word(given)) {
            true => right(word(given) == word(wanted)),
            false => only(Fault::ALL.map(Fault::change).to_vec()),
        },
    }
}

fn read(text: &str) -> Result<Table, GradeError> {
    let text = text.trim_start_matches('\u{feff}');
    let first: &str = text
        .lines()
        .find(|line| !line.trim().is_empty())
        .unwrap_or("");
    // Whatever stands most often in the line with the names.
    let between = [b',', b';', b'\t']
        .into_iter()
        .max_by_key(|mark| first.bytes().filter(|byte| byte == mark).count())
        .unwrap_or(b',');
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .delimiter(between)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let mut columns: Vec<Option<&'static str>> = Vec::new();
    let mut table = Table::default();
    for (place, record) in reader.records().enumerate() {
        let record = record.map_err(|error| GradeError::Table {
            line: place as u64 + 1,
            what: error.to_string(),
        })?;
        let line = record
            .position()
            .map_or(place as u64 + 1, csv::Position::line);
        if columns.is_empty() {
            columns = record
                .iter()
                .map(|name| HEADER.into_iter().find(|known| *known == word(name)))
                .collect();
            if !columns.contains(&Some(HEADER[0])) || columns.iter().flatten().count() < 2 {
                let found = first.chars().take(60).collect();
                return Err(GradeError::Header { found });
            }
            continue;
        }
        let cells: BTreeMap<&'static str, String> = columns
            .iter()
            .zip(record.iter())
            .filter_map(|(column, cell)| column.map(|column| (column, cell.trim().to_string())))
            .collect();
        let row = capture(cells.get(HEADER[0]).map_or("", String::as_str));
        if row.is_empty() || row == SECRET {
            continue;
        }
        if table.rows.iter().any(|(name, ..)| *name == row) {
            table.remarks.push(format!(
                "line {line}: {row} was answered before; the first answer counts"
            ));
            continue;
        }
        if record
            .iter()
            .skip(columns.len())
            .any(|cell| !cell.is_empty())
        {
            table.remarks.push(format!(
                "line {line}: more cells than columns; put a cell with a '{}' in it into quotes",
                char::from(between)
            ));
        }
        table.rows.push((row, line, cells));
    }
    if columns.is_empty() {
        return Err(GradeError::Header {
            found: String::new(),
        });
    }
    match table.rows.is_empty() {
        true => Err(GradeError::Empty),
        false => Ok(table),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHEET: &str = "capture,numbers,fault,change\ncapture-01.wav,999:1,none,nothing\n\
                         capture-02.wav,999:2 999:3,two-tags,one-tag\nnearer-1,,,capture-02\nsecret,,,77\n";

    fn reached(answers: &str) -> usize {
        grade(answers, SHEET).unwrap().reached()
    }

    #[test]
    fn the_sheet_has_full_marks_and_nothing_has_none() {
        let full = grade(SHEET, SHEET).unwrap();
        assert_eq!((full.reached(), full.possible()), (7, 7));
        let empty = "capture,numbers,fault,change\ncapture-01.wav,,,\ncapture-02.wav,-,?,\n";
        let none = grade(empty, SHEET).unwrap();
        assert_eq!((none.reached(), none.possible()), (0, 7));
        assert!(none.marks.iter().all(|mark| mark.outcome == Outcome::Blank));
    }

    #[test]
    fn half_an_answer_is_no_number_and_order_does_not_matter() {
        assert_eq!(reached("capture,numbers\ncapture-02.wav,999:3\n"), 0);
        assert_eq!(reached("capture,numbers\ncapture-02.wav,999:3 999:2\n"), 1);
        assert_eq!(reached("capture,numbers\ncapture-01.wav,999:1 999:2\n"), 0);
    }

    /// What spreadsheets and pupils make of a form.
    #[test]
    fn forms_come_back_in_many_shapes() {
        for answers in [
            "capture;numbers;fault;change\r\ncapture-02.wav;\"999 000000000003; 999 000000000002\";Two tags;ONE TAG\r\n",
            "\u{feff}Capture\tNumbers\tFault\tChange\nCAPTURE-02\t999:2 999:3\ttwo_tags\tone-tag\n",
            "\"capture\",\"numbers\",\"fault\",\"change\"\n\"exercise/capture-02.wav\",\"999:2, 999:3\",\"Two-Tags\",\"One-Tag\"\n",
            "fault,change,capture,numbers\ntwo-tags,one-tag,capture-02.wav,999000000000002 999000000000003\n",
            "\n\ncapture,numbers,fault,change,notes\ncapture-02.wav,999:2 and 999:3,two-tags,one-tag,easy\n",
        ] {
            assert_eq!(reached(answers), 3, "{answers}");
        }
        assert_eq!(reached("capture,change\nnearer 1,Capture 02\n"), 1);
    }

    #[test]
    fn every_bad_cell_is_named_and_the_others_count() {
        let answers = "capture,numbers,fault,change\ncapture-01.wav,nine,quantum,nothing\ncapture-02.wav,999:2 999:3,none,none\n\
                       capture-02.wav,,,\ncapture-09.wav,,,\n";
        let grade = grade(answers, SHEET).unwrap();
        assert_eq!(grade.reached(), 2);
        let of = |row: &str, column: &str| {
            let mark = grade
                .marks
                .iter()
                .find(|mark| mark.row == row && mark.column == column);
            mark.unwrap().outcome.clone()
        };
        assert!(
            matches!(of("capture-01", "numbers"), Outcome::Unreadable(what) if what.contains("'nine' is no number"))
        );
        assert!(
            matches!(of("capture-01", "fault"), Outcome::Unreadable(what) if what.contains("two-tags"))
        );
        assert_eq!(of("capture-02", "fault"), Outcome::Wrong);
        assert!(matches!(of("capture-02", "change"), Outcome::Unreadable(_)));
        assert_eq!(of("nearer-1", "change"), Outcome::Blank);
        assert!(
            grade
                .remarks
                .iter()
                .any(|remark| remark.starts_with("line 4: capture-02 was answered"))
        );
        assert!(
            grade
                .remarks
                .iter()
                .any(|remark| remark.contains("no 'capture-09'"))
        );
    }

    #[test]
    fn what_is_no_table_says_so() {
        for (answers, words) in [
            ("", "no line names the columns"),
            ("numbers\n", "no line names the columns"),
            (
                "capture-01.wav,999:1,none\n",
                "the first line is 'capture-01.wav,999:1,none'",
            ),
            ("capture,numbers,fault\n", "no answers below"),
        ] {
            let (of_answers, error) = grade(answers, SHEET).unwrap_err();
            assert!(
                of_answers && error.to_string().contains(words),
                "{answers}: {error}"
            );
        }
        assert!(!grade(SHEET, "x").unwrap_err().0);
    }
}
