//! Samples as they come → what happens: a field comes and goes, a number is read, a visit ends.
//!
//! Each second is looked at closely with the receiver that reads whole captures, and in between the last part of it is glanced at for
//! numbers. What is said of a look goes through trackers that know what was said before, so an event is told once and a finding does
//! not flicker.

mod doubt;
mod event;
mod field_watch;
mod findings_watch;
mod heard;
mod visit;
mod visits;

pub use event::{Event, NumberRead, State, Summary};
pub use visit::Visit;

use super::margin::margin;
use super::window::Window;
use super::{DecodeError, Settings};
use crate::findings::{Finding, findings};
use crate::receiver::{LongSums, Reading, Reception, Signal, glance, receive};
use doubt::Demand;
use field_watch::FieldWatch;
use findings_watch::{FindingsWatch, denies_a_number};
use heard::{Heard, Shown};
use visits::Visits;

/// Seconds looked at closely, once a second: 33 telegrams gain 15 dB, and a hand holds a tag still for no longer. What the numbers are
/// not read from (other kinds of tags, findings) is looked for then.
const LOOK_S: f64 = 1.0;

/// Seconds of a glance, in which only numbers are read: 13 telegrams, 4 dB less than in a close look, at a fifth of its cost.
const GLANCE_S: f64 = 0.4;

/// Seconds from one glance to the next. What begins right after one is in the next; with the two telegrams that even a strong tag
/// needs, and the close look that may come first (0.1 to 0.2 s), it is told within half a second.
const HOP_S: f64 = 0.2;

/// Glances to a close look.
const HOPS: u64 = 5;

/// Most samples in a look: 12 MB, and three times as much while it is looked at. Above 3 MS/s a look is shorter than a second.
const MOST_SAMPLES: usize = 3 << 20;

/// Fewest samples in a look: below this rate nothing can carry a tag, and looks would hold next to nothing.
const LEAST_RATE_HZ: f64 = 1000.0;

/// A streaming receiver: samples go in as they come, in blocks of any size, and events come out. What it says does not depend on how
/// the samples were divided. Memory does not grow with what has passed, but for the list of numbers in the summary (at most 4096).
///
/// ```
/// use fieldripple::decode::{Live, Settings};
///
/// let mut live = Live::new(500e3, &Settings::new())?;
/// for block in [[0.0f32; 5000]; 10] {
///     for event in live.push(&block) {
///         println!("{}", serde_json::to_string(&event)?);
///     }
/// }
/// let (_events, summary) = live.finish();
/// assert!(!summary.is_read());
/// # Ok::<(), Box<dyn std::error::Error>>(())
/// ```
pub struct Live {
    settings: Settings,
    rate_hz: f64,
    centre_hz: f64,
    logic: bool,
    /// The samples of the next look, the oldest first.
    ring: Window,
    /// Samples that came before the ring's first.
    dropped: u64,
    /// Samples that have come when the next look is due.
    due: u64,
    /// Samples that had come at the last look of either kind.
    seen: u64,
    /// … and at the last close one.
    looked_at: u64,
    hop: u64,
    hurried: bool,
    hops: u64,
    /// What the last close look said is missing, dB.
    margin_db: Option<f64>,
    state: State,
    field: FieldWatch,
    visits: Visits,
    findings: FindingsWatch,
    /// What close looks are too weak for, added up.
    sums: LongSums,
    /// What the last close look could measure.
    shown: Shown,
    /// Close looks.
    looks: u64,
    told: Vec<Event>,
}

impl Live {
    /// A receiver for samples at `rate_hz` samples a second. Of the settings `odds`, `usual_fields`, `expect` and `centre_hz` apply.
    ///
    /// # Errors
    /// [`DecodeError::LiveRate`] for a rate that is not finite or below 1000 Hz.
    pub fn new(rate_hz: f64, settings: &Settings) -> Result<Self, DecodeError> {
        if !(rate_hz.is_finite() && rate_hz >= LEAST_RATE_HZ) {
            return Err(DecodeError::LiveRate { rate_hz });
        }
        let hop = ((HOP_S * rate_hz).round() as u64).min(MOST_SAMPLES as u64 / HOPS);
        Ok(Self {
            rate_hz,
            centre_hz: settings.centre_hz.unwrap_or(super::opened::USUAL_CENTRE_HZ),
            logic: false,
            ring: Window::Real(Vec::new()),
            dropped: 0,
            due: hop,
            seen: 0,
            looked_at: 0,
            hop,
            hurried: false,
            hops: 0,
            margin_db: None,
            state: State::default(),
            field: FieldWatch::default(),
            visits: Visits::default(),
            findings: FindingsWatch::default(),
            sums: LongSums::new(settings.terms()),
            shown: Shown::default(),
            looks: 0,
            told: Vec::new(),
            settings: settings.clone(),
        })
    }

    /// How its samples are to be taken, where a file says so.
    pub(super) fn centred(self, centre_hz: f64, logic: bool) -> Self {
        Self {
            centre_hz,
            logic,
            ..self
        }
    }

    /// Close looks and one glance between two of them only, while samples wait that have come already. Nothing is left out, but told
    /// later.
    pub fn hurry(&mut self, hurried: bool) {
        self.hurried = hurried;
    }

    /// Takes the next samples and says what happened. A sample that is not finite counts as 0.
    pub fn push(&mut self, samples: &[f32]) -> impl Iterator<Item = Event> + use<> {
        self.push_window(&Window::Real(samples.to_vec()))
    }

    /// The same with real or complex samples; they must stay the one or the other.
    pub fn push_window(&mut self, window: &Window) -> impl Iterator<Item = Event> + use<> {
        let mut taken = 0;
        let all = window.samples().len();
        while taken < all {
            let room = self.due - self.samples();
            let next = usize::try_from(room).unwrap_or(usize::MAX).min(all - taken);
            self.ring.append(window, taken..taken + next);
            taken += next;
            if self.samples() == self.due {
                self.hops += 1;
                // In a hurry only the seam of two close looks is glanced at: what lies across it is little in either.
                let wanted = !self.hurried || self.hops % HOPS == 1;
                if wanted && self.sees_on() {
                    self.glance();
                }
                if self.hops.is_multiple_of(HOPS) {
                    let found = self.look();
                    self.findings.look(found, self.seconds(), &mut self.told);
                    self.tell_state();
                }
                self.due += self.hop;
                self.forget();
            }
        }
        std::mem::take(&mut self.told).into_iter()
    }

    /// No more samples will come: looks at what is left, ends what is open, and sums up.
    pub fn finish(mut self) -> (Vec<Event>, Summary) {
        if self.samples() > self.looked_at {
            // Its findings say nothing new: it holds much of what the look before held.
            self.look();
            self.tell_state();
        }
        let end_s = self.seconds();
        let sums = std::mem::replace(&mut self.sums, LongSums::new(self.settings.terms()));
        self.take_sums(&sums.finish());
        self.field.finish(end_s, &mut self.told);
        self.visits.finish(&mut self.told);
        let summary = Summary {
            samples: self.samples(),
            seconds: end_s,
            looks: self.looks,
            visits: self.visits.ended(),
            numbers: self.visits.numbers(),
            field_s: self.field.on_s(),
            expected: self.settings.expected,
        };
        (self.told, summary)
    }

    /// Samples that have come.
    pub fn samples(&self) -> u64 {
        self.dropped + self.ring.samples().len() as u64
    }

    /// Seconds of signal that have come.
    pub fn seconds(&self) -> f64 {
        self.samples() as f64 / self.rate_hz
    }

    /// The samples of the last so many seconds, as the receiver takes them, and the moments between which they lie.
    fn last(&self, seconds: f64) -> (Signal<'_>, (f64, f64)) {
        self.newest(((seconds * self.rate_hz).round() as usize).min(MOST_SAMPLES))
    }

    fn newest(&self, most: usize) -> (Signal<'_>, (f64, f64)) {
        let skipped = self.ring.samples().len().saturating_sub(most);
        let from_s = (self.dropped + skipped as u64) as f64 / self.rate_hz;
        let signal = Signal {
            samples: self.ring.samples().from(skipped),
            rate_hz: Some(self.rate_hz),
            centre_hz: self.centre_hz,
            logic: self.logic,
        };
        (signal, (from_s, self.seconds()))
    }

    /// A glance now goes on where what was looked at before ends: else the next close look is waited for.
    fn sees_on(&self) -> bool {
        let glance = (GLANCE_S * self.rate_hz).round() as u64;
        self.seen + glance >= self.samples()
    }

    /// Reads numbers only.
    fn glance(&mut self) {
        let (signal, span_s) = self.last(GLANCE_S);
        let mut reception = glance(&signal, self.settings.terms());
        reception.shift(span_s.0);
        self.take(&reception, span_s, None);
        self.tell_state();
    }

    /// Looks for everything; returns the findings.
    fn look(&mut self) -> Vec<Finding> {
        let (signal, span_s) = self.last(LOOK_S);
        let count = signal.samples.len();
        let mut reception = receive(&signal, self.settings.terms());
        let mut found = findings(&reception, self.settings.odds);
        self.margin_db = margin(&reception, &found, self.settings.odds).map(|margin| margin.db);
        // The last look of a stream holds again what the one before it held.
        let unseen = (self.samples() - self.looked_at) as usize;
        let in_sums = if unseen + HOPS as usize >= count {
            self.sums.add(&reception, span_s.0)
        } else {
            let (rest, (from_s, _)) = self.newest(unseen);
            let rest = receive(&rest, self.settings.terms());
            self.sums.add(&rest, from_s)
        };
        reception.shift(span_s.0);
        self.looks += 1;
        self.shown = Shown::of(&reception);
        self.take(&reception, span_s, Some(self.looks));
        self.take_sums(&in_sums);
        self.looked_at = self.samples();
        // A second alone is too weak for a number that many of them gave.
        if self.visits.go_on_in_sums() {
            found.retain(|finding| !denies_a_number(finding));
        }
        found
    }

    fn take(&mut self, reception: &Reception, span_s: (f64, f64), close: Option<u64>) {
        let odds = self.settings.odds;
        let mut heard = Heard::all(reception, odds);
        self.field.look(reception, span_s.1, &mut self.told);
        let demand = Demand { odds, close };
        self.visits.look(&heard, span_s, demand, &mut self.told);
        heard.retain(|number| self.visits.is_open(number));
        if !heard.is_empty() {
            self.findings.number_read(span_s.1, &mut self.told);
        }
        self.seen = self.samples();
        self.state = self.state_of(reception, &heard, span_s.1);
    }

    /// Takes the numbers in sums that end now.
    fn take_sums(&mut self, found: &[Reading]) {
        let (odds, now_s) = (self.settings.odds, self.seconds());
        let heard: Vec<Heard> = (found.iter())
            .map(|reading| Heard::ripple(reading, self.shown, odds))
            .collect();
        let close = Some(self.looks);
        self.visits
            .sums(&heard, now_s, Demand { odds, close }, &mut self.told);
        if heard.iter().any(|number| self.visits.is_open(number)) {
            self.findings.number_read(now_s, &mut self.told);
        }
    }

    /// Nothing looks further back than a close look does.
    fn forget(&mut self) {
        let most = (LOOK_S * self.rate_hz).round() as usize;
        let surplus = self.ring.samples().len().saturating_sub(most);
        self.ring.drop_first(surplus);
        self.dropped += surplus as u64;
    }

    fn tell_state(&mut self) {
        self.state.finding = self.findings.foremost();
        self.told.push(Event::State(self.state.clone()));
    }

    fn state_of(&self, reception: &Reception, heard: &[Heard], now_s: f64) -> State {
        let there = self.field.is_there();
        let strongest = heard
            .iter()
            .filter_map(|heard| Some((heard, heard.there_at(now_s)?)))
            .max_by(|a, b| a.1.ebn0_db.total_cmp(&b.1.ebn0_db));
        State {
            time_s: now_s,
            field: there,
            frequency_hz: reception.field.frequency_hz.filter(|_| there),
            amplitude: reception.field.amplitude.filter(|_| there),
            number: strongest.map(|(heard, _)| heard.identity),
            depth: strongest.and_then(|(_, stay)| stay.depth),
            angle_deg: strongest.and_then(|(_, stay)| stay.angle_deg),
            margin_db: match strongest {
                Some((heard, stay)) => Some(heard.spare_over(stay, LOOK_S)),
                // A tag that has gone says nothing of now.
                None if heard.is_empty() && there => self.margin_db.filter(|db| *db <= 0.0),
                None => None,
            },
            finding: None,
        }
    }
}
