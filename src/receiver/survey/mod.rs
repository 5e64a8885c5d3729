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
mod line;
mod presence;
mod record;
mod restarts;
mod ring;
mod smeared;
mod step;

pub use activity::{Activity, LONGEST_PERIOD, Stream, activity, headers, stream};
pub use around::{Around, Hump, around};
pub use bare::{Bare, bare};
pub use brief::{Brief, brief};
pub use coded::frames_of_coder;
pub use digitiser::{Levels, levels};
pub use hum::{Hum, MAINS_HZ, of_amplitudes, of_samples};
pub use in_step::{InStep, in_step};
pub use line::{Line, folded_hz};
pub use presence::{Presence, presence};
pub use record::{is_peaks, jitter_s};
pub use restarts::{Restarts, between_headers, restarts};
pub use ring::{Edges, Ring, edges};
pub use smeared::{Smeared, smeared};
pub use step::{Step, step};

use super::signal::{Samples, Signal};
use crate::receiver::fold::sums::TELEGRAM;

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
    pub(super) levels: Option<Levels>,
    pub(super) hum: Option<Hum>,
    pub(super) peaks: bool,
    pub(super) coded_frames: Option<usize>,
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

/// Telegrams in so many values.
fn telegrams(values: usize) -> f64 {
    values as f64 / TELEGRAM as f64
}
