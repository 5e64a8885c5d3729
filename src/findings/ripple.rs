//! Findings about the ripple and what it carries.

use super::Finding;
use super::field::LEAST_TELEGRAMS;
use crate::receiver::{Reading, Reception, needed_db};

/// From this angle on an amplitude-only receiver sees less than a quarter of the ripple (cos 76° = 0.24).
const PHASE_ONLY_DEG: f64 = 76.0;

/// Candidates likelier wrong than this say nothing: noise alone gives some candidate every time.
const TELLING_ODDS: f64 = 0.01;

/// A margin below this is worth a warning: 3 dB is the reading distance by a tenth or less.
const LITTLE_SPARE_DB: f64 = 3.0;

pub(super) fn findings(reception: &Reception, odds: f64) -> Vec<Finding> {
    let mut found = Vec::new();
    if reception.readings.len() > 1 {
        found.push(Finding::new(
            "several-tags",
            format!(
                "{} tags answer at once. A plain reader sees them garble each other and stays silent: take all but one out of the \
                 field.",
                reception.readings.len()
            ),
            &[("tags", reception.readings.len() as f64)],
        ));
    }
    for reading in &reception.readings {
        about_reading(reading, reception, &mut found);
    }
    let telling = reception.candidate.as_ref();
    let field_seen = reception.field.present || !reception.kind.has_carrier();
    if reception.readings.is_empty()
        && field_seen
        && reception.telegrams >= LEAST_TELEGRAMS
        && let Some(candidate) = telling
    {
        found.push(why_unread(candidate, reception, odds));
    }
    found
}

fn about_reading(reading: &Reading, reception: &Reception, found: &mut Vec<Finding>) {
    let angle_deg = reading.attempt.angle.to_degrees();
    if reception.kind.has_carrier() && angle_deg.abs() > PHASE_ONLY_DEG {
        found.push(Finding::new(
            "phase-only",
            format!(
                "The ripple is almost pure phase ({angle_deg:.0}°): a reader that looks at the amplitude sees {:.0} % of it. Shift the \
                 antenna's tuning a little to either side and the ripple turns into amplitude.",
                100.0 * angle_deg.to_radians().cos().abs()
            ),
            &[("angle_deg", angle_deg)],
        ));
    }
    if reading.spare_db < LITTLE_SPARE_DB {
        found.push(Finding::new(
            "little-margin",
            format!(
                "The number was read with {:.1} dB to spare: a little more noise or distance and it is gone. A longer capture adds \
                 3 dB each time its length doubles.",
                reading.spare_db
            ),
            &[("spare_db", reading.spare_db)],
        ));
    }
}

fn why_unread(candidate: &Reading, reception: &Reception, odds: f64) -> Finding {
    let decision = &candidate.attempt.decision;
    if decision.odds_wrong <= odds && !candidate.attempt.fits() {
        return Finding::new(
            "telegram-does-not-fit",
            "A strong telegram repeats, but its check bits do not fit any number: damaged on the way, or another kind of \
             telegram. Nothing was corrected; look for a second tag or a strong interferer, or capture again."
                .into(),
            &[
                ("contradicted_signs", f64::from(decision.contradicted)),
                ("misfit_probability", decision.misfit),
                ("folded_db", candidate.attempt.folded_db()),
            ],
        );
    }
    let missing_db = -candidate.spare_db;
    if decision.odds_wrong < TELLING_ODDS && missing_db > 0.0 {
        return Finding::new(
            "ripple-too-weak",
            format!(
                "A tag's ripple is there, {missing_db:.1} dB too weak to be sure of the number. A capture {:.1} times as long, or the tag \
                 nearer to the antenna, will read.",
                10f64.powf(missing_db / 10.0)
            ),
            &[
                ("missing_db", missing_db),
                ("odds_wrong", decision.odds_wrong),
                ("folded_db", candidate.attempt.folded_db()),
            ],
        );
    }
    if !reception.field.present {
        return Finding::new(
            "nothing-to-read",
            "Neither a field at 134.2 kHz nor a tag's bit rate is in this capture. For a capture of the field itself sample at \
             300 kS/s or more; behind a detector, at 48 kS/s or more, with the tag in place."
                .into(),
            &[("rate_hz", reception.rate_hz)],
        );
    }
    let least_depth = candidate.attempt.depth * 10f64.powf(-candidate.spare_db / 20.0);
    let limit = if reception.level_known {
        format!("of {:.4} % of the field", (100.0 * least_depth).max(1e-4))
    } else {
        format!("of {least_depth:.3e} in the capture's unit")
    };
    Finding::new(
        "no-ripple",
        format!(
            "The field is there but no animal tag's ripple: a ripple {limit} would have been read in this capture. No tag, a tag \
             turned across the field, too far away, or of another kind: one capture cannot tell these apart. Put a known good tag \
             in the same place, its axis along the field (through the antenna's loop), and compare."
        ),
        &[
            ("least_readable_depth", least_depth),
            ("needed_folded_db", needed_db(odds)),
        ],
    )
}
