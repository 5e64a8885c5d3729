//! Several captures of one tag, read as pieces of one signal.

use num_complex::Complex32;

use super::front::cycles::Cycles;
use super::look::mended_cycles;
use super::numbers::{Clocked, prepare, read_all};
use super::reception::{Field, Reception};
use super::seen::Seen;
use super::signal::Signal;
use crate::receiver::front::hypotheses::first_sight;
use crate::receiver::tags::attempt::Terms;

/// Reads several captures as pieces of one tag's signal, each begun at a moment of its own.
///
/// Their order says only when each was. How the field shows is taken from the capture with the most field in it, one with a
/// carrier before one without; captures that show it the other way have no part in it. The field's frequency is measured in each. What is seen of them stands one after the other.
pub fn receive_joined(signals: &[Signal<'_>], terms: impl Into<Terms>) -> Option<Reception> {
    let mut parts: Vec<(Reception, Clocked, Cycles, f64)> = Vec::new();
    let mut offset_s = 0.0;
    for signal in signals {
        let begun_s = offset_s;
        let sight = first_sight(signal);
        if sight.rate_hz > 0.0 {
            offset_s += signal.samples.len() as f64 / sight.rate_hz;
        }
        let Some(hypothesis) = sight.hypotheses.first() else {
            continue;
        };
        let cycles = mended_cycles(signal, hypothesis);
        let (reception, clocks) = prepare(signal, hypothesis, &cycles, sight.rate_assumed);
        let Some(mut clocked) = clocks.into_iter().next() else {
            continue;
        };
        for piece in &mut clocked.pieces {
            piece.from_s += begun_s;
            piece.to_s += begun_s;
        }
        parts.push((reception, clocked, cycles, begun_s));
    }
    let most = (0..parts.len()).max_by(|&a, &b| {
        let carrier = |k: usize| parts[k].0.kind.has_carrier();
        let field = |k: usize| parts[k].0.telegrams;
        carrier(a)
            .cmp(&carrier(b))
            .then(field(a).total_cmp(&field(b)))
    })?;
    let carrier = parts[most].0.kind.has_carrier();
    let mut reception = parts[most].0.clone();
    let mut clocked = Clocked {
        field_hz: parts[most].1.field_hz,
        pieces: Vec::new(),
    };
    reception.telegrams = 0.0;
    let field_hz = parts[most].2.field_hz;
    let mut all = Cycles {
        values: vec![Complex32::default(); (offset_s * field_hz).round() as usize],
        first: 0,
        ..parts[most].2.clone()
    };
    for (part, of_part, cycles, begun_s) in parts {
        if part.kind.has_carrier() == carrier {
            reception.telegrams += part.telegrams;
            clocked.pieces.extend(of_part.pieces);
            let begun = (begun_s * field_hz).round() as usize + cycles.first;
            let places = all.values.iter_mut().skip(begun);
            places
                .zip(cycles.values)
                .for_each(|(to, value)| *to = value);
        }
    }
    let limits = terms.into().limits(!carrier);
    if carrier {
        reception.field = Field::over(&clocked.pieces);
    }
    read_all(&clocked.pieces, clocked.field_hz, &limits, &mut reception);
    if !reception.readings.is_empty() {
        reception.clocked_by(&clocked);
    }
    reception.seen = Some(Seen {
        cycles: all,
        clock_hz: clocked.field_hz,
        pieces: clocked.pieces,
    });
    Some(reception)
}
