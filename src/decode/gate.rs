//! The windows of a capture → the visits of tags in it, by the receiver for streams.

use super::Settings;
use super::live::{Event, Live, Visit};
use super::window::Window;
use crate::receiver::Signal;

/// A capture that passes through the receiver for streams as it is read.
pub(super) struct Gate {
    settings: Settings,
    live: Option<Live>,
    from_s: f64,
    visits: Vec<Visit>,
}

impl Gate {
    pub fn new(settings: &Settings) -> Self {
        Self {
            settings: settings.clone(),
            live: None,
            from_s: 0.0,
            visits: Vec::new(),
        }
    }

    /// The next window, its first sample `from_s` after the capture's; `rate_hz` is what the receiver took. Nothing happens where no
    /// visits are wanted, or the rate is too low for a stream.
    pub fn pass(&mut self, signal: &Signal<'_>, window: &Window, from_s: f64, rate_hz: f64) {
        if !self.settings.visits {
            return;
        }
        if self.live.is_none() {
            self.from_s = from_s;
            let live = Live::new(rate_hz, &self.settings);
            self.live = live
                .ok()
                .map(|live| live.centred(signal.centre_hz, signal.logic));
        }
        if let Some(live) = &mut self.live {
            let events = live.push_window(window);
            self.visits
                .extend(events.filter_map(|event| ended(event, self.from_s)));
        }
    }

    /// The visits, where they were asked for.
    pub fn finish(mut self) -> Option<Vec<Visit>> {
        if let Some(live) = self.live {
            let (events, _) = live.finish();
            let from_s = self.from_s;
            self.visits
                .extend(events.into_iter().filter_map(|event| ended(event, from_s)));
        }
        self.settings.visits.then_some(self.visits)
    }
}

fn ended(event: Event, from_s: f64) -> Option<Visit> {
    match event {
        Event::VisitEnded(mut visit) => {
            visit.from_s += from_s;
            visit.to_s += from_s;
            Some(visit)
        }
        _ => None,
    }
}
