//! What can be measured of a capture beside the numbers in it: the digitiser, the field's edges, interference, mains hum,
//! and whatever of a ripple is there when no number could be read. Made for findings; reading does not depend on it.

mod activity;
mod around;
mod bare;
mod brief;
mod coded;
mod digitiser;
mod hum;
mod in_step;
mod lines;
mod presence;
mod record;
mod restarts;
mod ring;
mod smeared;
mod step;

pub use activity::{Activity, Stream, activity, headers, stream};
pub use around::{Around, Hump, around};
pub use bare::{Bare, bare};
pub use brief::{Brief, brief};
pub use coded::frames_of_coder;
pub use digitiser::{Levels, levels};
pub use hum::{Hum, MAINS_HZ, of_amplitudes, of_samples};
pub use in_step::{InStep, in_step};
pub use lines::{Line, folded_hz, lines};
pub use presence::{Presence, presence};
pub use record::{is_peaks, jitter_s};
pub use restarts::{Restarts, between_headers, restarts};
pub use ring::{Edges, Ring, edges};
pub use smeared::{Smeared, smeared};
pub use step::{Step, step};

use num_complex::{Complex32, Complex64};

use super::proof::Measured;
use super::reception::{Reception, Seen};
use super::signal::{Kind, Samples, Signal};
use crate::receiver::dsp::phasor::Oscillator;
use crate::receiver::dsp::tones::Spectrum;
use crate::receiver::field::pieces::Piece;
use crate::receiver::field::track::{BLOCK, block_means, phase_advance, track};
use crate::receiver::fold::pulse_noise::{noise_between_telegrams, pulse_variance};
use crate::receiver::fold::sums::TELEGRAM;
use crate::receiver::tags::read::Attempt;

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
    /// A field that is on too briefly for any part of a telegram.
    pub brief: Option<Brief>,
    /// Noise and interference beside the field, the ripple taken out.
    pub around: Option<Around>,
    /// Mains hum added to the samples, relative to the field (or in their unit without one).
    pub added_hum: Option<Hum>,
    /// Mains hum in the field's level, relative to it.
    pub field_hum: Option<Hum>,
    /// The samples are the least and the largest values of intervals.
    pub peaks: bool,
    /// Samples in a frame of the lossy coder they went through.
    pub coded_frames: Option<usize>,
    /// Standard deviation of the instants of sampling, seconds, where they stray.
    pub jitter_s: Option<f64>,
    /// What changes the field in step, many times a second.
    pub in_step: Option<InStep>,
    /// Ripple repeating at the tag's rate, read or not.
    pub presence: Option<Presence>,
    /// What repeats from telegram to telegram, where no number was read.
    pub smeared: Option<Smeared>,
    /// The bits of the folded telegram as they stand.
    pub bare: Option<Bare>,
    /// Biphase data without folding.
    pub stream: Option<Stream>,
    /// When a ripple was there.
    pub activity: Option<Activity>,
    /// Restarts of the telegram: of the one number read, or between headers seen.
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

/// What the samples show before anything is read.
#[derive(Clone, Copy, Debug, Default)]
pub struct OfSamples {
    levels: Option<Levels>,
    hum: Option<Hum>,
    peaks: bool,
    coded_frames: Option<usize>,
}

impl OfSamples {
    /// Of real samples; complex ones were not made by one digitiser.
    pub fn of(signal: &Signal<'_>, rate_hz: f64) -> Self {
        match signal.samples {
            Samples::Real(samples) if !signal.logic => Self {
                levels: levels(samples),
                hum: of_samples(samples, rate_hz),
                peaks: is_peaks(samples),
                coded_frames: frames_of_coder(samples),
            },
            _ => Self::default(),
        }
    }
}

/// The number, or the candidate that is likely enough, along which is measured.
fn best(reception: &Reception) -> Option<&Attempt> {
    let likely = |reading: &&Measured| reading.attempt.decision.odds_wrong < WORTH_FOLLOWING;
    let candidate = || reception.candidate.as_ref().filter(likely);
    let read = reception.readings.first().map(|reading| &**reading);
    let reading = read.or_else(candidate)?;
    Some(&reading.attempt)
}

impl Survey {
    /// Measures what the receiver saw: the field on one thread, the ripple on another.
    pub fn of(samples: OfSamples, spectrum: Option<&Spectrum>, reception: &Reception) -> Self {
        let seen = reception.seen.as_ref();
        let longest = seen.and_then(|seen| {
            let pieces = seen.pieces.iter();
            let piece = pieces.max_by(|a, b| a.ripple.len().cmp(&b.ripple.len()))?;
            Some((seen, piece))
        });
        let (mut survey, beside) = crate::threads::join(
            || {
                let mut survey = Self::default();
                if let Some((seen, piece)) = longest {
                    survey.of_ripple(seen, piece, reception);
                }
                survey
            },
            || {
                let mut survey = Self::default();
                if reception.kind.has_carrier() {
                    survey.of_field(spectrum, reception, longest);
                }
                if let Some((seen, piece)) = longest {
                    survey.restarts_of_one(seen, piece, reception);
                }
                survey
            },
        );
        if reception.kind != Kind::Logic {
            survey.levels = samples.levels;
            survey.added_hum = samples.hum;
        }
        Self {
            lines: beside.lines,
            edges: beside.edges,
            brief: beside.brief,
            field_hum: beside.field_hum,
            in_step: beside.in_step,
            peaks: samples.peaks,
            coded_frames: samples.coded_frames,
            restarts: beside.restarts.or(survey.restarts),
            ..survey
        }
    }

    fn of_field(
        &mut self,
        spectrum: Option<&Spectrum>,
        reception: &Reception,
        longest: Option<(&Seen, &Piece)>,
    ) {
        if let Some(seen) = &reception.seen {
            // Jumps of the field's phase spread its line over many.
            if seen.cycles.gaps.is_empty() {
                self.lines = lines(spectrum, reception);
            }
            self.edges = edges(&seen.cycles);
            // In a folded record a click of anything passes for a ping.
            if !reception.field.present && reception.kind != Kind::Folded {
                self.brief = brief(&seen.cycles);
            }
        }
        if let Some((seen, piece)) = longest {
            let raw = raw_values(seen, piece);
            self.field_hum = of_amplitudes(raw, seen.clock_hz);
            self.in_step = in_step(&self.lines, piece.field.frequency_hz, || untouched(raw));
        }
    }

    fn restarts_of_one(&mut self, seen: &Seen, piece: &Piece, reception: &Reception) {
        if reception.readings.len() == 1
            && let Some(attempt) = best(reception)
        {
            self.restarts = restarts(&piece.ripple, attempt, seen.clock_hz);
        }
    }

    fn of_ripple(&mut self, seen: &Seen, piece: &Piece, reception: &Reception) {
        let real = !reception.kind.has_carrier();
        self.seconds = seen.pieces.iter().map(|p| p.to_s - p.from_s).sum();
        self.impulses = seen.pieces.iter().map(|p| p.impulses).sum();
        let between_telegrams = noise_between_telegrams(&piece.ripple, real);
        self.noise_var = Some(match between_telegrams {
            Some([same, inverted]) => same.min(inverted),
            // Too short to compare telegrams: everything counts as noise.
            None => pulse_variance(&piece.ripple, real),
        });
        if !real {
            self.around = around(raw_values(seen, piece), piece, seen.clock_hz);
        }
        self.presence = presence(&piece.ripple, between_telegrams, real);
        // What does not fold has lines that pass for stray tones.
        let whole = (!real && !piece.tones.is_empty()).then(|| untouched(raw_values(seen, piece)));
        let unread = reception.readings.is_empty();
        if unread {
            self.smeared = smeared(&piece.ripple, between_telegrams, real).or_else(|| {
                let whole = whole.as_ref()?;
                smeared(whole, noise_between_telegrams(whole, real), real)
            });
        }
        let views = std::iter::once(piece.ripple.as_slice()).chain(whole.as_deref());
        for ripple in views {
            self.unfolded(ripple, seen.clock_hz, unread, real);
        }
        if let Some(attempt) = best(reception) {
            self.step = step(&piece.ripple, attempt, real);
        }
        if let Some(presence) = &self.presence {
            self.bare = bare(&piece.ripple, presence, real);
        }
    }
}

impl Survey {
    /// Measures what needs the samples and the field found in them.
    pub fn look_at_samples(&mut self, signal: &Signal<'_>, reception: &Reception) {
        let (Samples::Real(samples), Some(field_hz)) =
            (signal.samples, reception.field.frequency_hz)
        else {
            return;
        };
        if matches!(reception.kind, Kind::Direct | Kind::Folded) && reception.field.on.len() == 1 {
            let step = self.levels.as_ref().map_or(0.0, |levels| levels.step);
            self.jitter_s = jitter_s(samples, field_hz / reception.rate_hz, field_hz, step);
        }
    }

    /// What is seen of a ripple without folding, where that is more than another ripple showed.
    fn unfolded(&mut self, ripple: &[Complex32], clock_hz: f64, unread: bool, real: bool) {
        if let Some(this) = stream(ripple, real)
            && self
                .stream
                .as_ref()
                .is_none_or(|other| this.worst() < other.worst())
        {
            self.stream = Some(this);
        }
        if let Some(this) = activity(ripple, real, clock_hz)
            && self
                .activity
                .as_ref()
                .is_none_or(|other| this.scatter < other.scatter)
        {
            self.activity = Some(this);
        }
        if unread
            && let Some(this) = between_headers(&headers(ripple, real), clock_hz)
            && self
                .restarts
                .as_ref()
                .is_none_or(|other| this.windows > other.windows)
        {
            self.restarts = Some(this);
        }
    }
}

/// The ripple with only the field removed: lines of a ripple that does not repeat pass for stray tones, and what
/// is left without them is no ripple any more.
fn untouched(raw: &[Complex32]) -> Vec<Complex32> {
    let slope = phase_advance(&block_means(raw, BLOCK)) / BLOCK as f64;
    let mut values = raw.to_vec();
    Oscillator::new(-slope / std::f64::consts::TAU).turn(&mut values, Complex64::ONE);
    track(&values).take_off(&mut values);
    values
}

/// The field's own values over a piece.
fn raw_values<'a>(seen: &'a Seen, piece: &Piece) -> &'a [Complex32] {
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
