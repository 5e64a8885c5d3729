//! Many captures, one table: a row each, as CSV or for the terminal.

use std::path::{Path, PathBuf};

use fieldripple::capture::Unit;
use fieldripple::decode::Decoded;

use super::file_output::FileOutput;
use super::rows::{Rows, known};
use fieldripple::decode::wording::significant;

/// Columns; an empty cell is a value that is not known.
const COLUMNS: [&str; 13] = [
    "capture",
    "verdict",
    "margin_db",
    "margin_deviation_db",
    "id",
    "kind",
    "numbers",
    "depth",
    "angle_deg",
    "field_level",
    "field_unit",
    "field_hz",
    "finding",
];

/// A row for each capture, and the file they go to.
pub struct TableOutput<'a>(Rows<'a>);

/// What a row says of a capture.
struct Row {
    verdict: &'static str,
    margin: Option<(f64, f64)>,
    id: String,
    kind: &'static str,
    numbers: usize,
    depth: Option<f64>,
    angle_deg: Option<f64>,
    level: Option<f64>,
    unit: &'static str,
    field_hz: Option<f64>,
    finding: &'static str,
}

impl Row {
    fn of(decoded: &Decoded) -> Self {
        let reception = &decoded.reception;
        let clipped = reception.clipped_share().is_some();
        let first = reception.readings.first();
        // The strongest tag, where it was there longest.
        let stay = first.and_then(|reading| {
            let stays = reading.stays.iter();
            stays.max_by(|a, b| a.seconds().total_cmp(&b.seconds()))
        });
        let identities = decoded.identities();
        Self {
            verdict: if decoded.is_read() { "read" } else { "unread" },
            margin: decoded
                .margin()
                .map(|margin| (margin.db, margin.deviation_db)),
            id: identities.first().map_or(String::new(), |id| id.digits()),
            kind: match (first, identities.is_empty()) {
                (_, true) => "",
                (Some(_), false) => "fdx-b",
                (None, false) => "hdx",
            },
            numbers: identities.len(),
            depth: stay
                .filter(|_| reception.level_known && !clipped)
                .map(|stay| stay.depth),
            angle_deg: stay
                .filter(|_| reception.kind.has_carrier() && !clipped)
                .map(|stay| stay.angle.to_degrees()),
            level: reception.field.amplitude,
            unit: match decoded.unit() {
                Unit::Volt => "V",
                Unit::FullScale => "full scale",
                Unit::Unknown => "",
            },
            field_hz: reception.field.frequency_hz,
            finding: decoded.findings.first().map_or("", |finding| finding.code),
        }
    }
}

impl<'a> TableOutput<'a> {
    /// A table does not replace a capture.
    pub fn new(path: &'a Path, captures: &[PathBuf]) -> anyhow::Result<Self> {
        Rows::new(path, "--table", captures, &COLUMNS).map(Self)
    }
}

impl FileOutput for TableOutput<'_> {
    fn add(&mut self, decoded: &Decoded) -> anyhow::Result<()> {
        let row = Row::of(decoded);
        self.0.add(&[
            decoded.name(),
            row.verdict,
            &known(row.margin.map(|margin| margin.0), 2),
            &known(row.margin.map(|margin| margin.1), 2),
            &row.id,
            row.kind,
            &row.numbers.to_string(),
            &row.depth
                .map_or(String::new(), |depth| format!("{depth:.4e}")),
            &known(row.angle_deg, 1),
            &row.level
                .map_or(String::new(), |level| format!("{level:.4e}")),
            row.unit,
            &known(row.field_hz, 2),
            row.finding,
        ])
    }

    fn add_unreadable(&mut self, name: &str, _error: &anyhow::Error) -> anyhow::Result<()> {
        let mut row = [""; COLUMNS.len()];
        (row[0], row[1]) = (name, "unreadable");
        self.0.add(&row)
    }

    fn write(&mut self) -> anyhow::Result<()> {
        self.0.write()
    }
}

/// Columns of names at most this wide; a longer name loses its begin.
const WIDEST_NAME: usize = 40;

/// A table for people, row by row.
#[derive(Clone, Copy)]
pub struct BriefTable {
    name: usize,
}

impl BriefTable {
    /// For captures of these names.
    pub fn new(captures: &[PathBuf]) -> Self {
        let lengths = captures
            .iter()
            .map(|path| path.display().to_string().chars().count());
        Self {
            name: lengths.max().unwrap_or(0).clamp(7, WIDEST_NAME),
        }
    }

    /// The line of titles.
    pub fn titles(&self) -> String {
        self.line(&[
            "capture",
            "margin dB",
            "number",
            "depth %",
            "angle",
            "field",
            "finding",
        ])
    }

    /// The line of a capture.
    pub fn row(&self, decoded: &Decoded) -> String {
        let row = Row::of(decoded);
        let dash = || String::from("–");
        let margin = row.margin.map_or_else(dash, |(db, deviation_db)| {
            // The column has tenths: nothing is known better in it.
            format!("{db:+.1}±{:.1}", deviation_db.max(0.1))
        });
        let number = match decoded.identities().first() {
            Some(identity) if row.numbers > 1 => format!("{identity} +{}", row.numbers - 1),
            Some(identity) => identity.to_string(),
            None => dash(),
        };
        let level = |level: f64| match row.unit {
            "V" => format!("{} V", significant(level)),
            "full scale" => format!("{} FS", significant(level)),
            _ => significant(level),
        };
        self.line(&[
            decoded.name(),
            &margin,
            &number,
            &row.depth
                .map_or_else(dash, |depth| significant(100.0 * depth)),
            &row.angle_deg
                .map_or_else(dash, |angle_deg| format!("{angle_deg:.0}°")),
            &row.level.map_or_else(dash, level),
            if row.finding.is_empty() {
                "–"
            } else {
                row.finding
            },
        ])
    }

    fn line(&self, cells: &[&str; 7]) -> String {
        let [name, margin, number, depth, angle, field, finding] = cells;
        let skipped = name.chars().count().saturating_sub(self.name);
        let name: String = if skipped > 0 {
            format!("…{}", name.chars().skip(skipped + 1).collect::<String>())
        } else {
            (*name).into()
        };
        let width = self.name;
        format!(
            "{name:width$}  {margin:>9}  {number:20}  {depth:>7}  {angle:>5}  {field:>9}  {finding}\n"
        )
    }
}
