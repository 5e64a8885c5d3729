//! Findings about the field: whether it is there, on what frequency, for how long, how steady.

use super::capture::on_its_own_image;
use super::stated::explains_frequency;
use super::{Finding, khz};
use crate::receiver::survey::Hum;
use crate::receiver::{Kind, LEAST_RATE_HZ, NOMINAL_HZ, Piece, Reception, TELEGRAM};

/// Ten times a reader's own tolerance of ±13.42 Hz (ISO 11785, from memory): a tuning or clock fault.
const FAR_OFF_HZ: f64 = 134.2;

/// Twice the field's frequency: from here on a capture is one of the field itself.
pub(super) const FAST_HZ: f64 = 2.0 * NOMINAL_HZ;

/// Beyond the reader's tolerance and 50 ppm of the digitiser's clock (common practice for crystals, no source), 6.7 Hz.
const CLOCK_OFF_HZ: f64 = 20.2;

/// A single telegram must be in the capture from its first coded boundary to the last: 102 of 128.
pub(super) const LEAST_TELEGRAMS: f64 = 1.0;

/// One telegram and the millisecond a tag takes to wake up (from memory).
const LEAST_PULSE_S: f64 = 4096.0 / NOMINAL_HZ + 0.001;

/// Slow changes of the field's level worth a word.
const UNSTEADY: f64 = 0.03;

/// Of some hundred tracked levels the farthest lies 2.6 deviations out, beyond 5 one in 17 000 (normal distribution).
const NOISE_DEVIATIONS: f64 = 5.0;

/// Hum in the field's level worth a word: a third of the ripple of a tag at some distance.
const FIELD_HUM: f64 = 0.003;
/// Hum beside the field worth a word: it takes as much of the digitiser's range.
const ADDED_HUM: f64 = 0.03;
/// Hum on an envelope, relative to its level.
const ENVELOPE_HUM: f64 = 0.005;
/// Variance ratio from which hum is there: F with 8 and 80 degrees exceeds 8 with a probability of 1e-7.
const HUM_RATIO: f64 = 12.0;
/// The mains explain most of what is left beside the drift.
const HUM_EXPLAINS: f64 = 0.6;

pub(super) fn findings(reception: &Reception) -> Vec<Finding> {
    let mut found = Vec::new();
    let carrier = reception.kind.has_carrier();
    // A capture fast enough for a field that shows none is taken for one, whatever view was tried last.
    let for_a_field = carrier || (reception.kind == Kind::Envelope && reception.rate_hz >= FAST_HZ);
    if reception.rate_hz <= 0.0 {
        found.push(Finding::new(
            "rate-unknown",
            "Nothing states the sample rate, and these samples do not show it: give it with --rate, in samples a second.".into(),
            &[],
        ));
    } else if !reception.field.present
        && for_a_field
        && reception.rate_hz >= LEAST_RATE_HZ
        && on_its_own_image(reception).is_none()
    {
        found.push(Finding::new(
            "no-field",
            "No steady tone between 110 and 150 kHz stands out: either the reader's field is off, or the probe does not \
             pick it up. Hold the pick-up coil flat against the antenna and check the channel and the time base."
                .into(),
            &[("rate_hz", reception.rate_hz)],
        ));
    }
    if let Some(frequency_hz) = reception.field.frequency_hz {
        let off_hz = frequency_hz - NOMINAL_HZ;
        let carrier = carrier && !explains_frequency(reception);
        if carrier && !reception.rate_assumed && off_hz.abs() > FAR_OFF_HZ {
            found.push(far_off(frequency_hz, off_hz, reception.rate_hz));
        } else if !reception.rate_assumed && carrier && off_hz.abs() > CLOCK_OFF_HZ {
            found.push(clock_off(frequency_hz, off_hz));
        }
    }
    found.extend(too_short(reception));
    let hum = hum(reception);
    // Hum moves the level too, and is the better name for it.
    if hum.is_none()
        && carrier
        && let Some(swing) = slow_swing(reception)
    {
        found.push(Finding::new(
            "field-unsteady",
            format!(
                "The field's level strays by {:.1} % within the capture: something moves (hand, antenna, metal, another tag), the \
                 supply sags, or a second field beats slowly with this one. Fix everything in place and capture again.",
                100.0 * swing
            ),
            &[("level_swing", swing)],
        ));
    }
    found.extend(hum);
    found
}

/// Largest departure of the level from its mean that is no noise, in stretches of a telegram and more: in shorter ones the
/// ripple does not average out of it.
fn slow_swing(reception: &Reception) -> Option<f64> {
    let pieces = &reception.seen.as_ref()?.pieces;
    pieces
        .iter()
        .filter(|piece| piece.ripple.len() >= TELEGRAM)
        .filter(|piece| piece.field.level_swing > UNSTEADY + NOISE_DEVIATIONS * level_noise(piece))
        .map(|piece| piece.field.level_swing)
        .max_by(f64::total_cmp)
}

/// Standard deviation of the tracked level, relative to it: a telegram's values go into a straight line, which is known
/// half as well at its ends as in its middle; the level is one of the ripple's two parts.
fn level_noise(piece: &Piece) -> f64 {
    let count = piece.ripple.len() as f64;
    let power = piece
        .ripple
        .iter()
        .map(|r| f64::from(r.norm_sqr()))
        .sum::<f64>()
        / count;
    2.0 * (0.5 * power / TELEGRAM as f64).sqrt()
}

fn too_short(reception: &Reception) -> Option<Finding> {
    // In a folded record bursts of anything pass for a field.
    let bursts = reception.kind == Kind::Folded && !reception.field.present;
    if !reception.kind.has_carrier() || bursts {
        return None;
    }
    let pulses = reception
        .survey
        .as_ref()
        .map_or(&[][..], |survey| &survey.edges.whole_pulses_s);
    let longest_s = pulses.iter().copied().fold(0.0, f64::max);
    // Two whole pulses say how the reader works; a field that is on longer at either end is no short pulse.
    let longest_on_s = reception
        .field
        .on
        .iter()
        .map(|on| on.1 - on.0)
        .fold(longest_s, f64::max);
    if pulses.len() >= 2 && longest_on_s < LEAST_PULSE_S {
        return Some(Finding::new(
            "pulses-too-short",
            format!(
                "The field is switched on for {:.1} ms at a time, and a tag needs about 1 ms to wake up and then 30.5 ms for one \
                 telegram, which it begins anew with each pulse: the field goes off before a reader has heard a whole telegram. Let it stay \
                 on for 50 ms or more.",
                1e3 * longest_on_s
            ),
            &[
                ("longest_on_s", longest_on_s),
                ("least_on_s", LEAST_PULSE_S),
                ("pulses", pulses.len() as f64),
            ],
        ));
    }
    let brief = reception
        .survey
        .as_ref()
        .is_some_and(|survey| survey.brief.is_some());
    (reception.field.present && !brief && reception.telegrams < LEAST_TELEGRAMS).then(|| {
        Finding::new(
            "record-too-short",
            format!(
                "The field is in the capture for {:.2} telegrams only; one telegram lasts 30.5 ms. Record at least 70 ms, \
                 better 100 ms, or give several short captures of the same tag with --join.",
                reception.telegrams
            ),
            &[("telegrams", reception.telegrams)],
        )
    })
}

fn told(hum: &&Hum) -> bool {
    hum.ratio > HUM_RATIO && hum.explained > HUM_EXPLAINS
}

/// Hum in the field's level that is worth a word.
pub(super) fn field_hum(reception: &Reception) -> Option<&Hum> {
    level_swing(reception).filter(|hum| hum.one_side.is_none())
}

/// What passes for hum at first sight and is a second field some 50 Hz beside the first: frequency and level against it.
pub(super) fn beating_field(reception: &Reception) -> Option<(f64, f64)> {
    let hum = level_swing(reception)?;
    let field_hz = reception.field.frequency_hz?;
    Some((field_hz + hum.one_side? * hum.strongest_hz, hum.amplitude))
}

fn level_swing(reception: &Reception) -> Option<&Hum> {
    let hum = reception.survey.as_ref()?.field_hum.as_ref();
    hum.filter(told).filter(|hum| hum.amplitude > FIELD_HUM)
}

fn hum(reception: &Reception) -> Option<Finding> {
    let survey = reception.survey.as_ref()?;
    let finding = |hum: &Hum, share: f64, text: String| {
        Finding::new(
            "hum",
            text,
            &[
                ("mains_hz", hum.mains_hz),
                ("strongest_hz", hum.strongest_hz),
                ("share", share),
            ],
        )
    };
    if let Some(hum) = field_hum(reception) {
        return Some(finding(
            hum,
            hum.amplitude,
            format!(
                "The field's level swings by {:.2} % at {:.0} Hz, a harmonic of {:.0} Hz mains: the reader's supply hums. Feed it \
                 from a battery or a better filtered supply.",
                100.0 * hum.amplitude,
                hum.strongest_hz,
                hum.mains_hz
            ),
        ));
    }
    let hum = survey.added_hum.as_ref().filter(told)?;
    let level = reception.field.amplitude.filter(|level| *level > 0.0);
    let (share, least) = match (reception.kind, level) {
        (Kind::Envelope, Some(level)) => (hum.amplitude / level, ENVELOPE_HUM),
        (Kind::Envelope, None) => {
            // Without a level the ripple, or at least the signal's own size, is the measure.
            let levels = survey.levels.as_ref()?;
            (
                hum.amplitude / (0.5 * (levels.highest - levels.lowest)),
                0.2,
            )
        }
        (Kind::Direct | Kind::Folded, Some(level)) => (hum.amplitude / level, ADDED_HUM),
        _ => return None,
    };
    (share > least).then(|| {
        finding(
            hum,
            share,
            format!(
                "Mains hum of {:.0} Hz lies on the samples, {:.1} % of the {}: it gets in through the probe's cable or ground. Run \
                 the instrument from a battery or twist and shorten the leads.",
                hum.strongest_hz,
                100.0 * share,
                if level.is_some() { "field's level" } else { "signal's size" }
            ),
        )
    })
}

fn clock_off(frequency_hz: f64, off_hz: f64) -> Finding {
    Finding::new(
        "clock-off",
        format!(
            "The field reads {off_hz:+.0} Hz ({:+.0} ppm) beside 134.2 kHz, more than a crystal is off. Either the reader's clock is, or the \
             sample clock of the instrument: capture a signal of known frequency to tell which. Reading does not suffer; the tag \
             follows the field.",
            off_hz / NOMINAL_HZ * 1e6
        ),
        &[("frequency_hz", frequency_hz), ("offset_hz", off_hz)],
    )
}

fn far_off(frequency_hz: f64, off_hz: f64, rate_hz: f64) -> Finding {
    let text = if (124_000.0..126_000.0).contains(&frequency_hz) {
        "The field is at 125 kHz: this is a reader for another kind of tag. It does not understand what animal transponders send, \
         and they are tuned to 134.2 kHz and get little power from it. Use a reader made for ISO 11784/11785."
            .to_string()
    } else {
        format!(
            "The field reads {}, {:.0} Hz ({:+.2} %) off 134.2 kHz. Either the reader's oscillator or divider is off, which a reader \
             should hold within some 13 Hz; or, if the reader is known to be good, the clock that the capture was sampled with: its \
             rate was {:.0} S/s then (--rate). A decoder that counts time by such a clock slips {:.1} bits in a telegram.",
            khz(frequency_hz),
            off_hz,
            100.0 * off_hz / NOMINAL_HZ,
            rate_hz * NOMINAL_HZ / frequency_hz,
            128.0 * (off_hz / NOMINAL_HZ).abs()
        )
    };
    Finding::new(
        "field-off-frequency",
        text,
        &[("frequency_hz", frequency_hz), ("offset_hz", off_hz)],
    )
}
