//! Findings about the record itself: interrupted, or with a field in a small part of it only.

use super::Finding;
use crate::receiver::{Gap, GapKind, Reception};

pub(super) fn findings(reception: &Reception) -> Vec<Finding> {
    gap(reception).into_iter().collect()
}

/// Interruptions of the record while the field was on.
///
/// What looks like it, and what tells it apart: a tag that restarts (the field's phase goes on, the telegram alone begins
/// anew); a reader's pause (the level falls, over many cycles); a field that hops to another frequency (its phase does not
/// step, it turns at another rate); two fields that beat (the level falls to nothing at every jump of the phase). Here the
/// phase of a level field steps within the few cycles that the receiver's band smears, or samples stand still or repeat
/// exactly in the midst of a full swing, which no antenna and no noisy digitiser does.
fn gap(reception: &Reception) -> Option<Finding> {
    let cycles = &reception.seen.as_ref()?.cycles;
    let first = cycles.gaps.first()?;
    let at_s = |gap: &Gap| {
        let middle = 0.5 * (gap.from + gap.to) as f64;
        (cycles.first as f64 + middle) / cycles.field_hz - 0.5 * gap.filled_s
    };
    let count = cycles.gaps.len();
    let places = if count == 1 {
        format!("at {:.4} s", at_s(first))
    } else {
        format!("at {count} places, first at {:.4} s", at_s(first))
    };
    let dropped = cycles.gaps.iter().any(|gap| gap.kind == GapKind::Dropped);
    let what = match first.kind {
        GapKind::Dropped => format!(
            "samples are missing {places}: from one to the next the field's phase jumps by {:+.2} of a cycle, the level as it was",
            first.jump_cycles
        ),
        GapKind::Held => format!(
            "the samples stand still {places}, for {:.2} ms, with the field at full swing right before and after",
            1e3 * first.filled_s
        ),
        GapKind::Repeated => format!(
            "samples repeat exactly {places}: {:.2} ms of them are those before once more",
            1e3 * first.filled_s
        ),
    };
    let lost = if dropped {
        " How much is missing nobody can tell but for whole cycles of the field, so each side was read by itself, and both together."
    } else {
        ""
    };
    let mut finding = Finding::new(
        "gap",
        format!(
            "The record is interrupted; {what}. No antenna does that: the recorder lost samples.{lost} Record to memory instead of over the \
             bus, at a lower rate, or in shorter pieces, and close what else keeps the computer busy."
        ),
        &[
            ("gaps", count as f64),
            ("first_s", at_s(first)),
            ("jump_cycles", first.jump_cycles),
            ("filled_s", first.filled_s),
        ],
    );
    let list = |value: &dyn Fn(&Gap) -> f64| cycles.gaps.iter().map(value).collect::<Vec<f64>>();
    finding
        .evidence
        .insert("at_s".into(), list(&at_s).into());
    finding
        .evidence
        .insert("jumps_cycles".into(), list(&|gap| gap.jump_cycles).into());
    Some(finding)
}
