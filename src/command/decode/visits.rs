//! `--visits`: one row a visit, of all captures.

use std::io::Write;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use anyhow::{Context, ensure};
use fieldripple::capture::write_atomically;
use fieldripple::decode::{Decoded, Event, Visit};

use super::super::figure_file::replaces;

/// Columns; times from the capture's first sample.
const COLUMNS: [&str; 10] = [
    "capture",
    "from_s",
    "to_s",
    "id",
    "kind",
    "depth",
    "angle_deg",
    "ebn0_db",
    "spare_db",
    "odds_wrong",
];

/// A gate that is followed for a night has its list written this often, so that a power cut takes little of it.
const KEEP: Duration = Duration::from_secs(5);

/// The rows, and the file they go to.
pub struct VisitsOutput<'a> {
    path: &'a Path,
    rows: csv::Writer<Vec<u8>>,
    kept: Option<Instant>,
}

impl<'a> VisitsOutput<'a> {
    /// A list does not replace a capture.
    pub fn new(path: &'a Path, captures: &[PathBuf]) -> anyhow::Result<Self> {
        ensure!(
            !captures.iter().any(|capture| replaces(path, capture)),
            "{}: --visits would replace the capture itself; give another name",
            path.display()
        );
        let mut rows = csv::Writer::from_writer(Vec::new());
        rows.write_record(COLUMNS)?;
        Ok(Self {
            path,
            rows,
            kept: None,
        })
    }

    /// Adds the visits of a capture.
    pub fn add(&mut self, decoded: &Decoded) -> anyhow::Result<()> {
        for visit in decoded.visits().unwrap_or_default() {
            self.add_visit(decoded.name(), visit)?;
        }
        Ok(())
    }

    /// Adds the visit of an event that is one, and writes it down.
    pub fn add_event(&mut self, stream: &str, event: &Event) -> anyhow::Result<()> {
        match event {
            Event::VisitEnded(visit) => {
                self.add_visit(stream, visit)?;
                self.keep()
            }
            _ => Ok(()),
        }
    }

    fn add_visit(&mut self, capture: &str, visit: &Visit) -> anyhow::Result<()> {
        let known = |value: Option<f64>, digits: usize| {
            value.map_or(String::new(), |value| format!("{value:.digits$}"))
        };
        self.rows.write_record([
            capture.to_string(),
            format!("{:.3}", visit.from_s),
            format!("{:.3}", visit.to_s),
            visit.identity.digits(),
            visit.kind.to_string(),
            known(visit.depth, 6),
            known(visit.angle_deg, 1),
            format!("{:.1}", visit.ebn0_db),
            format!("{:.1}", visit.spare_db),
            format!("{:.1e}", visit.odds_wrong),
        ])?;
        Ok(())
    }

    /// Writes the file as far as it is known, not too often.
    pub fn keep(&mut self) -> anyhow::Result<()> {
        let due = self.kept.is_none_or(|kept| kept.elapsed() >= KEEP);
        if due { self.write() } else { Ok(()) }
    }

    /// Writes the file.
    pub fn write(&mut self) -> anyhow::Result<()> {
        self.kept = Some(Instant::now());
        self.rows.flush()?;
        let rows = self.rows.get_ref();
        write_atomically(self.path, |file| file.write_all(rows))
            .with_context(|| format!("{}: the visits cannot be written", self.path.display()))
    }
}
