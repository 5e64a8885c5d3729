//! Findings about what the recorder and the field's clock did: steps of the gain, instants that stray, peaks instead of
//! samples, lossy coding, a frequency that drifts or jumps.

use super::Finding;
use crate::receiver::survey::Survey;
use crate::receiver::{ClockMoves, Reception};

pub(super) fn findings(reception: &Reception) -> Vec<Finding> {
    let Some(survey) = &reception.survey else {
        return Vec::new();
    };
    let mut found = Vec::new();
    found.extend(peaks(survey));
    found.extend(coded(survey));
    found.extend(jitter(reception, survey));
    found.extend(gain_steps(reception));
    found.extend(clock(reception));
    found
}

/// Looks like it: a capture at twice the field's frequency, locked to it, sampled at its crests. Recorders do not lock.
fn peaks(survey: &Survey) -> Option<Finding> {
    survey.peaks.then(|| {
        Finding::new(
            "peak-detect-record",
            "Of each two samples the first is always the lower one (or the higher): these are the least and the largest value of an \
             interval, as an instrument keeps them in peak-detect mode, and not samples. Frequencies and levels in them mean \
             nothing. Capture again in the ordinary sampling mode, at 300 kS/s or more."
                .into(),
            &[],
        )
    })
}

/// Looks like it: nothing known; cosines of frames are nothing in one place of the frames only.
fn coded(survey: &Survey) -> Option<Finding> {
    survey.coded_frames.map(|frame| {
        Finding::new(
            "lossy-compression",
            format!(
                "The samples went through a lossy coder with frames of {frame} samples: in them most frequencies hold nothing at all. What \
                 it took for inaudible is the ripple. Store captures as WAV, NPY or text, without compression."
            ),
            &[("frame_samples", frame as f64)],
        )
    })
}

/// Looks like it: noise of an oscillator, which lasts from sample to sample; a ripple that is all phase, which lasts for
/// half bits. Strays of the instants know nothing of each other, and leave the crests alone.
fn jitter(reception: &Reception, survey: &Survey) -> Option<Finding> {
    if reception.clipped_share().is_some() {
        // Flat tops leave noise on the slopes only, too.
        return None;
    }
    let jitter_s = survey.jitter_s?;
    let radians = std::f64::consts::TAU * reception.field.frequency_hz? * jitter_s;
    Some(Finding::new(
        "sampling-jitter",
        format!(
            "The instants of sampling stray by {:.0} ns (rms), each on its own: the noise is on the field's slopes and not on its crests, and \
             hides what a tag does to the field's phase. Take the sample clock from a crystal, or sample with a converter instead \
             of a program's loop.",
            1e9 * jitter_s
        ),
        &[("jitter_s", jitter_s), ("phase_noise_rad", radians)],
    ))
}

/// Looks like it: a field switched to another strength, which takes an antenna's cycles; another reader switched on, which turns
/// the phase too; a loose contact, which does not stay.
fn gain_steps(reception: &Reception) -> Option<Finding> {
    let seen = reception.seen.as_ref()?;
    let first = reception.gain_steps.first()?;
    let largest_db = reception
        .gain_steps
        .iter()
        .map(|step| 20.0 * step.ratio.log10())
        .max_by(|a, b| a.abs().total_cmp(&b.abs()))?;
    let first_s = (seen.cycles.first + first.at) as f64 / seen.clock_hz;
    let count = reception.gain_steps.len();
    Some(Finding::new(
        "gain-steps",
        format!(
            "The level steps {count} {}, first at {:.1} ms and by {largest_db:+.1} dB at most, from one field cycle to the next: faster than an \
             antenna can, so the recorder's gain changed (automatic range or level control). It was made good before reading here; \
             levels are those at the beginning. Set a fixed range.",
            if count == 1 { "time" } else { "times" },
            1e3 * first_s
        ),
        &[
            ("steps", count as f64),
            ("first_s", first_s),
            ("largest_db", largest_db),
        ],
    ))
}

/// Looks like it: two fields that beat slowly, which moves the level as much; hum on a reader's oscillator, which goes to and
/// fro.
fn clock(reception: &Reception) -> Option<Finding> {
    if !reception.field.present {
        return None;
    }
    Some(match reception.clock? {
        ClockMoves::Drifts {
            change_hz, seconds, ..
        } => Finding::new(
            "clock-drift",
            format!(
                "The field's frequency drifts evenly by {change_hz:+.1} Hz in {seconds:.2} s, its level steady: an oscillator of coil, resistor and \
                 capacitor that warms up, here or in the recorder. The tag follows the field and is read all the same; a \
                 decoder that counts time slips. Use a crystal."
            ),
            &[("change_hz", change_hz), ("seconds", seconds)],
        ),
        ClockMoves::Hops {
            jumps,
            between_hz: [lowest_hz, highest_hz],
        } => Finding::new(
            "clock-hops",
            format!(
                "The field's frequency jumps {jumps} times, between {lowest_hz:.0} and {highest_hz:.0} Hz, its level steady: a synthesiser that is \
                 retuned, or spread spectrum. A tag follows the field, a decoder that counts time does not. Let the frequency stand still."
            ),
            &[
                ("jumps", jumps as f64),
                ("lowest_hz", lowest_hz),
                ("highest_hz", highest_hz),
            ],
        ),
    })
}
