//! Findings about the record itself: interrupted, with a field in a small part of it only, or in too many parts.

use super::Finding;
use crate::receiver::{Gap, GapKind, Reception};

pub(super) fn findings(reception: &Reception) -> Vec<Finding> {
    gap(reception)
        .into_iter()
        .chain(briefly_on(reception))
        .chain(given_up(reception))
        .collect()
}

/// A record that can be looked at in more ways than are worth their time.
fn given_up(reception: &Reception) -> Option<Finding> {
    let seen = reception.seen.as_ref()?;
    if !reception.gave_up || reception.tangled {
        return None;
    }
    let pieces = seen.pieces.len();
    Some(Finding::new(
        "not-all-tried",
        format!(
            "Nothing was read in the usual ways, and of the others some were not tried, as they would take too long: the field is in {pieces} pieces, \
             or there are others beside it. Read a part alone in which the field is steady (--from and --to, seconds), or capture once more with \
             other readers off."
        ),
        &[("pieces", pieces as f64)],
    ))
}

/// A field that is there for a small part of the record only, each time too briefly for a telegram.
///
/// What looks like it: sparks and impulses (they ring for some ten cycles, these stretches last for 64 and more), and a field
/// that ends or begins with the record (that is read as it is). Between the stretches there is a sixth of the level or less.
fn briefly_on(reception: &Reception) -> Option<Finding> {
    let brief = reception.survey.as_ref()?.brief.as_ref()?;
    let lengths = brief.on.iter().map(|on| on.1 - on.0);
    let longest_s = lengths.clone().fold(0.0, f64::max);
    let count = brief.on.len();
    let first_s = brief.on.first()?.0;
    let period_s = (count > 1).then(|| (brief.on[count - 1].0 - first_s) / (count - 1) as f64);
    let often = match period_s {
        Some(period_s) => format!(
            "{count} times, every {:.1} ms on average, first at {first_s:.4} s",
            1e3 * period_s
        ),
        None => format!("once, at {first_s:.4} s"),
    };
    let mut finding = Finding::new(
        "field-briefly-on",
        format!(
            "The field is on {often}, for {:.1} ms at most: a reader that only looks whether a tag is there, to save power, or one that was just \
             being switched. A tag needs 1 ms to wake up and 30.5 ms for a telegram. Have the reader read while you record: press its \
             button, or bring the tag so near that it notices.",
            1e3 * longest_s
        ),
        &[
            ("times", count as f64),
            ("longest_on_s", longest_s),
            ("first_s", first_s),
            ("on_s", lengths.sum()),
        ],
    );
    if let Some(period_s) = period_s {
        finding.evidence.insert("period_s".into(), period_s.into());
    }
    let on: Vec<Vec<f64>> = brief
        .on
        .iter()
        .take(64)
        .map(|on| vec![on.0, on.1])
        .collect();
    finding.evidence.insert("on".into(), on.into());
    Some(finding)
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
    finding.evidence.insert("at_s".into(), list(&at_s).into());
    finding
        .evidence
        .insert("jumps_cycles".into(), list(&|gap| gap.jump_cycles).into());
    Some(finding)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::receiver::{Samples, Signal, receive};

    /// A search that was cut short is told of, but not where it is known that several tags are in the way.
    #[test]
    fn what_was_not_tried_is_told() {
        let cycle = |k: usize| (std::f64::consts::TAU * 134_200.0 / 1e6 * k as f64).cos() as f32;
        let samples: Vec<f32> = (0..60_000).map(cycle).collect();
        let signal = Signal {
            samples: Samples::Real(&samples),
            rate_hz: Some(1e6),
            centre_hz: 0.0,
            logic: false,
        };
        let mut reception = receive(&signal, 1e-5);
        assert!(!reception.gave_up && given_up(&reception).is_none());
        reception.gave_up = true;
        let told = given_up(&reception).unwrap();
        assert_eq!(told.measured("pieces"), Some(1.0));
        reception.tangled = true;
        assert!(given_up(&reception).is_none());
    }
}
