//! What differs from another capture: one without a tag, or a known good one.

use super::deviation::{self, in_db, known_signs, unknown_signs};
use super::ripple::least_depth;
use super::{Finding, power_db};
use crate::receiver::Reception;

/// Changes of the field below this are within what a hand on the table does.
const FIELD_DB: f64 = 0.3;
/// Noise of two short captures differs by a decibel by chance.
const NOISE_DB: f64 = 1.5;
/// Ripples differ by this much without a cause.
const RIPPLE_DB: f64 = 1.0;

/// Noise variance of one boundary pulse in the capture's unit, relative ones times the field's power.
fn noise(reception: &Reception) -> Option<f64> {
    let relative = reception.survey.as_ref()?.noise_var?;
    let level = if reception.level_known {
        reception.field.amplitude?
    } else {
        1.0
    };
    Some(relative * level * level)
}

/// A ripple, whether or not a number was read from it.
struct Ripple {
    /// Mean square, in the capture's unit squared.
    power: f64,
    /// Its relative variance.
    variance: f64,
    is_read: bool,
}

fn ripple(reception: &Reception) -> Option<Ripple> {
    let level = if reception.level_known {
        reception.field.amplitude?
    } else {
        1.0
    };
    if let Some(reading) = reception.readings.first() {
        let attempt = &reading.attempt;
        return Some(Ripple {
            power: (attempt.depth * level).powi(2),
            variance: known_signs(attempt.ebn0 * attempt.telegrams),
            is_read: true,
        });
    }
    let presence = reception.survey.as_ref()?.presence?;
    Some(Ripple {
        power: (presence.depth() * level).powi(2),
        variance: unknown_signs(presence.folded),
        is_read: false,
    })
}

/// Whether something repeats that is not one tag's telegram.
fn is_smeared(reception: &Reception) -> bool {
    let survey = reception.survey.as_ref();
    survey.is_some_and(|survey| survey.smeared.is_some())
}

/// A difference with its standard deviation, dB.
fn with_deviation(db: f64, deviation_db: f64) -> String {
    format!("{db:+.1} ± {:.1} dB", deviation_db.max(0.1))
}

/// The weakest ripple (mean square) that could be read in a capture.
fn readable(reception: &Reception, odds: f64) -> Option<f64> {
    let level = if reception.level_known {
        reception.field.amplitude?
    } else {
        1.0
    };
    Some((least_depth(reception, odds)? * level).powi(2))
}

/// Compares a capture with another, called `name`.
pub fn compare(this: &Reception, other: &Reception, name: &str, odds: f64) -> Finding {
    let mut said: Vec<String> = Vec::new();
    let mut evidence: Vec<(&str, f64)> = Vec::new();
    let mut field_db = 0.0;
    match (this.field.amplitude, other.field.amplitude) {
        (Some(here), Some(there)) if there > 0.0 && here > 0.0 => {
            field_db = 20.0 * (here / there).log10();
            evidence.push(("field_db", field_db));
            said.push(if field_db.abs() < FIELD_DB {
                "the field is as strong".into()
            } else {
                format!("the field is {field_db:+.1} dB")
            });
        }
        (None, Some(_)) if other.field.present => said.push("the field is missing here".into()),
        (Some(_), None) if this.field.present => said.push("there was no field there".into()),
        _ => {}
    }
    if let (Some(here), Some(there)) = (this.field.frequency_hz, other.field.frequency_hz) {
        evidence.push(("field_shift_hz", here - there));
        if (here - there).abs() > 5.0 {
            said.push(format!("its frequency {:+.0} Hz", here - there));
        }
    }
    let mut noise_db = 0.0;
    if let (Some(here), Some(there)) = (noise(this), noise(other)) {
        noise_db = power_db(here / there);
        let strays = |reception: &Reception| deviation::noise(reception.telegrams_added());
        let deviation_db = in_db(strays(this) + strays(other));
        evidence.push(("noise_db", noise_db));
        evidence.push(("noise_deviation_db", deviation_db));
        said.push(if noise_db.abs() < NOISE_DB {
            "the noise the same".into()
        } else {
            format!("the noise {}", with_deviation(noise_db, deviation_db))
        });
    }
    let (ours, theirs) = (ripple(this), ripple(other));
    if let (Some(here), Some(there)) = (&ours, &theirs) {
        let ripple_db = power_db(here.power / there.power);
        let deviation_db = in_db(here.variance + there.variance);
        evidence.push(("ripple_db", ripple_db));
        evidence.push(("ripple_deviation_db", deviation_db));
        said.push(if ripple_db.abs() < RIPPLE_DB {
            "the ripple as strong".into()
        } else {
            format!("the ripple {}", with_deviation(ripple_db, deviation_db))
        });
    }
    let conclusion = match (ours, theirs) {
        (None, None) => missing_in_both(this, odds, field_db),
        (Some(here), None) if here.is_read => {
            "A tag answers here and none did there: that was a tag's absence (or one too weak to see).".into()
        }
        (Some(_), None) => {
            "Something answers here that is not there: a tag is in the field, too weak to read. Bring it nearer or record longer."
                .into()
        }
        (None, Some(_)) if is_smeared(this) => {
            "What repeats here is no single telegram, so whether the other capture's tag is in it nobody can tell: capture again, then compare."
                .into()
        }
        (None, Some(there)) => gone(this, there.power, odds, field_db, noise_db, &mut evidence),
        (Some(here), Some(_)) if here.is_read => "Both captures hold a tag's ripple.".into(),
        (Some(here), Some(there)) => {
            weaker(power_db(here.power / there.power), field_db, noise_db)
        }
    };
    Finding::new(
        "compared",
        format!(
            "Against {name}: {}. {conclusion}",
            if said.is_empty() {
                "nothing can be compared".to_string()
            } else {
                said.join(", ")
            }
        ),
        &evidence,
    )
}

fn missing_in_both(this: &Reception, odds: f64, field_db: f64) -> String {
    let limit = match (readable(this, odds), this.field.amplitude) {
        (Some(square), Some(level)) if this.level_known && level > 0.0 => {
            format!(" above {:.4} % of the field", 100.0 * square.sqrt() / level)
        }
        _ => String::new(),
    };
    if field_db.abs() >= FIELD_DB {
        return format!(
            "Neither holds a ripple{limit}, but the field differs: something loads or moves the antenna, which a tag without enough \
             voltage does too."
        );
    }
    format!(
        "Neither holds a ripple{limit}. If the other was taken without a tag, the tag here is not heard: it lies across the field, too \
         far away, without power, or is of another kind. Put it right onto the antenna, its axis through the loop, and capture \
         again: a good tag shows there."
    )
}

/// A ripple that was there is not here.
fn gone(
    this: &Reception,
    there: f64,
    odds: f64,
    field_db: f64,
    noise_db: f64,
    evidence: &mut Vec<(&'static str, f64)>,
) -> String {
    let Some(least) = readable(this, odds) else {
        return "The ripple of the other capture is not in this one.".into();
    };
    let over_db = power_db(there / least);
    evidence.push(("other_over_limit_db", over_db));
    if over_db > 0.0 {
        let why = if field_db < -3.0 {
            "the field is weaker, so look at antenna and supply first"
        } else {
            "the field is not to blame, so the tag is absent, turned, too far away, unpowered or of another kind"
        };
        return format!(
            "The other capture's ripple would be seen here with {over_db:.1} dB to spare, and is not: {why}."
        );
    }
    let why = if noise_db > NOISE_DB {
        "the noise hides it: find its source, or record longer"
    } else {
        "record longer"
    };
    format!(
        "The other capture's ripple would be {:.1} dB too weak to be read here, so \"no tag\" and \"too weak\" cannot be told apart: {why}.",
        -over_db
    )
}

fn weaker(ripple_db: f64, field_db: f64, noise_db: f64) -> String {
    if ripple_db < field_db - RIPPLE_DB && ripple_db < -RIPPLE_DB {
        "The ripple has lost more than the field: the tag is farther away, turned, or coupled less."
            .into()
    } else if noise_db > NOISE_DB {
        "The ripple is what it was; the noise has grown and hides it. Find its source.".into()
    } else if field_db < -FIELD_DB {
        "Field and ripple have gone down together: the probe is farther away, or the driver is weaker.".into()
    } else {
        "Nothing of this explains why one is read and the other is not; a longer capture will tell."
            .into()
    }
}
