//! A reception → the records that a bench is fitted to, and the ring of its antenna.

use num_complex::Complex64;

use super::FitError;
use super::record::{Lines, Record};
use crate::receiver::survey::Ring;
use crate::receiver::{Kind, Piece, ReadLimits, Reading, Reception, TELEGRAM, Terms, read_piece};
use crate::telegram::Telegram;
use crate::world::scenario::half_bits;

/// Telegrams that it takes: what lies between the lines of fewer is no noise to hold a bench against.
const LEAST_TELEGRAMS: f64 = 3.0;
/// Least part of a telegram in a stretch that is used, in values: half of one holds enough switchings to be laid in place.
const SHORTEST: usize = TELEGRAM / 2;

/// What a bench is fitted to.
pub(super) struct Measured {
    /// Stretches of ripple.
    pub records: Vec<Record>,
    /// The lines that they share.
    pub lines: Lines,
    /// The antenna's ring at the field's edges, where it was switched.
    pub ring: Option<Ring>,
    /// Half bits of one period, true where the load is closed (or the other way round).
    pub half_bits: Vec<bool>,
    /// Frequency of the field.
    pub field_hz: f64,
    /// Telegrams in the records.
    pub telegrams: f64,
    /// Eb/N0 of a single telegram's bits, as a ratio.
    pub ebn0: f64,
}

impl Measured {
    /// What there is of one tag in a capture with a carrier.
    pub fn of(reception: &Reception, odds: f64) -> Result<Self, FitError> {
        let reading = the_reading(reception)?;
        let Some(seen) = &reception.seen else {
            return Err(FitError::NoNumber);
        };
        let telegram = reading.attempt.decision.telegram;
        let half_bits = half_bits(&telegram);
        let period = half_bits.len() * crate::receiver::HALF;
        let edge = match seen.pieces.first() {
            Some(piece) => &piece.edge,
            None => return Err(FitError::NoNumber),
        };
        let lines = Lines::new(period, seen.clock_hz, edge);
        if lines.numbers.is_empty() {
            return Err(FitError::Narrow {
                band_hz: reception.band_hz,
            });
        }
        let limits = Terms::from(odds).limits(false);
        let mut telegrams = 0.0;
        let mut records = Vec::new();
        for piece in &seen.pieces {
            if let Some(span) = span_of(piece, seen.clock_hz, telegram, &limits)
                && span.len() >= SHORTEST
            {
                telegrams += span.len() as f64 / TELEGRAM as f64;
                records.push(Record::new(piece, span, &lines));
            }
        }
        if telegrams < LEAST_TELEGRAMS {
            return Err(FitError::Short { telegrams });
        }
        let ring = reception
            .survey
            .as_ref()
            .and_then(|survey| survey.edges.ring);
        Ok(Self {
            records,
            lines,
            ring,
            half_bits,
            field_hz: seen.clock_hz,
            telegrams,
            ebn0: reading.attempt.ebn0,
        })
    }

    /// Lays every record where the period with these lines has it, and returns the mean period of all.
    pub fn lay(&mut self, period: &[Complex64]) -> Vec<Complex64> {
        let lines = &self.lines;
        let correlations: Vec<Vec<Complex64>> = self
            .records
            .iter()
            .map(|record| correlation(&record.in_a_period(lines), period, lines))
            .collect();
        let (_, _, axis) = correlations
            .iter()
            .map(|values| {
                let at = peak(values, |value| value.norm());
                (values[at].norm(), at, values[at].arg())
            })
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .unwrap_or((0.0, 0, 0.0));
        let turn = Complex64::cis(-axis);
        let mut mean = vec![Complex64::default(); lines.numbers.len()];
        for (record, values) in self.records.iter_mut().zip(&correlations) {
            let along = |value: &Complex64| (value * turn).re;
            let at = peak(values, along);
            let count = values.len();
            let [before, here, after] =
                [count - 1, 0, 1].map(|step| along(&values[(at + step) % count]));
            // The maximum of a parabola through three values.
            let bend = before - 2.0 * here + after;
            let between = if bend < 0.0 {
                0.5 * (before - after) / bend
            } else {
                0.0
            };
            record.place = -(at as f64 + between);
            let own = lines.later(&record.in_a_period(lines), record.place);
            mean.iter_mut()
                .zip(own)
                .for_each(|(sum, line)| *sum += line);
        }
        let periods: f64 = self
            .records
            .iter()
            .map(|record| record.periods(lines))
            .sum();
        mean.iter_mut().for_each(|line| *line /= periods);
        mean
    }
}

/// How alike measured lines and those of a period are, that many cycles later.
pub(super) fn correlation(
    measured: &[Complex64],
    period: &[Complex64],
    lines: &Lines,
) -> Vec<Complex64> {
    let products: Vec<Complex64> = measured
        .iter()
        .zip(period)
        .map(|(a, b)| a * b.conj())
        .collect();
    lines.back(&products)
}

fn peak<T>(values: &[T], height: impl Fn(&T) -> f64) -> usize {
    (0..values.len())
        .max_by(|&a, &b| height(&values[a]).total_cmp(&height(&values[b])))
        .unwrap_or(0)
}

/// The one number of a capture that shows the field's own waveform.
fn the_reading(reception: &Reception) -> Result<&Reading, FitError> {
    if !matches!(reception.kind, Kind::Direct | Kind::Folded | Kind::Iq) {
        return Err(FitError::NoCarrier);
    }
    if let Some(share) = reception.clipped_share() {
        return Err(FitError::Clipped { share });
    }
    match &reception.readings[..] {
        [reading] if !reception.tangled => Ok(reading),
        [] => Err(FitError::NoNumber),
        several => Err(FitError::Several {
            count: several.len().max(2),
        }),
    }
}

/// Where in a piece the tag with this number was there.
fn span_of(
    piece: &Piece,
    field_hz: f64,
    telegram: Telegram,
    limits: &ReadLimits,
) -> Option<std::ops::Range<usize>> {
    let found = read_piece(piece, field_hz, limits);
    let attempts = found.read.into_iter().chain(found.left);
    attempts
        .filter(|attempt| attempt.decision.telegram.code == telegram.code)
        .map(|attempt| {
            // Before its first telegram a tag's load is open, which no period knows of: a whole bit later that is forgotten.
            let start = attempt.span.start + usize::from(piece.after_start) * first_bits(&attempt);
            start.min(attempt.span.end)..attempt.span.end
        })
        .next()
}

/// Values from the begin of an attempt's span to two bits into its first telegram, if that begins within half a telegram.
fn first_bits(attempt: &crate::receiver::Attempt) -> usize {
    let bit = crate::receiver::BIT;
    let start = (attempt.decision.start * bit) as f64 + attempt.timing;
    let start = start.rem_euclid(TELEGRAM as f64) as usize;
    if start < TELEGRAM / 2 {
        start + 2 * bit
    } else {
        0
    }
}
