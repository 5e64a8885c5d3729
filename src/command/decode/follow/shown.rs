//! What the meter shows: how things stand, and what is kept of what was.

use std::time::Duration;

use fieldripple::decode::{Event, State};

/// What the meter shows.
#[derive(Clone, Debug, Default)]
pub struct Shown {
    /// Name of the stream.
    pub name: String,
    /// Unit of the field's level.
    pub unit: &'static str,
    /// How things stand.
    pub state: Option<State>,
    /// Largest margin since the start or the last reset, dB.
    pub peak_db: Option<f64>,
    /// Number last read and the moment it was told, seconds.
    pub last_number: Option<(String, f64)>,
    /// Visits that ended.
    pub visits: u64,
    /// How long no samples came.
    pub without: Duration,
    /// The picture is held.
    pub held: bool,
}

impl Shown {
    /// Takes an event.
    pub fn take(&mut self, event: &Event) {
        match event {
            Event::NumberRead(read) => {
                self.last_number = Some((read.identity.to_string(), read.time_s));
            }
            Event::VisitEnded(_) => self.visits += 1,
            Event::State(state) => {
                let margins = [self.peak_db, state.margin_db];
                self.peak_db = margins.into_iter().flatten().reduce(f64::max);
                self.state = Some(state.clone());
            }
            _ => {}
        }
    }
}
