//! What findings need beside the numbers, measured on what was received.

mod lines;

use num_complex::{Complex32, Complex64};

use super::proof::Measured;
use super::reception::Reception;
use super::seen::Seen;
use super::signal::{Kind, Samples, Signal};
use super::survey::{
    OfSamples, Survey, activity, around, bare, between_headers, brief, edges, headers, in_step,
    jitter_s, of_amplitudes, presence, restarts, smeared, step, stream,
};
use crate::receiver::dsp::phasor::Oscillator;
use crate::receiver::dsp::tones::Spectrum;
use crate::receiver::field::pieces::Piece;
use crate::receiver::field::track::{BLOCK, block_means, phase_advance, track};
use crate::receiver::fold::pulse_noise::{noise_between_telegrams, pulse_variance};
use crate::receiver::tags::attempt::Attempt;
use lines::lines;

/// Candidates likelier wrong than this are noise's own, and nothing is measured along them.
const WORTH_FOLLOWING: f64 = 0.01;

/// The number, or the candidate that is likely enough, along which is measured.
fn best(reception: &Reception) -> Option<&Attempt> {
    let likely = |reading: &&Measured| reading.attempt.decision.odds_wrong < WORTH_FOLLOWING;
    let candidate = || reception.candidate.as_ref().filter(likely);
    let read = reception.readings.first().map(|reading| &**reading);
    let reading = read.or_else(candidate)?;
    Some(&reading.attempt)
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
            let raw = seen.over(piece);
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
            self.around = around(seen.over(piece), piece, seen.clock_hz);
        }
        self.presence = presence(&piece.ripple, between_telegrams, real);
        // What does not fold has lines that pass for stray tones.
        let whole = (!real && !piece.tones.is_empty()).then(|| untouched(seen.over(piece)));
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
