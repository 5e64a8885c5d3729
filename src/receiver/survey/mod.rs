//! What can be measured of a capture beside the numbers in it: the digitiser, the field's edges, interference, mains hum,
//! and whatever of a ripple is there when no number could be read. Made for findings; reading does not depend on it.

mod activity;
mod around;
mod bare;
mod digitiser;
mod hum;
mod lines;
mod presence;
mod restarts;
mod ring;
mod step;

pub use activity::{Activity, Stream, activity, stream};
pub use around::{Around, Hump, around};
pub use bare::{Bare, bare};
pub use digitiser::{Levels, levels};
pub use hum::{Hum, of_amplitudes, of_samples};
pub use lines::{Line, folded_hz, lines};
pub use presence::{Presence, presence};
pub use restarts::{Restarts, restarts};
pub use ring::{Edges, Ring, edges};
pub use step::{Step, step};

use super::acquire::BoundaryPulses;
use super::fold::TELEGRAM;
use super::pieces::Piece;
use super::reception::{Reception, Seen};
use super::signal::{Kind, Samples, Signal};

/// Candidates likelier wrong than this are noise's own, and nothing is measured along them.
const WORTH_FOLLOWING: f64 = 0.01;

/// Measurements of one capture; what its length or kind does not allow is `None`.
#[derive(Clone, Debug, Default)]
pub struct Survey {
    /// The digitiser's steps and limits; real samples only.
    pub levels: Option<Levels>,
    /// Steady tones away from the field, strongest first, as the samples show them.
    pub lines: Vec<Line>,
    /// When the field was on, with its rings at the edges.
    pub edges: Edges,
    /// Noise and interference beside the field, the ripple taken out.
    pub around: Option<Around>,
    /// Mains hum added to the samples, relative to the field (or in their unit without one).
    pub added_hum: Option<Hum>,
    /// Mains hum in the field's level, relative to it.
    pub field_hum: Option<Hum>,
    /// Ripple repeating at the tag's rate, read or not.
    pub presence: Option<Presence>,
    /// The bits of the folded telegram as they stand.
    pub bare: Option<Bare>,
    /// Biphase data without folding.
    pub stream: Option<Stream>,
    /// When a ripple was there.
    pub activity: Option<Activity>,
    /// Restarts of the telegram of the first number.
    pub restarts: Option<Restarts>,
    /// How the ripple passes from one load state to the other.
    pub step: Option<Step>,
    /// Noise variance (each part) of one boundary pulse relative to the field.
    pub noise_var: Option<f64>,
    /// Impulses cut out of the ripple.
    pub impulses: usize,
    /// Seconds of ripple looked at.
    pub seconds: f64,
}

impl Survey {
    /// Measures what the receiver saw.
    pub fn of(signal: &Signal<'_>, reception: &Reception) -> Self {
        let real = !reception.kind.has_carrier();
        let mut survey = Self::default();
        if let Samples::Real(samples) = signal.samples
            && reception.kind != Kind::Logic
        {
            survey.levels = levels(samples);
            survey.added_hum = of_samples(samples, reception.rate_hz);
        }
        let Some(seen) = &reception.seen else {
            return survey;
        };
        if !real {
            survey.lines = lines(signal.samples, reception);
            survey.edges = edges(&seen.cycles);
        }
        survey.seconds = seen.pieces.iter().map(|p| p.to_s - p.from_s).sum();
        survey.impulses = seen.pieces.iter().map(|p| p.impulses).sum();
        let longest = seen
            .pieces
            .iter()
            .max_by(|a, b| a.ripple.len().cmp(&b.ripple.len()));
        let Some(piece) = longest else {
            return survey;
        };
        survey.along_piece(seen, piece, reception, real);
        survey
    }

    fn along_piece(&mut self, seen: &Seen, piece: &Piece, reception: &Reception, real: bool) {
        let pulses = BoundaryPulses::new(&piece.ripple);
        self.noise_var = [false, true]
            .into_iter()
            .filter_map(|inverts| pulses.noise_between_telegrams(inverts, real))
            .min_by(f64::total_cmp);
        if !real {
            let raw = raw_values(seen, piece);
            self.around = around(raw, piece, seen.clock_hz);
            self.field_hum = of_amplitudes(raw, seen.clock_hz);
        }
        self.presence = presence(&piece.ripple, real);
        self.stream = stream(&piece.ripple, real);
        self.activity = activity(&piece.ripple, real, seen.clock_hz);
        let best = reception.readings.first().or_else(|| {
            reception
                .candidate
                .as_ref()
                .filter(|c| c.attempt.decision.odds_wrong < WORTH_FOLLOWING)
        });
        if let Some(reading) = best {
            let attempt = &reading.attempt;
            self.step = step(&piece.ripple, attempt, real);
            if reception.readings.len() == 1 {
                self.restarts = restarts(&piece.ripple, attempt, seen.clock_hz);
            }
        }
        if let Some(presence) = &self.presence {
            self.bare = bare(&piece.ripple, presence, real);
        }
    }
}

/// The field's own values over a piece.
fn raw_values<'a>(seen: &'a Seen, piece: &Piece) -> &'a [num_complex::Complex32] {
    let values = &seen.cycles.values;
    let from = (piece.from_s * seen.cycles.field_hz).round() as usize;
    let from = from.saturating_sub(seen.cycles.first).min(values.len());
    let to = (from + piece.ripple.len()).min(values.len());
    &values[from..to]
}

/// Telegrams in so many values.
fn telegrams(values: usize) -> f64 {
    values as f64 / TELEGRAM as f64
}
