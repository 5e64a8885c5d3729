//! The field cycles of one hypothesis → pieces on one clock → the numbers in them.

use super::proof::{Measured, Reading};
use super::reception::{Field, Reception, merge};
use super::seen::Seen;
use super::signal::{Kind, Signal};
use crate::receiver::field::clock::on_own_clock;
use crate::receiver::field::interference::without_lines;
use crate::receiver::field::pieces::{
    Piece, with_carrier, with_carrier_and_tones, without_carrier,
};
use crate::receiver::fold::sums::TELEGRAM;
use crate::receiver::front::cycles::Cycles;
use crate::receiver::front::hypotheses::{CLOCKS, Hypothesis, NOMINAL_HZ, level_is_field};
use crate::receiver::tags::attempt::{Asked, Attempt, ReadLimits};
use crate::receiver::tags::bursts::join_bursts;
use crate::receiver::tags::join::{Joined, join};
use crate::receiver::tags::left_alike::OfNumber;
use crate::receiver::tags::read::{PieceReading, read_piece};
use crate::receiver::tags::stays::stays;
use crate::receiver::tags::told::{Told, is_contradicted};

/// Pieces on one clock, which for captures without a carrier is one of several guesses.
pub(super) struct Clocked {
    pub field_hz: f64,
    pub pieces: Vec<Piece>,
}

pub(super) fn look_at(
    signal: &Signal<'_>,
    hypothesis: &Hypothesis,
    cycles: Cycles,
    asked: Asked<'_>,
    rate_assumed: bool,
) -> Reception {
    let (mut reception, mut clocks) = prepare(signal, hypothesis, &cycles, rate_assumed);
    let limits = asked.limits(!hypothesis.kind.has_carrier());
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
        !read
            || reception.field.frequency_hz == Some(clocked.field_hz)
            || hypothesis.kind.has_carrier()
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
    if pieces.all(|piece| piece.tones.is_empty()) || !limits.may_try_on() {
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
    hypothesis: &Hypothesis,
    cycles: &Cycles,
    rate_assumed: bool,
) -> (Reception, Vec<Clocked>) {
    let mut reception = Reception {
        level_known: true,
        band_hz: cycles.band_hz,
        ..Reception::of_nothing(hypothesis.kind, hypothesis.tuning.rate_hz, rate_assumed)
    };
    let clocks = if hypothesis.kind.has_carrier() {
        let pieces = with_carrier(cycles);
        reception.field = Field::over(&pieces);
        vec![Clocked {
            field_hz: hypothesis.tuning.field_hz,
            pieces,
        }]
    } else {
        reception.level_known = hypothesis.kind == Kind::Envelope && level_is_field(signal.samples);
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
        seconds * clocked.field_hz / TELEGRAM as f64
    });
    (reception, clocks)
}

/// Reads every piece and puts together what they say of the same number.
pub(super) fn read_all(
    pieces: &[Piece],
    field_hz: f64,
    limits: &ReadLimits,
    reception: &mut Reception,
) {
    let mut unproven: Vec<Measured> = Vec::new();
    let mut told: Vec<Told> = Vec::new();
    let mut alone: Vec<OfNumber> = Vec::new();
    for piece in pieces {
        let mut result = read_piece(piece, field_hz, limits);
        reception.tangled |= result.tangled;
        if let Some(again) = read_without_lines(piece, &result, field_hz, limits) {
            result = again;
        }
        if piece.ripple.len() >= TELEGRAM {
            told.push(Told::by(&result));
        }
        if let [attempt] = &result.read[..]
            && pieces.len() > 1
        {
            let code = attempt.decision.telegram.code;
            match alone.iter_mut().find(|number| number.code == code) {
                Some(number) => number.add(piece, attempt),
                None => alone.push(OfNumber::of(piece, attempt)),
            }
        }
        unproven.extend(reception.add_piece(piece, result, field_hz, limits));
    }
    unproven.extend(reception.without(|code| is_contradicted(code, &told)));
    // Another tag that was read explains what this one leaves; a detector that is slow leaves much of its own.
    let lone = reception.readings.len() == 1 && !limits.real;
    alone.retain(|number| lone && number.may_be_a_sum());
    let sums = reception.without(|code| alone.iter().any(|number| number.code == code));
    reception.tangled |= !sums.is_empty();
    unproven.extend(sums);
    // Several tags that no piece tells apart are not told apart by all of them.
    if reception.readings.is_empty() && !reception.tangled && pieces.len() > 1 {
        unproven.extend(reception.add_joined(pieces, field_hz, limits));
    }
    // Where tags are tangled, a part of a telegram has too few signs to contradict a sum of them.
    if reception.tangled {
        let whole = |reading: &Reading| reading.attempt.telegrams >= 1.0;
        reception.readings.retain(whole);
    }
    reception
        .readings
        .sort_by(|a, b| b.attempt.depth.total_cmp(&a.attempt.depth));
    reception.consider(unproven);
}

/// Another try at a piece in which nothing was read: steady lines beside the ripple go first.
fn read_without_lines(
    piece: &Piece,
    first: &PieceReading,
    field_hz: f64,
    limits: &ReadLimits,
) -> Option<PieceReading> {
    if !first.read.is_empty() || first.tangled || limits.real {
        return None;
    }
    let ripple = without_lines(&piece.ripple)?;
    if !limits.may_try_on() {
        return None;
    }
    let cleaned = Piece {
        ripple,
        ..piece.clone()
    };
    let limits = ReadLimits {
        cleaned: true,
        ..*limits
    };
    let again = read_piece(&cleaned, field_hz, &limits);
    (!again.read.is_empty()).then_some(again)
}

/// When an attempt's first value was taken and when the one behind its last, s.
fn seconds_of(attempt: &Attempt, piece: &Piece) -> (f64, f64) {
    let cycle = (piece.to_s - piece.from_s) / piece.ripple.len() as f64;
    let at = |index: usize| piece.from_s + index as f64 * cycle;
    (at(attempt.span.start), at(attempt.span.end))
}

impl Reception {
    /// Adds what a piece gave; returns what it does not prove.
    fn add_piece(
        &mut self,
        piece: &Piece,
        result: PieceReading,
        field_hz: f64,
        limits: &ReadLimits,
    ) -> Vec<Measured> {
        let mut unproven = Vec::new();
        let there = stays(piece, field_hz, &result.read, limits.real);
        for (attempt, stays) in result.read.into_iter().zip(there) {
            let span = seconds_of(&attempt, piece);
            let mut measured = Measured::new(attempt, span, limits.odds);
            measured.stays = stays;
            match Reading::of(measured, limits.odds) {
                Ok(reading) => merge(&mut self.readings, reading, Reading::add, limits.odds),
                Err(measured) => unproven.push(measured),
            }
        }
        if let Some(attempt) = result.left {
            let span = seconds_of(&attempt, piece);
            unproven.push(Measured::new(attempt, span, limits.odds));
        }
        unproven
    }

    /// Takes back the numbers that something speaks against, and returns them.
    fn without(&mut self, is_doubted: impl Fn(u64) -> bool) -> Vec<Measured> {
        let is_doubted = |reading: &Reading| is_doubted(reading.attempt.decision.telegram.code);
        let readings = std::mem::take(&mut self.readings);
        let (taken_back, kept) = readings.into_iter().partition(is_doubted);
        self.readings = kept;
        let taken_back: Vec<Reading> = taken_back;
        taken_back.into_iter().map(Reading::into_measured).collect()
    }

    /// A number that only all pieces together prove; returns those that they do not.
    fn add_joined(
        &mut self,
        pieces: &[Piece],
        field_hz: f64,
        limits: &ReadLimits,
    ) -> Vec<Measured> {
        let span = (pieces[0].from_s, pieces[pieces.len() - 1].to_s);
        let mut unproven = Vec::new();
        for joined in [join, join_bursts] {
            let Some(Joined {
                attempt,
                is_tangled,
            }) = joined(pieces, field_hz, limits)
            else {
                continue;
            };
            let measured = Measured::new(attempt, span, limits.odds);
            match Reading::of(measured, limits.odds) {
                Ok(reading) if is_tangled => {
                    self.tangled = true;
                    unproven.push(reading.into_measured());
                    break;
                }
                Ok(reading) => {
                    merge(&mut self.readings, reading, Reading::add, limits.odds);
                    break;
                }
                Err(measured) => unproven.push(measured),
            }
        }
        unproven
    }

    /// Keeps the likeliest of what was not proven, but for numbers that were read.
    fn consider(&mut self, mut unproven: Vec<Measured>) {
        let code = |measured: &Measured| measured.attempt.decision.telegram.code;
        let odds = |measured: &Measured| measured.attempt.decision.odds_wrong;
        unproven.retain(|measured| {
            let is_it =
                |reading: &Reading| reading.attempt.decision.telegram.code == code(measured);
            !self.readings.iter().any(is_it)
        });
        let likeliest = unproven
            .into_iter()
            .min_by(|a, b| odds(a).total_cmp(&odds(b)));
        if let Some(measured) = likeliest {
            let old = self.candidate.as_ref();
            if old.is_none_or(|old| odds(&measured) < odds(old)) {
                self.candidate = Some(measured);
            }
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
