//! Findings about tuned circuits: how the antenna rings at the field's edges, and the track of the ripple.

use super::{Finding, khz, power_db};
use crate::receiver::Reception;
use crate::receiver::survey::Ring;

/// Loss of field from which the tuning is worth a word: 1 dB, a detuning of a quarter of the resonance's width.
const WORTH_TUNING_DB: f64 = 1.0;
/// Rings below this quality are a filter's or a driver's, not a tuned antenna's.
const LEAST_Q: f64 = 4.0;
/// Rings above this one are noise that happens to turn slowly; wire and capacitors of an antenna reach some 100.
const HIGHEST_Q: f64 = 300.0;
/// Standard deviations the detuning must stand out of its own scatter.
const CLEAR: f64 = 5.0;
/// 95 % interval of a mean.
const INTERVAL: f64 = 1.96;

/// Bend of the track, as a share of half the states' distance, from which it is a curve; straight tracks are those of
/// circuits on resonance.
const CURVED: f64 = 0.12;
/// In a narrower band the receiver's own filter smears a change until the next one.
const WIDE_HZ: f64 = 40_000.0;
/// Standard deviations it must stand out by.
const CURVE_CLEAR: f64 = 6.0;

pub(super) fn findings(reception: &Reception) -> Vec<Finding> {
    let mistuned = mistuned(reception);
    let curved = if mistuned.is_none() {
        curved(reception)
    } else {
        None
    };
    mistuned.into_iter().chain(curved).collect()
}

/// What the antenna's ring says of its tuning.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) enum Tuned {
    /// It loses little or nothing by it.
    In,
    /// It loses field by it.
    Off,
}

/// Whether the antenna is in tune; `None` where it was not heard to ring, or not as an antenna does.
pub(super) fn antenna_ring(reception: &Reception) -> Option<Tuned> {
    let ring = reception.survey.as_ref()?.edges.ring?;
    if !(LEAST_Q..HIGHEST_Q).contains(&ring.q) {
        return None;
    }
    if loss_db(&ring, reception.field.frequency_hz?) < WORTH_TUNING_DB {
        return Some(Tuned::In);
    }
    (ring.offset_hz.abs() >= CLEAR * ring.offset_sd_hz).then_some(Tuned::Off)
}

/// Field lost by a resonance beside it.
fn loss_db(ring: &Ring, field_hz: f64) -> f64 {
    let detuning = 2.0 * ring.q * ring.offset_hz / field_hz;
    power_db(1.0 + detuning * detuning)
}

fn mistuned(reception: &Reception) -> Option<Finding> {
    if antenna_ring(reception) != Some(Tuned::Off) {
        return None;
    }
    let ring = reception.survey.as_ref()?.edges.ring?;
    let field_hz = reception.field.frequency_hz?;
    let loss_db = loss_db(&ring, field_hz);
    let natural_hz = field_hz + ring.offset_hz;
    // L·C goes with 1/f².
    let factor = (natural_hz / field_hz).powi(2);
    let change = 100.0 * (factor - 1.0);
    let direction = if change > 0.0 { "more" } else { "less" };
    Some(Finding::new(
        "antenna-mistuned",
        format!(
            "When the field is switched, the antenna rings at {:.2} ± {:.2} kHz with a Q of {:.0} ± {:.0}, not at the field's {}: it is tuned too \
                 {}, which takes {loss_db:.1} dB of field. {:.0} % {direction} capacitance (or {:.0} % {direction} turns: the inductance goes with their square) \
                 puts it right.",
            natural_hz / 1e3,
            (INTERVAL * ring.offset_sd_hz / 1e3).max(0.01),
            ring.q,
            (INTERVAL * ring.q_sd).max(1.0),
            khz(field_hz),
            if ring.offset_hz > 0.0 { "high" } else { "low" },
            change.abs(),
            100.0 * (factor.sqrt() - 1.0).abs(),
        ),
        &[
            ("natural_hz", natural_hz),
            ("natural_interval_hz", INTERVAL * ring.offset_sd_hz),
            ("q", ring.q),
            ("q_interval", INTERVAL * ring.q_sd),
            ("loss_db", loss_db),
            ("capacitance_factor", factor),
            ("rings", ring.rings as f64),
        ],
    ))
}

fn curved(reception: &Reception) -> Option<Finding> {
    // Of several tags each change is measured over the others' ripple.
    if reception.readings.len() > 1 || reception.tangled {
        return None;
    }
    if !reception.kind.has_carrier() || reception.band_hz < WIDE_HZ {
        return None;
    }
    let step = reception.survey.as_ref()?.step?;
    if step.bend.abs() < CURVED.max(CURVE_CLEAR * step.deviation) {
        return None;
    }
    let field_hz = reception.field.frequency_hz?;
    let mut evidence = vec![
        ("bend", step.bend),
        ("bend_sd", step.deviation),
        ("changes", step.changes as f64),
    ];
    let mut place = String::new();
    if let Some(pole) = step.pole {
        let offset_hz = pole.im * field_hz / std::f64::consts::TAU;
        let corner_hz = -pole.re * field_hz / std::f64::consts::TAU;
        evidence.extend([("resonance_offset_hz", offset_hz), ("corner_hz", corner_hz)]);
        place = format!(
            ", roughly {:.1} kHz {} the field",
            offset_hz.abs() / 1e3,
            if offset_hz > 0.0 { "above" } else { "below" }
        );
    }
    Some(Finding::new(
        "ripple-track-curved",
        format!(
            "Between its two load states the ripple takes a curved way ({:.0} % of half the distance aside): the antenna or the tag \
                 resonates away from the field{place}. Which of them, the antenna's own ring tells: capture the field while it is \
                 switched on and off a few times, or lay another tag there.",
            100.0 * step.bend.abs()
        ),
        &evidence,
    ))
}
