//! What the receiver made of a capture.

use super::doubts::Doubts;
use super::other_kinds::OtherKinds;
use super::signal::Kind;
use super::survey::{Levels, Survey};
use crate::receiver::field::pieces::Piece;
use crate::receiver::front::cycles::Cycles;
use crate::receiver::tags::read::Attempt;
use crate::telegram::Identity;

/// The number a capture holds, with the evidence.
#[derive(Clone, Debug)]
pub struct Reading {
    /// What was decided and measured, over all stretches that gave this number.
    pub attempt: Attempt,
    /// From the first to the last stretch used, seconds from the first sample.
    pub from_s: f64,
    /// See `from_s`.
    pub to_s: f64,
    /// The ripple could be this much weaker and still be read, dB; negative for candidates.
    pub spare_db: f64,
    /// Its odds hold only with the fields taken as known that usual tags have; else they are those with nothing known.
    pub relies_on_usual_fields: bool,
}

/// Trailers less sure than this are not stated.
pub(super) const TRAILER_SURE: f64 = 0.999;

impl Reading {
    /// The number and what else its code says.
    pub fn identity(&self) -> Identity {
        Identity::from_code(self.attempt.decision.telegram.code)
    }

    /// The trailer, six hexadecimal digits, where its bits are as good as certain.
    pub fn trailer(&self) -> Option<String> {
        let decision = &self.attempt.decision;
        (decision.trailer_sure >= TRAILER_SURE)
            .then(|| format!("{:06X}", decision.telegram.trailer))
    }

    fn new(mut attempt: Attempt, (from_s, to_s): (f64, f64), odds: f64) -> Self {
        let decision = &mut attempt.decision;
        let relies_on_usual_fields = decision.odds_unaided > odds && decision.odds_wrong <= odds;
        if !relies_on_usual_fields && decision.odds_unaided <= odds {
            decision.odds_wrong = decision.odds_unaided;
        }
        let needed_db = needed_db(odds)
            - if relies_on_usual_fields {
                USUAL_FIELDS_DB
            } else {
                0.0
            };
        Self {
            spare_db: attempt.folded_db() - needed_db,
            attempt,
            from_s,
            to_s,
            relies_on_usual_fields,
        }
    }
}

/// What taking the usual fields as known is worth at odds of 1e-5, dB (measured: benches/limit).
const USUAL_FIELDS_DB: f64 = 0.5;

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
    pub candidate: Option<Reading>,
    /// Band looked at on each side of the field, Hz.
    pub band_hz: f64,
    /// Telegrams' worth of field in the capture.
    pub telegrams: f64,
    /// Tags of other kinds.
    pub others: OtherKinds,
    /// What speaks against what was stated of the capture.
    pub doubts: Doubts,
    /// What was looked at, for figures: the field's cycles and the ripple of each piece on the clock that was used.
    pub seen: Option<Seen>,
    /// What was measured beside the numbers, for findings.
    pub survey: Option<Survey>,
}

/// The receiver's own view of (the first telling window of) a capture.
#[derive(Clone, Debug)]
pub struct Seen {
    /// One complex value per field cycle.
    pub cycles: Cycles,
    /// The ripple in each stretch of field, the field divided out.
    pub pieces: Vec<Piece>,
    /// Field frequency that the pieces' values count.
    pub clock_hz: f64,
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
    /// Counts all times from a moment `offset_s` earlier.
    pub fn shift(&mut self, offset_s: f64) {
        for on in &mut self.field.on {
            *on = (on.0 + offset_s, on.1 + offset_s);
        }
        self.others.shift(offset_s);
        for reading in self.readings.iter_mut().chain(&mut self.candidate) {
            reading.from_s += offset_s;
            reading.to_s += offset_s;
        }
    }

    /// A field that is on too briefly for anything else is there all the same; its frequency is not known well then.
    pub(super) fn field_is_brief(&mut self) {
        let brief = self.survey.as_ref().and_then(|survey| survey.brief.as_ref());
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
        self.others.absorb(later.others, odds);
        for on in later.field.on {
            match self.field.on.last_mut() {
                // A field that is on across the seam of two windows: a gap of a few cycles is the filter's.
                Some(last) if on.0 - last.1 < 1e-3 => last.1 = on.1,
                _ => self.field.on.push(on),
            }
        }
        for reading in later.readings {
            merge(
                &mut self.readings,
                reading.attempt,
                (reading.from_s, reading.to_s),
                odds,
            );
        }
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

/// Puts one more stretch's result beside what is known of the same number.
pub(super) fn merge(
    readings: &mut Vec<Reading>,
    attempt: Attempt,
    (from_s, to_s): (f64, f64),
    odds: f64,
) {
    let same = readings
        .iter_mut()
        .find(|reading| reading.attempt.decision.telegram.code == attempt.decision.telegram.code);
    match same {
        Some(reading) => {
            let mut both = reading.attempt.clone();
            let (old, new) = (both.telegrams, attempt.telegrams);
            let mean = |a: f64, b: f64| (a * old + b * new) / (old + new);
            both.depth = mean(both.depth, attempt.depth);
            both.ebn0 = mean(both.ebn0, attempt.ebn0);
            both.telegrams = old + new;
            let (of_both, of_new) = (&mut both.decision, &attempt.decision);
            of_both.odds_wrong = of_both.odds_wrong.min(of_new.odds_wrong);
            of_both.odds_unaided = of_both.odds_unaided.min(of_new.odds_unaided);
            *reading = Reading::new(both, (reading.from_s, to_s), odds);
        }
        None => readings.push(Reading::new(attempt, (from_s, to_s), odds)),
    }
}

/// Folded Eb/N0 at which half of all telegrams have these odds: 2.1, 2.6, 3.0 and 3.4 dB at 1e-3, 1e-4, 1e-5 and 1e-6
/// (exact sum over CRC register × sign, derived), a straight line in the logarithm between and beyond.
pub fn needed_db(odds: f64) -> f64 {
    let nines = -odds.clamp(1e-12, 0.5).log10();
    3.0 + 0.43 * (nines - 5.0)
}
