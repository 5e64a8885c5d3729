//! `--visits`: one row a visit, of all captures.

use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use fieldripple::decode::{Decoded, Event, Visit};

use super::file_output::FileOutput;
use super::rows::{Rows, known};

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

/// A row for each visit, and the file they go to.
pub struct VisitsOutput<'a> {
    rows: Rows<'a>,
    kept: Option<Instant>,
}

impl<'a> VisitsOutput<'a> {
    /// A list does not replace a capture.
    pub fn new(path: &'a Path, captures: &[PathBuf]) -> anyhow::Result<Self> {
        let rows = Rows::new(path, "--visits", captures, &COLUMNS)?;
        Ok(Self { rows, kept: None })
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
        self.rows.add(&[
            capture,
            &known(Some(visit.from_s), 3),
            &known(Some(visit.to_s), 3),
            &visit.identity.digits(),
            visit.kind,
            &known(visit.depth, 6),
            &known(visit.angle_deg, 1),
            &known(Some(visit.ebn0_db), 1),
            &known(Some(visit.spare_db), 1),
            &format!("{:.1e}", visit.odds_wrong),
        ])
    }

    /// Writes the file as far as it is known, not too often.
    pub fn keep(&mut self) -> anyhow::Result<()> {
        let due = self.kept.is_none_or(|kept| kept.elapsed() >= KEEP);
        if due { self.write() } else { Ok(()) }
    }
}

impl FileOutput for VisitsOutput<'_> {
    fn add(&mut self, decoded: &Decoded) -> anyhow::Result<()> {
        for visit in decoded.visits().unwrap_or_default() {
            self.add_visit(decoded.name(), visit)?;
        }
        Ok(())
    }

    fn write(&mut self) -> anyhow::Result<()> {
        self.kept = Some(Instant::now());
        self.rows.write()
    }
}
