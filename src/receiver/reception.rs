//! What the receiver made of a capture.

use super::doubts::Doubts;
use super::other_kinds::OtherKinds;
use super::proof::{Measured, Reading};
use super::seen::Seen;
use super::signal::Kind;
use super::survey::{Levels, Survey};
use crate::receiver::field::clock_moves::ClockMoves;
use crate::receiver::field::gain_steps::GainStep;
use crate::receiver::field::near_fields::NearField;
use crate::receiver::field::other_field::OtherField;
use crate::receiver::field::pieces::Piece;

/// The field as received.
#[derive(Clone, Debug, Default)]
pub struct Field {
    /// A field (or, in envelopes, its rectified level or a tag's clock) was found.
    pub present: bool,
    /// Its frequency, Hz.
    pub frequency_hz: Option<f64>,
    /// Mean peak amplitude in the unit of the samples.
    pub amplitude: Option<f64>,
    /// Largest departure of the slowly tracked level from its mean, as a share.
    pub level_swing: Option<f64>,
    /// When it was on, seconds from the first sample.
    pub on: Vec<(f64, f64)>,
}

/// What the receiver made of a capture.
#[derive(Clone, Debug)]
pub struct Reception {
    /// How the field shows.
    pub kind: Kind,
    /// Samples per second used.
    pub rate_hz: f64,
    /// Nothing stated the rate: the field was taken as 134.2 kHz.
    pub rate_assumed: bool,
    /// The field's level is in the capture, so depths are relative to it; else they are in the unit of the samples.
    pub level_known: bool,
    /// The field.
    pub field: Field,
    /// Numbers read, strongest first.
    pub readings: Vec<Reading>,
    /// The best that did not qualify.
    pub candidate: Option<Measured>,
    /// Several tags answer, too alike to be told apart: none is read, or only one that is much stronger.
    pub tangled: bool,
    /// Nothing was read, and not every way of reading was tried: there are too many.
    pub gave_up: bool,
    /// Band looked at on each side of the field, Hz.
    pub band_hz: f64,
    /// Telegrams' worth of field in the capture.
    pub telegrams: f64,
    /// Windows that the capture was read in.
    pub windows: usize,
    /// Evidence adds up from one window to the next: the field was on nearly throughout, and the tag went on with it.
    pub windows_add_up: bool,
    /// Tags of other kinds.
    pub others: OtherKinds,
    /// Other fields so near to this one that the two beat slowly, strongest first; they were removed.
    pub beside: Vec<NearField>,
    /// Other fields nearly as strong as this one, farther away; they were removed.
    pub other_fields: Vec<OtherField>,
    /// How the field's frequency moves, if it does.
    pub clock: Option<ClockMoves>,
    /// Steps of the recorder's gain, which were made good.
    pub gain_steps: Vec<GainStep>,
    /// What speaks against what was stated of the capture.
    pub doubts: Doubts,
    /// What was looked at, for figures: the field's cycles and the ripple of each piece on the clock that was used.
    pub seen: Option<Seen>,
    /// What was measured beside the numbers, for findings.
    pub survey: Option<Survey>,
}

impl Field {
    /// The field over all pieces of a capture with a carrier.
    pub(super) fn over(pieces: &[Piece]) -> Self {
        let weight: f64 = pieces.iter().map(|p| p.field.weight).sum();
        if weight <= 0.0 {
            return Self::default();
        }
        let mean = |value: fn(&Piece) -> f64| {
            pieces
                .iter()
                .map(|p| value(p) * p.field.weight)
                .sum::<f64>()
                / weight
        };
        let swing = pieces
            .iter()
            .map(|p| p.field.level_swing)
            .fold(0.0, f64::max);
        Self {
            present: true,
            frequency_hz: Some(mean(|p| p.field.frequency_hz)),
            amplitude: Some(mean(|p| p.field.amplitude)),
            level_swing: Some(swing),
            on: on(pieces),
        }
    }
}

/// When the field was on: across a gap of the record it stays on.
fn on(pieces: &[Piece]) -> Vec<(f64, f64)> {
    let mut on: Vec<(f64, f64)> = Vec::new();
    for piece in pieces {
        match on.last_mut() {
            Some(last) if piece.after_gap => last.1 = piece.to_s,
            _ => on.push((piece.from_s, piece.to_s)),
        }
    }
    on
}

impl Reception {
    /// Nothing found yet.
    pub(super) fn of_nothing(kind: Kind, rate_hz: f64, rate_assumed: bool) -> Self {
        Self {
            kind,
            rate_hz,
            rate_assumed,
            level_known: false,
            field: Field::default(),
            readings: Vec::new(),
            candidate: None,
            tangled: false,
            gave_up: false,
            band_hz: 0.0,
            telegrams: 0.0,
            windows: 1,
            windows_add_up: true,
            others: OtherKinds::default(),
            beside: Vec::new(),
            other_fields: Vec::new(),
            gain_steps: Vec::new(),
            clock: None,
            doubts: Doubts::default(),
            seen: None,
            survey: None,
        }
    }

    /// Counts all times from a moment `offset_s` earlier.
    pub fn shift(&mut self, offset_s: f64) {
        for on in &mut self.field.on {
            *on = (on.0 + offset_s, on.1 + offset_s);
        }
        self.others.shift(offset_s);
        for reading in &mut self.readings {
            reading.shift(offset_s);
        }
        if let Some(candidate) = &mut self.candidate {
            candidate.shift(offset_s);
        }
    }

    /// No number of any kind was read.
    pub fn is_unread(&self) -> bool {
        self.readings.is_empty() && self.others.half_duplex.is_empty()
    }

    /// Evidence is added up over all of the capture.
    pub fn adds_up(&self) -> bool {
        self.windows <= 1 || self.windows_add_up
    }

    /// Telegrams that can be added up: all, or those of one window.
    pub fn telegrams_added(&self) -> f64 {
        if self.adds_up() {
            self.telegrams
        } else {
            self.telegrams / self.windows as f64
        }
    }

    /// A field that is on too briefly for anything else is there all the same; its frequency is not known well then.
    pub(super) fn field_is_brief(&mut self) {
        let brief = self
            .survey
            .as_ref()
            .and_then(|survey| survey.brief.as_ref());
        if let Some(brief) = brief {
            self.field = Field {
                present: true,
                amplitude: Some(brief.level),
                on: brief.on.clone(),
                ..Field::default()
            };
        }
    }

    /// Levels of a capture that shows the field's sine itself.
    pub fn levels_of_the_field(&self) -> Option<&Levels> {
        let waveform = matches!(self.kind, Kind::Direct | Kind::Folded);
        let levels = self.survey.as_ref()?.levels.as_ref()?;
        (waveform && self.field.present && levels.distinct > 2).then_some(levels)
    }

    /// Share of the samples at the digitiser's limits. It spoils depth and angle of the ripple: what lies along the field's
    /// amplitude is cut off, what lies across it is not.
    pub fn clipped_share(&self) -> Option<f64> {
        self.levels_of_the_field()?.clipped_share()
    }

    /// Whether a later window of the same capture tells more, so that its view replaces this one's.
    pub fn is_outdone_by(&self, later: &Self) -> bool {
        !self.field.present || (self.readings.is_empty() && !later.readings.is_empty())
    }

    /// Adds a number that a sum over windows gave.
    pub(super) fn add_from_sum(&mut self, reading: Reading) {
        let code = reading.attempt.decision.telegram.code;
        let known = |known: &Measured| known.attempt.decision.telegram.code == code;
        match self.readings.iter_mut().find(|reading| known(reading)) {
            Some(known) => known.take_longer(reading),
            None => {
                self.candidate.take_if(|candidate| known(candidate));
                self.readings.push(reading);
            }
        }
    }

    /// Adds what a later window of the same capture gave.
    pub fn absorb(&mut self, later: Self, odds: f64) {
        if self.is_outdone_by(&later) {
            self.kind = later.kind;
            self.level_known = later.level_known;
            self.seen = later.seen;
            self.survey = later.survey;
            self.field = Field {
                on: std::mem::take(&mut self.field.on),
                ..later.field
            };
        }
        self.telegrams += later.telegrams;
        self.windows += later.windows;
        self.windows_add_up &= later.windows_add_up;
        self.others.absorb(later.others, odds);
        for on in later.field.on {
            match self.field.on.last_mut() {
                // A field that is on across the seam of two windows: a gap of a few cycles is the filter's.
                Some(last) if on.0 - last.1 < 1e-3 => last.1 = on.1,
                _ => self.field.on.push(on),
            }
        }
        let add = if self.adds_up() {
            Reading::add
        } else {
            Reading::beside
        };
        for reading in later.readings {
            merge(&mut self.readings, reading, add, odds);
        }
        self.tangled |= later.tangled;
        if let Some(candidate) = later.candidate {
            let better = self.candidate.as_ref().is_none_or(|old| {
                candidate.attempt.decision.odds_wrong < old.attempt.decision.odds_wrong
            });
            if better {
                self.candidate = Some(candidate);
            }
        }
    }
}

/// Puts one more reading beside those known: `add` puts two of the same number together.
pub(super) fn merge(
    readings: &mut Vec<Reading>,
    reading: Reading,
    add: impl FnOnce(&mut Reading, &Reading, f64),
    odds: f64,
) {
    let code = reading.attempt.decision.telegram.code;
    let same = readings
        .iter_mut()
        .find(|known| known.attempt.decision.telegram.code == code);
    match same {
        Some(known) => add(known, &reading, odds),
        None => readings.push(reading),
    }
}
