//! What the receiver removed before it read, put back for figures that show a capture as it came.

use super::View;
use crate::receiver::{Cycles, Kind, StrayTone, Tuning, to_cycles};

/// A second field from this share of the first on may be missing in the receiver's cycles (it removes those of 0.16 and more
/// before it looks for the first).
const MAY_BE_MISSING: f64 = 0.1;
/// Weaker tones (−60 dB) do not change what an envelope looks like.
const VISIBLE: f64 = 1e-3;

/// The strongest line beside the field: Hz from it, and its amplitude as a share of the field's.
pub(super) fn second_field(view: &View<'_>) -> Option<(f64, f64)> {
    let survey = view.reception.survey.as_ref()?;
    let field_hz = view.reception.field.frequency_hz?;
    let near = survey.lines.iter().filter(|line| line.near);
    let beside = view.reception.beside.iter();
    near.map(|line| (line.frequency_hz - field_hz, line.level))
        .chain(beside.map(|field| (field.offset * field_hz, field.level)))
        .filter(|(_, level)| *level > VISIBLE)
        .max_by(|a, b| a.1.total_cmp(&b.1))
}

/// Whether the ripple lacks something that the capture has and that would be seen in its envelope.
pub(super) fn lacks_tones(view: &View<'_>) -> bool {
    let strong = |tone: &StrayTone, level: f64| tone.amplitude.norm() > VISIBLE * level;
    let of_first = view.pieces().first().is_some_and(|piece| {
        let level = piece.field.amplitude.max(f64::MIN_POSITIVE);
        piece.tones.iter().any(|tone| strong(tone, level))
    });
    view.carrier() && (of_first || second_field(view).is_some())
}

/// The field's cycles with a second field in them that the receiver's own lack; `None` where those are as they came.
pub(super) fn with_second_field(view: &View<'_>) -> Option<Cycles> {
    let (_, level) = second_field(view)?;
    let taken_off = level >= MAY_BE_MISSING || !view.reception.beside.is_empty();
    if !taken_off || view.reception.kind != Kind::Direct {
        return None;
    }
    let field_hz = view.reception.seen.as_ref()?.cycles.field_hz;
    let tuning = Tuning {
        rate_hz: view.reception.rate_hz,
        apparent_hz: field_hz,
        field_hz,
        mirrored: false,
    };
    Some(to_cycles(view.about.samples?, &tuning))
}
