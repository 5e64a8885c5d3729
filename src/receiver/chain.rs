//! The whole receiver: samples → kind of capture, field, pieces, numbers.

use super::doubts::{likely_rate, on_the_bits_clock};
use super::look::look;
use super::other_kinds::{other_kinds, phase_keyed};
use super::proof::{Measured, Reading};
use super::reception::{Field, Reception, Seen, merge};
use super::signal::{Kind, Samples, Signal};
use super::survey::{OfSamples, Survey};
use crate::receiver::field::clock::on_own_clock;
use crate::receiver::field::interference::without_lines;
use crate::receiver::field::pieces::{
    Piece, with_carrier, with_carrier_and_tones, without_carrier,
};
use crate::receiver::fold::sums::TELEGRAM;
use crate::receiver::front::cycles::Cycles;
use crate::receiver::front::folded::is_no_field;
use crate::receiver::front::views::{
    CLOCKS, FirstSight, NOMINAL_HZ, View, first_sight, level_is_field,
};
use crate::receiver::tags::bursts::join_bursts;
use crate::receiver::tags::join::join;
use crate::receiver::tags::read::{Attempt, ReadLimits, Terms, read_piece};
use crate::receiver::tags::stays::stays;
use crate::receiver::tags::told::{Told, is_contradicted};

/// Only the numbers of FDX-B tags in a capture, nothing that serves to explain: no other kinds of tags, no survey.
pub fn read_numbers(signal: &Signal<'_>, terms: impl Into<Terms>) -> Vec<Reading> {
    glance(signal, terms).readings
}

/// The field and the numbers of FDX-B tags, nothing that serves to explain: no other kinds of tags, no survey.
pub fn glance(signal: &Signal<'_>, terms: impl Into<Terms>) -> Reception {
    let terms = terms.into();
    crate::threads::on_pool(|| {
        let mut reception = receive_ripple(signal, &first_sight(signal), terms);
        reception.doubt_folded_field(signal.samples);
        reception
    })
}

/// Reads a capture on these terms, or at these odds of a wrong number with nothing taken as known.
pub fn receive(signal: &Signal<'_>, terms: impl Into<Terms>) -> Reception {
    let terms = terms.into();
    crate::threads::on_pool(|| receive_at_once(signal, terms))
}

fn receive_at_once(signal: &Signal<'_>, terms: Terms) -> Reception {
    let sight = first_sight(signal);
    if let Some(rate_hz) = likely_rate(signal, &sight) {
        let other = Signal {
            rate_hz: Some(rate_hz),
            ..*signal
        };
        let mut reception = receive_as_stated(&other, &first_sight(&other), terms);
        if !reception.readings.is_empty() {
            reception.doubts.stated_rate_hz = signal.rate_hz;
            return reception;
        }
    }
    receive_as_stated(signal, &sight, terms)
}

fn receive_as_stated(signal: &Signal<'_>, sight: &FirstSight, terms: Terms) -> Reception {
    let (mut reception, samples) = crate::threads::join(
        || receive_all(signal, sight, terms),
        || OfSamples::of(signal, sight.rate_hz),
    );
    let spectrum = sight.spectrum.as_ref();
    let mut survey = Survey::of(samples, spectrum, &reception);
    survey.look_at_samples(signal, &reception);
    reception.survey = Some(survey);
    reception.field_is_brief();
    reception
}

/// Numbers of all kinds.
fn receive_all(signal: &Signal<'_>, sight: &FirstSight, terms: Terms) -> Reception {
    let mut reception = receive_ripple(signal, sight, terms);
    reception.doubt_folded_field(signal.samples);
    if reception.kind == Kind::Iq {
        reception = on_the_bits_clock(signal, sight, terms, reception);
        reception.doubts.centre_hz = Some(signal.centre_hz);
    }
    if reception.kind.has_carrier()
        && let Some(seen) = &reception.seen
    {
        reception.others = other_kinds(seen, !reception.readings.is_empty(), terms.odds);
        reception.look_below(signal);
    }
    reception
}

/// Numbers in the ripple.
fn receive_ripple(signal: &Signal<'_>, sight: &FirstSight, terms: Terms) -> Reception {
    let mut best: Option<Reception> = None;
    let apart_hz = sight.rate_hz / signal.samples.len().max(1) as f64;
    let mut tried: Vec<f64> = Vec::new();
    for view in &sight.views {
        // Three fields or more beside each other were all tried in the first view that showed them. Two are worth a try from either
        // side: far apart, the one that a view is tuned to is seen better.
        let is_near = |hz: &f64| (hz - view.tuning.field_hz).abs() < 0.5 * apart_hz;
        if view.kind.has_carrier() && tried.iter().any(is_near) {
            continue;
        }
        let reception = look(signal, view, terms, sight.rate_assumed);
        if reception.other_fields.len() > 1 {
            let others = reception.other_fields.iter();
            tried.extend(others.map(|other| other.frequency_hz));
        }
        if !reception.readings.is_empty() || reception.tangled {
            return reception;
        }
        // The first view is the likeliest; a later one replaces it only by reading.
        best.get_or_insert(reception);
    }
    best.unwrap_or_else(|| {
        let kind = match signal.samples {
            Samples::Complex(_) => Kind::Iq,
            Samples::Real(_) if signal.logic => Kind::Logic,
            Samples::Real(_) => Kind::Direct,
        };
        Reception::of_nothing(kind, sight.rate_hz, sight.rate_assumed)
    })
}

/// Pieces on one clock, which for captures without a carrier is one of several guesses.
pub(super) struct Clocked {
    pub field_hz: f64,
    pub pieces: Vec<Piece>,
}

pub(super) fn look_at(
    signal: &Signal<'_>,
    view: &View,
    cycles: Cycles,
    terms: Terms,
    rate_assumed: bool,
) -> Reception {
    let (mut reception, mut clocks) = prepare(signal, view, &cycles, rate_assumed);
    let limits = terms.limits(!view.kind.has_carrier());
    let unread = reception.clone();
    for clocked in &clocks {
        read_all(&clocked.pieces, clocked.field_hz, &limits, &mut reception);
        if !reception.readings.is_empty() {
            reception.clocked_by(clocked);
            break;
        }
    }
    if reception.readings.is_empty()
        && let Some((again, clocked)) = with_tones(unread, &clocks, &cycles, &limits)
    {
        (reception, clocks) = (again, vec![clocked]);
    }
    let read = !reception.readings.is_empty();
    let used = clocks.into_iter().find(|clocked| {
        !read || reception.field.frequency_hz == Some(clocked.field_hz) || view.kind.has_carrier()
    });
    reception.seen = used.map(|clocked| Seen {
        cycles,
        clock_hz: clocked.field_hz,
        pieces: clocked.pieces,
    });
    reception
}

/// Another try where tones were removed and nothing was read: a ripple that comes and goes passes for some.
fn with_tones(
    mut reception: Reception,
    clocks: &[Clocked],
    cycles: &Cycles,
    limits: &ReadLimits,
) -> Option<(Reception, Clocked)> {
    let mut pieces = clocks.iter().flat_map(|clocked| &clocked.pieces);
    if pieces.all(|piece| piece.tones.is_empty()) {
        return None;
    }
    let pieces = with_carrier_and_tones(cycles);
    reception.field = Field::over(&pieces);
    let field_hz = clocks[0].field_hz;
    read_all(&pieces, field_hz, limits, &mut reception);
    let is_read = !reception.readings.is_empty();
    is_read.then_some((reception, Clocked { field_hz, pieces }))
}

/// Everything up to the pieces: the field is measured, nothing is read yet.
pub(super) fn prepare(
    signal: &Signal<'_>,
    view: &View,
    cycles: &Cycles,
    rate_assumed: bool,
) -> (Reception, Vec<Clocked>) {
    let mut reception = Reception {
        level_known: true,
        band_hz: cycles.band_hz,
        ..Reception::of_nothing(view.kind, view.tuning.rate_hz, rate_assumed)
    };
    let clocks = if view.kind.has_carrier() {
        let pieces = with_carrier(cycles);
        reception.field = Field::over(&pieces);
        vec![Clocked {
            field_hz: view.tuning.field_hz,
            pieces,
        }]
    } else {
        reception.level_known = view.kind == Kind::Envelope && level_is_field(signal.samples);
        let pieces = without_carrier(cycles, reception.level_known);
        reception.field.amplitude = pieces
            .first()
            .filter(|_| reception.level_known)
            .map(|piece| piece.field.amplitude);
        pieces
            .iter()
            .flat_map(|piece| on_own_clock(piece, CLOCKS))
            .map(|(relative, piece)| Clocked {
                field_hz: NOMINAL_HZ * relative,
                pieces: vec![piece],
            })
            .collect()
    };
    reception.telegrams = clocks.first().map_or(0.0, |clocked| {
        let seconds: f64 = clocked.pieces.iter().map(|p| p.to_s - p.from_s).sum();
        seconds * clocked.field_hz / crate::receiver::fold::sums::TELEGRAM as f64
    });
    (reception, clocks)
}

impl Reception {
    fn doubt_folded_field(&mut self, samples: Samples<'_>) {
        let Some(field_hz) = self.field.frequency_hz else {
            return;
        };
        if self.kind == Kind::Folded
            && self.rate_hz < NOMINAL_HZ
            && self.readings.is_empty()
            && is_no_field(samples, self.rate_hz, field_hz)
        {
            self.field = Field::default();
            self.beside.clear();
            self.seen = None;
            self.candidate = None;
            self.telegrams = 0.0;
        }
    }

    /// Looks for what stands far below a directly sampled field, where nothing was read.
    fn look_below(&mut self, signal: &Signal<'_>) {
        if let (Some(field_hz), Some(amplitude)) = (self.field.frequency_hz, self.field.amplitude)
            && self.kind == Kind::Direct
            && self.readings.is_empty()
        {
            self.others.phase_keyed =
                phase_keyed(signal.samples, self.rate_hz, field_hz, amplitude);
        }
    }

    /// Captures without a carrier show the field's frequency only through the tag that divided it.
    pub(super) fn clocked_by(&mut self, clocked: &Clocked) {
        if !self.kind.has_carrier() {
            self.field.present = true;
            self.field.frequency_hz = Some(clocked.field_hz);
            self.field.on = clocked.pieces.iter().map(|p| (p.from_s, p.to_s)).collect();
        }
    }
}

/// Reads every piece and puts together what they say of the same number.
pub(super) fn read_all(
    pieces: &[Piece],
    field_hz: f64,
    limits: &ReadLimits,
    reception: &mut Reception,
) {
    let mut candidates: Vec<Measured> = Vec::new();
    let mut told: Vec<Told> = Vec::new();
    for piece in pieces {
        let mut result = read_piece(piece, field_hz, limits);
        reception.tangled |= result.tangled;
        if result.read.is_empty()
            && !result.tangled
            && !limits.real
            && let Some(ripple) = without_lines(&piece.ripple)
        {
            let cleaned = Piece {
                ripple,
                ..piece.clone()
            };
            let limits = ReadLimits {
                cleaned: true,
                ..*limits
            };
            let again = read_piece(&cleaned, field_hz, &limits);
            if !again.read.is_empty() {
                result = again;
            }
        }
        if piece.ripple.len() >= TELEGRAM {
            told.push(Told::by(&result));
        }
        let seconds = |attempt: &Attempt| {
            let cycle = (piece.to_s - piece.from_s) / piece.ripple.len() as f64;
            let at = |index: usize| piece.from_s + index as f64 * cycle;
            (at(attempt.span.start), at(attempt.span.end))
        };
        let there = stays(piece, field_hz, &result.read, limits.real);
        for (attempt, stays) in result.read.into_iter().zip(there) {
            let span = seconds(&attempt);
            let mut measured = Measured::new(attempt, span, limits.odds);
            measured.stays = stays;
            match Reading::of(measured, limits.odds) {
                Ok(reading) => merge(&mut reception.readings, reading, Reading::add, limits.odds),
                Err(unproven) => candidates.push(unproven),
            }
        }
        if let Some(attempt) = result.left {
            let span = seconds(&attempt);
            candidates.push(Measured::new(attempt, span, limits.odds));
        }
    }
    let readings = std::mem::take(&mut reception.readings);
    for reading in readings {
        if is_contradicted(reading.attempt.decision.telegram.code, &told) {
            candidates.push(reading.into_measured());
        } else {
            reception.readings.push(reading);
        }
    }
    // Several tags that no piece tells apart are not told apart by all of them.
    if reception.readings.is_empty() && !reception.tangled && pieces.len() > 1 {
        let span = (pieces[0].from_s, pieces[pieces.len() - 1].to_s);
        for joined in [join, join_bursts] {
            let Some(attempt) = joined(pieces, field_hz, limits) else {
                continue;
            };
            match Reading::of(Measured::new(attempt, span, limits.odds), limits.odds) {
                Ok(reading) => {
                    merge(&mut reception.readings, reading, Reading::add, limits.odds);
                    break;
                }
                Err(unproven) => candidates.push(unproven),
            }
        }
    }
    // Where tags are tangled, a part of a telegram has too few signs to contradict a sum of them.
    if reception.tangled {
        let whole = |reading: &Reading| reading.attempt.telegrams >= 1.0;
        reception.readings.retain(whole);
    }
    reception
        .readings
        .sort_by(|a, b| b.attempt.depth.total_cmp(&a.attempt.depth));
    candidates.retain(|candidate| {
        reception.readings.iter().all(|reading| {
            reading.attempt.decision.telegram.code != candidate.attempt.decision.telegram.code
        })
    });
    let likeliest = candidates.into_iter().min_by(|a, b| {
        a.attempt
            .decision
            .odds_wrong
            .total_cmp(&b.attempt.decision.odds_wrong)
    });
    if let Some(candidate) = likeliest {
        let better = reception.candidate.as_ref().is_none_or(|old| {
            candidate.attempt.decision.odds_wrong < old.attempt.decision.odds_wrong
        });
        if better {
            reception.candidate = Some(candidate);
        }
    }
}
