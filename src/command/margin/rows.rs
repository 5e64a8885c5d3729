//! Tables of text that somebody else wrote.

use std::path::Path;

use anyhow::{Context, ensure};
use fieldripple::capture::read_whole;

/// None is longer.
const LONGEST: u64 = 256 << 20;

/// A table of text, with the lines its rows stand on.
pub struct Rows {
    /// The first line.
    pub titles: Vec<String>,
    pub rows: Vec<(u64, Vec<String>)>,
}

impl Rows {
    /// Commas, semicolons or tabs, whichever the first line has.
    pub fn of(path: &Path) -> anyhow::Result<Self> {
        let shown = || path.display().to_string();
        let bytes = read_whole(path, LONGEST).with_context(shown)?;
        let first = bytes.split(|byte| *byte == b'\n').next().unwrap_or(&[]);
        let delimiter = [b';', b'\t', b',']
            .into_iter()
            .find(|mark| first.contains(mark))
            .unwrap_or(b',');
        let mut reader = csv::ReaderBuilder::new()
            .delimiter(delimiter)
            .has_headers(false)
            .flexible(true)
            .trim(csv::Trim::All)
            .from_reader(bytes.as_slice());
        let mut rows = Vec::new();
        for record in reader.records() {
            let record = record.with_context(shown)?;
            let line = record.position().map_or(0, csv::Position::line);
            rows.push((line, record.iter().map(str::to_string).collect::<Vec<_>>()));
        }
        ensure!(!rows.is_empty(), "{}: the file is empty", path.display());
        let (_, titles) = rows.remove(0);
        Ok(Self { titles, rows })
    }
}
