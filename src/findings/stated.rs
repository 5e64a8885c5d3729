//! Findings about what was stated of a capture and cannot be right: its rate, the centre of its complex samples; and about
//! lines that a receiver for complex samples makes itself.

use super::{Finding, khz};
use crate::receiver::survey::Line;
use crate::receiver::{Kind, NOMINAL_HZ, Reception, TELEGRAM};

/// Thousands counted as 1024s, or the reverse.
const BINARY: f64 = 1.024;
/// A field agrees with 134.2 kHz times that within this: the reader's tolerance of 1e-4 and as much for the sample clock.
const AGREES: f64 = 3e-4;

/// A line so near to the centre, or to the field's mirror image, is that, Hz: tones are found to half a hertz.
const SAME_HZ: f64 = 3.0;
/// Fields nearer to the centre than this have their mirror image among their own lines.
const APART_HZ: f64 = 25.0;
/// An image of the field is weaker than this (−14 dB: gain off by a third, or phase by 23°).
const STRONGEST_IMAGE: f64 = 0.2;

pub(super) fn findings(reception: &Reception) -> Vec<Finding> {
    let mut found = Vec::new();
    found.extend(wrong_rate(reception));
    found.extend(wrong_centre(reception));
    found.extend(own_lines(reception));
    found
}

/// Whether the field's frequency is what the rate makes of it, and not worth a word of its own.
pub(super) fn explains_frequency(reception: &Reception) -> bool {
    binary_factor(reception).is_some()
}

fn binary_factor(reception: &Reception) -> Option<f64> {
    let real = matches!(reception.kind, Kind::Direct);
    let field_hz = reception
        .field
        .frequency_hz
        .filter(|_| real && !reception.rate_assumed)?;
    [BINARY, 1.0 / BINARY]
        .into_iter()
        .find(|factor| (field_hz / (factor * NOMINAL_HZ) - 1.0).abs() < AGREES)
}

/// A rate that is off by a power of ten, or by 1.024.
///
/// What looks like it: a reader on another frequency, or none. The tag divides the field that there is, so its bits say
/// nothing of the rate. A number that reads at the other rate says that the field is one for animals; and no oscillator is
/// off by a power of ten, or by 1.024 within its tolerance, by chance.
fn wrong_rate(reception: &Reception) -> Option<Finding> {
    let field_hz = reception.field.frequency_hz?;
    let (stated_hz, fitting_hz, why) =
        match (reception.doubts.stated_rate_hz, binary_factor(reception)) {
            (Some(stated_hz), _) => {
                let factor = reception.rate_hz / stated_hz;
                let why = match factor {
                    1e3 => ", as of a time column in milliseconds that is taken for seconds"
                        .to_string(),
                    1e6 => ", as of a time column in microseconds that is taken for seconds"
                        .to_string(),
                    factor if factor > 1.0 => format!(", {factor:.0} times as much"),
                    factor => format!(", {:.0} times less", 1.0 / factor),
                };
                (stated_hz, reception.rate_hz, why)
            }
            (None, Some(factor)) => {
                let why = ": thousands were counted as 1024s, or the reverse".to_string();
                (reception.rate_hz, reception.rate_hz / factor, why)
            }
            (None, None) => return None,
        };
    let used = if reception.doubts.stated_rate_hz.is_some() {
        " Everything here was worked out with it."
    } else {
        ""
    };
    let shown_hz = field_hz * stated_hz / reception.rate_hz;
    Some(Finding::new(
        "wrong-rate",
        format!(
            "The stated rate of {stated_hz:.6} samples a second would put the field at {}. It is at 134.2 kHz with {fitting_hz:.0} samples a \
             second{why}.{used} Give the right one with --rate.",
            khz(shown_hz)
        ),
        &[
            ("stated_rate_hz", stated_hz),
            ("fitting_rate_hz", fitting_hz),
            ("shown_hz", shown_hz),
        ],
    ))
}

/// A centre that is off, or I and Q that are exchanged.
///
/// What looks like it: a reader off its frequency (its tag's bits follow it, so they say the same as the centre does); a tag
/// of another bit rate (no number reads). Here a number reads on the clock that its own bits show, and that is not the
/// field's as the centre makes it. Exchanged parts mirror the band at the centre: the field by the bits is then where the
/// mirror image is, which a centre that is off meets by chance only.
fn wrong_centre(reception: &Reception) -> Option<Finding> {
    let doubts = &reception.doubts;
    let field_hz = reception.field.frequency_hz?;
    let (centre_hz, shown_hz) = (doubts.centre_hz?, doubts.shown_hz?);
    let fitting_hz = doubts.fitting_centre_hz(field_hz)?;
    let evidence = [
        ("centre_hz", centre_hz),
        ("fitting_centre_hz", fitting_hz),
        ("shown_hz", shown_hz),
        ("field_by_bits_hz", field_hz),
        ("off_hz", fitting_hz - centre_hz),
    ];
    let seen = format!(
        "With its centre at {centre_hz:.0} Hz the capture shows the field at {shown_hz:.0} Hz, but the tag's bits, each 32 cycles of it, count \
         {field_hz:.0} Hz"
    );
    if doubts.exchanged(field_hz) {
        return Some(Finding::new(
            "mirrored-iq",
            format!(
                "{seen}: as far on the other side of the centre. I and Q are exchanged, or one has its sign turned. Exchange the channels; \
                 the number does not depend on it."
            ),
            &evidence,
        ));
    }
    Some(Finding::new(
        "wrong-centre",
        format!(
            "{seen}. A centre of {fitting_hz:.0} Hz fits (--centre); the number does not depend on it."
        ),
        &evidence,
    ))
}

/// What a line is of the receiver's own making.
#[derive(Clone, Copy, PartialEq)]
pub(super) enum Own {
    /// Its local oscillator, or an offset, at the centre.
    Centre,
    /// The field once more, mirrored at the centre.
    Image,
}

/// Whether a line of complex samples is the receiver's own.
///
/// What looks like it: a transmitter that happens to be there. That it should be so within some hertz of the very centre, or
/// of the image, has a chance of one in a thousand.
pub(super) fn own_line(reception: &Reception, line: &Line) -> Option<Own> {
    let centre_hz = reception.doubts.centre_hz?;
    let field_hz = reception.field.frequency_hz?;
    // With another clock the line keeps its distance from the field.
    let shown_hz = reception.doubts.shown_hz.unwrap_or(field_hz);
    let off_hz = shown_hz - centre_hz;
    let line_hz = line.frequency_hz - field_hz + off_hz;
    if off_hz.abs() < APART_HZ {
        return None;
    }
    // A short record's lines are wide.
    let seconds = reception.telegrams * TELEGRAM as f64 / field_hz;
    let same_hz = SAME_HZ.max(1.0 / seconds.max(f64::MIN_POSITIVE));
    if line_hz.abs() < same_hz {
        return Some(Own::Centre);
    }
    ((line_hz + off_hz).abs() < same_hz && line.level < STRONGEST_IMAGE).then_some(Own::Image)
}

fn own_lines(reception: &Reception) -> Vec<Finding> {
    let Some(survey) = &reception.survey else {
        return Vec::new();
    };
    let level = |own: Own| {
        let of_it = survey
            .lines
            .iter()
            .filter(|line| own_line(reception, line) == Some(own));
        of_it.map(|line| line.level).max_by(f64::total_cmp)
    };
    let mut found = Vec::new();
    if let Some(level) = level(Own::Centre) {
        let level_db = 20.0 * level.log10();
        found.push(Finding::new(
            "dc-spike",
            format!(
                "A line stands at the very centre of the complex samples, at {level_db:.0} dB against the field: the receiver's own, an offset of \
                 I and Q. It was removed; tune some kilohertz beside the field, so that it stays clear of the data."
            ),
            &[("level", level), ("level_db", level_db)],
        ));
    }
    if let Some(level) = level(Own::Image) {
        let level_db = 20.0 * level.log10();
        found.push(Finding::new(
            "iq-image",
            format!(
                "The field stands once more on the other side of the centre, at {level_db:.0} dB: I and Q are not equally strong, or not a quarter of \
                 a cycle apart. It was removed; calibrate the receiver, or tune so far off that the image stays clear of the data."
            ),
            &[("level", level), ("level_db", level_db)],
        ));
    }
    found
}
