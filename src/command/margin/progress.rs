//! While it runs: a bar with the time left, and the table saved now and then.

use std::path::Path;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use fieldripple::margin::{Progress, Table};
use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

use super::kept::write_csv;

/// Time between two saves: what a power cut may cost.
const SAVE_EVERY: Duration = Duration::from_secs(10);

/// What is done after every trial.
pub struct Watch<'a> {
    bar: ProgressBar,
    csv: Option<&'a Path>,
    saved: Mutex<Instant>,
    done_before: u64,
}

impl<'a> Watch<'a> {
    /// `done_before` trials are an earlier run's: they say nothing about the time left.
    pub fn new(csv: Option<&'a Path>, done_before: u64) -> Self {
        // On standard error, and only if that is a terminal.
        let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr());
        let style = ProgressStyle::with_template(
            "{bar:40} {pos} of {len} captures, {elapsed} gone, {eta} left",
        );
        if let Ok(style) = style {
            bar.set_style(style);
        }
        Self {
            bar,
            csv,
            saved: Mutex::new(Instant::now()),
            done_before,
        }
    }

    pub fn see(&self, progress: Progress, table: &Table) {
        self.bar.set_length(progress.wanted - self.done_before);
        self.bar.set_position(progress.done - self.done_before);
        if let (Some(csv), Ok(mut saved)) = (self.csv, self.saved.try_lock())
            && saved.elapsed() > SAVE_EVERY
        {
            // A disk that is full now may have room at the end, where a failure is reported.
            let _ = write_csv(csv, table);
            *saved = Instant::now();
        }
    }

    pub fn end(&self) {
        self.bar.finish_and_clear();
    }
}
