//! Answers against the answer sheet.

use std::collections::{BTreeMap, BTreeSet};

use thiserror::Error;

use super::draw::Fault;
use super::sheets::HEADER;
use crate::telegram::Identity;

/// Marks for one capture.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mark {
    /// The capture.
    pub capture: String,
    /// All of its numbers and no other.
    pub numbers: bool,
    /// The fault.
    pub fault: bool,
}

/// Marks for a whole sheet.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Grade {
    /// In the order of the answer sheet.
    pub marks: Vec<Mark>,
}

impl Grade {
    /// Marks reached.
    pub fn reached(&self) -> usize {
        self.marks
            .iter()
            .map(|mark| usize::from(mark.numbers) + usize::from(mark.fault))
            .sum()
    }

    /// Marks to be had.
    pub fn possible(&self) -> usize {
        2 * self.marks.len()
    }
}

/// Why answers cannot be graded. `line` counts from 1.
#[derive(Debug, Error, PartialEq, Eq)]
pub enum GradeError {
    /// No table of commas.
    #[error("line {line}: {what}; each line holds capture,numbers,fault")]
    Line {
        /// Where.
        line: u64,
        /// What stands there.
        what: String,
    },
    /// Another first line.
    #[error("the first line is '{found}'; it must be 'capture,numbers,fault'")]
    Header {
        /// What stands there.
        found: String,
    },
    /// A number that cannot be one.
    #[error(
        "line {line}: '{found}' is no number; write 999:123456789, several with a blank between"
    )]
    Number {
        /// Where.
        line: u64,
        /// What stands there.
        found: String,
    },
    /// A word that is no fault.
    #[error(
        "line {line}: '{found}' is no fault; allowed are none, weak, mistuned, two-tags, second-reader, wrong-kind"
    )]
    Fault {
        /// Where.
        line: u64,
        /// What stands there.
        found: String,
    },
    /// The same capture twice.
    #[error("line {line}: {capture} was answered before")]
    Twice {
        /// Where.
        line: u64,
        /// The capture.
        capture: String,
    },
    /// A capture that the answer sheet does not have.
    #[error(
        "line {line}: the answer sheet has no {capture}; are these answers to other exercises?"
    )]
    Unknown {
        /// Where.
        line: u64,
        /// The capture.
        capture: String,
    },
}

/// A row as it was read; what was left empty is `None`.
struct Answer {
    line: u64,
    numbers: Option<BTreeSet<(u16, u64)>>,
    fault: Option<Fault>,
}

/// Grades answers by an answer sheet, both as text with commas.
///
/// # Errors
/// What is wrong, and whether it is so with the answers (`true`) or with the sheet (`false`).
pub fn grade(answers: &str, sheet: &str) -> Result<Grade, (bool, GradeError)> {
    let given = read(answers).map_err(|error| (true, error))?;
    let right = read(sheet).map_err(|error| (false, error))?;
    let known: BTreeMap<&str, &Answer> = right
        .iter()
        .map(|(capture, answer)| (capture.as_str(), answer))
        .collect();
    for (capture, answer) in &given {
        if !known.contains_key(capture.as_str()) {
            let (line, capture) = (answer.line, capture.clone());
            return Err((true, GradeError::Unknown { line, capture }));
        }
    }
    let marks = right
        .iter()
        .map(|(capture, right)| {
            let given = given
                .iter()
                .find(|(name, _)| name == capture)
                .map(|(_, answer)| answer);
            Mark {
                capture: capture.clone(),
                numbers: given
                    .is_some_and(|given| given.numbers.is_some() && given.numbers == right.numbers),
                fault: given
                    .is_some_and(|given| given.fault.is_some() && given.fault == right.fault),
            }
        })
        .collect();
    Ok(Grade { marks })
}

fn read(text: &str) -> Result<Vec<(String, Answer)>, GradeError> {
    let mut reader = csv::ReaderBuilder::new()
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.trim_start_matches('\u{feff}').as_bytes());
    let mut rows: Vec<(String, Answer)> = Vec::new();
    for (place, record) in reader.records().enumerate() {
        let record = record.map_err(|error| GradeError::Line {
            line: place as u64 + 1,
            what: error.to_string(),
        })?;
        let line = record
            .position()
            .map_or(place as u64 + 1, csv::Position::line);
        if place == 0 {
            if record.iter().ne(HEADER) {
                let found: String = record
                    .iter()
                    .collect::<Vec<_>>()
                    .join(",")
                    .chars()
                    .take(60)
                    .collect();
                return Err(GradeError::Header { found });
            }
            continue;
        }
        if record.len() != HEADER.len() {
            let what = format!("{} columns", record.len());
            return Err(GradeError::Line { line, what });
        }
        let capture = record[0].to_string();
        if rows.iter().any(|(name, _)| *name == capture) {
            return Err(GradeError::Twice { line, capture });
        }
        rows.push((
            capture,
            Answer {
                line,
                numbers: numbers(&record[1], line)?,
                fault: fault(&record[2], line)?,
            },
        ));
    }
    match rows.is_empty() {
        true => Err(GradeError::Line {
            line: 1,
            what: "no answers".into(),
        }),
        false => Ok(rows),
    }
}

fn numbers(text: &str, line: u64) -> Result<Option<BTreeSet<(u16, u64)>>, GradeError> {
    if text.is_empty() {
        return Ok(None);
    }
    let all = text
        .split_whitespace()
        .map(|word| {
            word.parse::<Identity>()
                .map(|number| (number.country, number.national))
                .map_err(|_| GradeError::Number {
                    line,
                    found: word.chars().take(60).collect(),
                })
        })
        .collect::<Result<_, _>>()?;
    Ok(Some(all))
}

fn fault(text: &str, line: u64) -> Result<Option<Fault>, GradeError> {
    if text.is_empty() {
        return Ok(None);
    }
    Fault::ALL
        .into_iter()
        .find(|fault| fault.word() == text)
        .map(Some)
        .ok_or_else(|| GradeError::Fault {
            line,
            found: text.chars().take(60).collect(),
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    const SHEET: &str =
        "capture,numbers,fault\ncapture-01.wav,999:1,none\ncapture-02.wav,999:2 999:3,two-tags\n";

    #[test]
    fn the_sheet_has_full_marks_and_nothing_has_none() {
        let full = grade(SHEET, SHEET).unwrap();
        assert_eq!((full.reached(), full.possible()), (4, 4));
        let empty = "capture,numbers,fault\ncapture-01.wav,,\ncapture-02.wav,,\n";
        let none = grade(empty, SHEET).unwrap();
        assert_eq!((none.reached(), none.possible()), (0, 4));
    }

    #[test]
    fn half_an_answer_is_no_number_and_order_does_not_matter() {
        let half = "capture,numbers,fault\ncapture-02.wav,999:3,two-tags\n";
        let grade_of = |answers: &str| grade(answers, SHEET).unwrap().reached();
        assert_eq!(grade_of(half), 1);
        assert_eq!(
            grade_of("capture,numbers,fault\r\ncapture-02.wav, 999:3 999:2 ,two-tags\r\n"),
            2
        );
        assert_eq!(
            grade_of("capture,numbers,fault\ncapture-01.wav,999:1 999:2,none\n"),
            1
        );
    }

    #[test]
    fn what_cannot_be_graded_says_where() {
        let says = |answers: &str, words: &str| {
            let (of_answers, error) = grade(answers, SHEET).unwrap_err();
            assert!(of_answers && error.to_string().contains(words), "{error}");
        };
        says("", "no answers");
        says("a,b\n", "'a,b'");
        says(
            "capture,numbers,fault\ncapture-01.wav,12,none\n",
            "line 2: '12'",
        );
        says(
            "capture,numbers,fault\ncapture-01.wav,,sick\n",
            "'sick' is no fault",
        );
        says("capture,numbers,fault\ncapture-01.wav,999:1\n", "2 columns");
        says(
            "capture,numbers,fault\ncapture-09.wav,999:1,none\n",
            "has no capture-09.wav",
        );
        says(
            "capture,numbers,fault\ncapture-01.wav,,\ncapture-01.wav,,\n",
            "answered before",
        );
        assert!(!grade(SHEET, "x\n").unwrap_err().0);
    }
}
