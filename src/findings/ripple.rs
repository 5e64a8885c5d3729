//! Findings about the ripple: how much of it there is, whose, and at which angle.

use super::antenna::{Tuned, antenna_ring};
use super::capture::rounding;
use super::field::{FAST_HZ, LEAST_TELEGRAMS};
use super::{Finding, power_db};
use crate::receiver::survey::Bare;
use crate::receiver::{Kind, Measured, NOMINAL_HZ, Reading, Reception, Stay, needed_db};

/// From this angle on an amplitude-only receiver sees less than a quarter of the ripple (cos 76° = 0.24).
const PHASE_ONLY_DEG: f64 = 76.0;

/// A field this far off turns the ripple by more than any mistuning: half the width of a tank of Q 34.
const OTHER_FIELD_HZ: f64 = 2000.0;

/// Candidates likelier wrong than this say nothing: noise alone gives some candidate every time.
const TELLING_ODDS: f64 = 0.01;
/// … and where no ripple stands out besides, it must be this unlikely: the odds are those of one of many looks.
const TELLING_ALONE: f64 = 1e-3;

/// From this folded Eb/N0 on, dB, a telegram that gives no number is not noise's doing: a right one is read in all but one
/// of 10^6 captures (derived: 102 signs with an error rate of 4e-6 each, one of which does not stop a decision).
pub(super) const TELLING_DB: f64 = 10.0;

/// Half of all telegrams are read at the level needed, 95 % at 1.5 dB more (derived from the odds of single telegrams), and
/// the level itself is known to half a decibel in a record of a telegram and a half: 1.2 dB more are still the limit.
const AT_THE_LIMIT_DB: f64 = 2.7;

/// A telegram's energy is spread over it: any sixteen of its boundaries hold this share of their mean. Of sixteen complex
/// boundaries at no more than noise's level the energy scatters by a quarter (derived), and of eight groups the least
/// stays above half of the mean in all but one of 200.
const EVEN: f64 = 0.3;

/// Standard deviations above noise that say something in a clipped capture.
const CLEAR_OF_CLIPPING: f64 = 12.0;

/// A margin below this is worth a warning: 3 dB is the reading distance by a tenth or less.
const LITTLE_SPARE_DB: f64 = 3.0;

/// `explained`: another finding already says why what is there is no number.
pub(super) fn findings(reception: &Reception, odds: f64, explained: bool) -> Vec<Finding> {
    let mut found = Vec::new();
    found.extend(several(reception));
    for reading in &reception.readings {
        about_reading(reading, reception, &mut found);
    }
    if reception.readings.is_empty() && !explained {
        let why = if reception.telegrams >= LEAST_TELEGRAMS {
            why_unread(reception, odds)
        } else {
            None
        };
        found.extend(why.or_else(|| nothing_to_read(reception)));
    }
    found
}

/// Neither a carrier nor a tag's clock, in a capture too slow to be one of the field.
fn nothing_to_read(reception: &Reception) -> Option<Finding> {
    let slow = reception.rate_hz < FAST_HZ || reception.kind == Kind::Logic;
    (!reception.field.present && !reception.kind.has_carrier() && slow).then(|| {
        Finding::new(
            "nothing-to-read",
            "Neither a carrier at 134.2 kHz nor a tag's bit rate is in this capture. To see the field itself sample at 300 kS/s or more. \
             Behind a diode detector, where 48 kS/s are enough, the field shows as a steady voltage (which a sound input blocks: \
             measure it with a voltmeter) and the tag as a ripple on it; the detector must follow half bits of 119 µs: resistor times \
             capacitor behind the diode 22 µs or so (22 kΩ and 1 nF)."
                .into(),
            &[("rate_hz", reception.rate_hz)],
        )
    })
}

/// Two tags that are there together for less than this are one after the other: their ends are each known to a quarter of a telegram,
/// where they stand out of the noise (seconds).
const AT_ONCE_S: f64 = 0.03;

/// Most tags that were there at one moment.
fn at_once(reception: &Reception) -> usize {
    let begins = reception.readings.iter().flat_map(|reading| &reading.stays);
    let there = |moment_s: f64| {
        let is_there = |reading: &&Reading| {
            let holds = |stay: &Stay| stay.from_s <= moment_s && moment_s < stay.to_s;
            reading.stays.iter().any(holds)
        };
        reception.readings.iter().filter(is_there).count()
    };
    begins
        .map(|stay| there(stay.from_s + AT_ONCE_S.min(0.5 * stay.seconds())))
        .max()
        .unwrap_or(0)
}

fn several(reception: &Reception) -> Option<Finding> {
    let tags = at_once(reception);
    let beside = |candidate: &Measured| {
        reception.readings.iter().any(|reading| {
            let mut both = reading.stays.iter().flat_map(|stay| {
                let together =
                    |other: &Stay| stay.to_s.min(other.to_s) - stay.from_s.max(other.from_s);
                candidate.stays.iter().map(together)
            });
            both.any(|together_s| together_s > AT_ONCE_S)
        })
    };
    let further = reception.candidate.as_ref().filter(|c| {
        reception.readings.len() == 1
            && c.attempt.decision.odds_wrong < TELLING_ODDS
            && c.attempt.fits()
            // Stronger it would have been read.
            && c.spare_db < 0.0
            && beside(c)
    });
    let next = "A plain reader sees them garble each other and stays silent: take all but one out of the field.";
    if let Some(further) = further {
        return Some(Finding::new(
            "several-tags",
            format!(
                "A second tag answers under the one that was read, too weak by {:.1} dB for its number. {next}",
                -further.spare_db
            ),
            &[
                ("tags", 2.0),
                ("second_depth", further.attempt.depth),
                ("second_odds_wrong", further.attempt.decision.odds_wrong),
            ],
        ));
    }
    if reception.readings.is_empty() && reception.tangled {
        return Some(Finding::new(
            "several-tags",
            format!(
                "At least two tags answer at once, so alike in strength and timing that other numbers would give the same \
                 ripple: none is read. {next}"
            ),
            &[("tags_at_least", 2.0)],
        ));
    }
    if tags == 1 && reception.tangled {
        return Some(Finding::new(
            "several-tags",
            format!(
                "At least one more tag answers beside the one that was read, not to be told from others that would give the same \
                 ripple. {next}"
            ),
            &[("tags_at_least", 2.0)],
        ));
    }
    (tags > 1).then(|| {
        Finding::new(
            "several-tags",
            format!("{tags} tags answer at once. {next}"),
            &[("tags", tags as f64)],
        )
    })
}

fn about_reading(reading: &Reading, reception: &Reception, found: &mut Vec<Finding>) {
    let angle_deg = reading.attempt.angle.to_degrees();
    // Off its frequency every circuit turns the ripple: that is put right first.
    let far_off = is_far_off(reception);
    let clipped = reception.clipped_share().is_some();
    if reception.kind.has_carrier() && !clipped && !far_off && angle_deg.abs() > PHASE_ONLY_DEG {
        found.push(Finding::new(
            "phase-only",
            format!(
                "Where the probe sits the ripple is almost pure phase ({:.0}°): a reader that looks at the amplitude there sees \
                 {:.0} % of it. A pick-up coil beside the antenna sees another angle than the antenna does: with one, look at the \
                 antenna itself (with a rated probe) before changing anything. If the probe is on the antenna, shift its tuning a \
                 little to either side and the ripple turns into amplitude.",
                // An axis has no direction: −90° is 90°.
                match angle_deg.round() {
                    -90.0 => 90.0,
                    degrees => degrees,
                },
                100.0 * angle_deg.to_radians().cos().abs()
            ),
            &[("angle_deg", angle_deg)],
        ));
    }
    if reading.spare_db < LITTLE_SPARE_DB {
        found.push(Finding::new(
            "little-margin",
            format!(
                "The number was read with {:.1} dB to spare: a little more noise or distance and it is gone.{}",
                reading.spare_db,
                if reception.adds_up() {
                    " A longer capture adds 3 dB each time its length doubles."
                } else {
                    ""
                }
            ),
            &[("spare_db", reading.spare_db)],
        ));
    }
}

fn is_far_off(reception: &Reception) -> bool {
    let hz = reception.field.frequency_hz;
    hz.is_some_and(|hz| (hz - NOMINAL_HZ).abs() > OTHER_FIELD_HZ)
}

fn why_unread(reception: &Reception, odds: f64) -> Option<Finding> {
    if reception.tangled {
        // Named already: several tags.
        return None;
    }
    let survey = reception.survey.as_ref();
    // Flattened tops and rounding make tones that repeat as a tag does, a little above noise.
    let clear = if reception.clipped_share().is_some() {
        CLEAR_OF_CLIPPING
    } else {
        0.0
    };
    let presence = survey
        .and_then(|survey| survey.presence)
        .filter(|presence| presence.above > clear && presence.depth() > rounding(reception))
        .filter(|_| bare(reception).is_none_or(|bare| bare.evenness() > EVEN))
        // Two levels without noise, and what a field of another kind of tag carries, repeat without being a tag's.
        .filter(|_| reception.kind != Kind::Logic && !is_far_off(reception));
    let telling = if presence.is_some() {
        TELLING_ODDS
    } else {
        TELLING_ALONE
    };
    let likely = reception
        .candidate
        .as_ref()
        .filter(|c| c.attempt.decision.odds_wrong < telling);
    let smeared = survey
        .and_then(|survey| survey.smeared)
        .filter(|_| !is_far_off(reception));
    // The energy at the boundaries says how much is there even where the candidate's signs are wrong.
    let folded_db = match (presence, likely) {
        (Some(presence), _) => Some(power_db(presence.folded)),
        (None, Some(candidate)) => Some(candidate.attempt.folded_db()),
        (None, None) => None,
    };
    if let Some(folded_db) = folded_db {
        let missing_db = needed_db(odds) - folded_db;
        if missing_db > -AT_THE_LIMIT_DB {
            return Some(too_weak(reception, missing_db, folded_db));
        }
        if let Some(crowd) = smeared.filter(|smeared| smeared.crowd) {
            return Some(averaged(crowd.share));
        }
        // Between the two nobody can tell what noise did from what was sent.
        return (folded_db > TELLING_DB && presence.is_some())
            .then(|| garbled(folded_db, -missing_db));
    }
    if !reception.field.present {
        return None;
    }
    Some(smeared.map_or_else(
        || no_ripple(reception, odds),
        |smeared| averaged(smeared.share),
    ))
}

/// The folded bits as they stand.
fn bare(reception: &Reception) -> Option<&Bare> {
    reception.survey.as_ref()?.bare.as_ref()
}

fn too_weak(reception: &Reception, missing_db: f64, folded_db: f64) -> Finding {
    // Where nothing is missing it was bad luck, and twice the length leaves none to it.
    let times = if missing_db > 0.0 {
        10f64.powf(missing_db / 10.0)
    } else {
        2.0
    };
    let on_s: f64 = reception.field.on.iter().map(|on| on.1 - on.0).sum();
    let advice = if !reception.adds_up() {
        // More windows read no more.
        String::from("The tag nearer to the antenna, or less noise,")
    } else if on_s > 0.0 {
        // Rounded up: as much as is named here is enough.
        format!(
            "{:.0} ms of field instead of {:.0} ms, or the tag nearer to the antenna,",
            (1e3 * times * on_s).ceil(),
            1e3 * on_s
        )
    } else {
        format!("A capture {times:.1} times as long, or the tag nearer to the antenna,")
    };
    Finding::new(
        "ripple-too-weak",
        format!(
            "A tag's ripple is there, {}. {advice} will read {}.",
            if missing_db > 0.0 {
                format!("{missing_db:.1} dB too weak to be sure of the number")
            } else {
                "just as strong as half of all numbers need, and this one was not read".to_string()
            },
            if missing_db > 0.0 {
                "half the time"
            } else {
                "more often"
            }
        ),
        &[
            ("missing_db", missing_db),
            ("folded_db", folded_db),
            ("length_factor", times),
        ],
    )
}

/// Strong enough, and still no number.
fn garbled(folded_db: f64, spare_db: f64) -> Finding {
    Finding::new(
        "telegram-does-not-fit",
        format!(
            "Something repeats at a tag's rate, {spare_db:.1} dB stronger than needed, but no number fits it: two tags at once, a tag that \
             moves or begins anew, or data of another kind. Take all tags but one out of the field, hold it still, and capture again."
        ),
        &[("folded_db", folded_db), ("spare_db", spare_db)],
    )
}

/// Rms of the weakest ripple that half of all captures of this noise and length could be read with: Eb/N0 of a ripple r is
/// r²/(2·noise of a boundary pulse).
pub(super) fn least_depth(reception: &Reception, odds: f64) -> Option<f64> {
    let noise_var = reception.survey.as_ref()?.noise_var?;
    let folded = 10f64.powf(needed_db(odds) / 10.0);
    Some((2.0 * noise_var * folded / reception.telegrams_added().max(1.0)).sqrt())
}

/// What to do where no ripple shows, by what the field's edges said about the antenna.
fn no_ripple_advice(reception: &Reception) -> &'static str {
    match antenna_ring(reception) {
        Some(Tuned::Off) => {
            "An antenna as far out of tune as this one leaves most tags without power: tune it first, then capture again."
        }
        Some(Tuned::In) => {
            "The antenna is in tune, so no tag, a tag turned across the field, too far away, or of another kind: one capture cannot \
             tell these apart. Put a known good tag in the same place, its axis along the field (through the antenna's loop), and \
             compare the two with --against."
        }
        None => {
            "No tag, a tag turned across the field, too far away, unpowered (an antenna out of tune does that too), or of another \
             kind: one capture cannot tell these apart. Put a known good tag in the same place, its axis along the field (through \
             the antenna's loop), and compare the two with --against; capture the field while it is switched, and the antenna's \
             tuning shows."
        }
    }
}

/// Looks like it: many tags at once, which no plain reader reads either; a tag's number nobody can tell in both.
fn averaged(share: f64) -> Finding {
    Finding::new(
        "averaged-record",
        format!(
            "{:.0} % of what is beside the field repeats with a telegram's length, and it is not one tag's bits: several sweeps averaged \
             into one record, each with the tag somewhere else in its telegram (or a crowd of tags). Switch averaging off and capture \
             one sweep of 50 ms or more.",
            100.0 * share
        ),
        &[("repeating_share", share)],
    )
}

fn no_ripple(reception: &Reception, odds: f64) -> Finding {
    let least_depth = least_depth(reception, odds).unwrap_or(0.0);
    if reception.clipped_share().is_some() {
        return Finding::new(
            "no-ripple",
            format!(
                "The field is there but no animal tag's ripple in what clipping has left of it; how weak a ripple would have been read nobody \
                 can tell. {}",
                no_ripple_advice(reception)
            ),
            &[("needed_folded_db", needed_db(odds))],
        );
    }
    let limit = if reception.level_known {
        format!("of {:.4} % of the field", (100.0 * least_depth).max(1e-4))
    } else {
        format!("of {least_depth:.3e} in the capture's unit")
    };
    Finding::new(
        "no-ripple",
        format!(
            "The field is there but no animal tag's ripple: a ripple {limit} would have been read in this capture. {}",
            no_ripple_advice(reception)
        ),
        &[
            ("least_readable_depth", least_depth),
            ("needed_folded_db", needed_db(odds)),
        ],
    )
}
