//! What one change of the bench would buy: the ripple in volts at the probe, the noise there staying what it is.

use std::f64::consts::TAU;

use super::FitError;
use super::model::Model;
use super::parameters::{Thought, Values};
use crate::world::circuit::{Probe, resonance_capacitance_f, settle};
use crate::world::link::Tap;
use crate::world::scenario::PlaceKeys;

/// Tunings tried, ± this share of the field's frequency: twice the width of an antenna of Q 10.
const TUNED_WITHIN: f64 = 0.2;
/// Steps that the best is looked for in at first; it is then found between its neighbours.
const STEPS: usize = 20;
/// How far the antenna's Q may be changed: a resistor can take any of it away; twice as much is another coil and driver.
const Q_FACTORS: (f64, f64) = (0.3, 2.0);
/// How much nearer the tag is brought to say what that buys.
const NEARER: f64 = 0.8;
/// Distances that a coupling is looked for at, mm, and how many.
const DISTANCES_MM: (f64, f64) = (1.0, 2000.0);
const DISTANCES: usize = 400;

/// What is changed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Kind {
    /// The antenna's tuning: its capacitor, from and to (F), the inductance taken as thought.
    Capacitor {
        /// What is there.
        from_f: f64,
        /// What would be better.
        to_f: f64,
        /// Resonance with it.
        resonance_hz: f64,
    },
    /// The antenna's losses: its Q, from and to.
    Losses {
        /// What it is.
        from_q: f64,
        /// What would be better.
        to_q: f64,
        /// Resistance to be put in series with the antenna, Ω; negative where so much is to be taken out.
        series_ohm: f64,
    },
    /// The tag's place on its line away from the antenna, mm, tilt and offset as thought.
    Distance {
        /// Where a tag as thought has this coupling.
        from_mm: f64,
        /// A fifth nearer.
        to_mm: f64,
    },
}

/// A change and what it buys.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// What is changed.
    pub kind: Kind,
    /// Ripple at the probe against before, dB.
    pub gain_db: f64,
    /// Peak voltage across the antenna then, with the drive as thought, V.
    pub antenna_v: f64,
}

/// A bench at work.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Work {
    ripple_v: f64,
    antenna_v: f64,
    tag_v: f64,
}

fn work(model: &Model, values: &Values) -> Result<Work, FitError> {
    let sent = model.sent(values)?;
    let open = settle(&model.parts.network(values)?, &[false]);
    Ok(Work {
        ripple_v: sent.depth * sent.field_v,
        antenna_v: open.together(&Probe::AntennaVoltage { reader: 0 }).norm(),
        tag_v: open.together(&Probe::TagVoltage { tag: 0 }).norm(),
    })
}

/// Where on its line away from the antenna a tag as thought has this coupling: of several places the one nearest to the thought one.
pub(super) fn distance_mm(thought: &Thought<'_>, coupling: f64) -> Option<f64> {
    let place = thought.place;
    let station = thought.antennas.station;
    let coil = &thought.transponder.coil;
    let root = (station.circuit.inductance_h * coil.inductance_h).sqrt();
    let excess = |distance_mm: f64| {
        let there = PlaceKeys {
            distance_mm,
            ..*place
        };
        coil.mutual_inductance_h(&station.coil, &there.place())
            .abs()
            / root
            - coupling
    };
    let (low, high) = DISTANCES_MM;
    let at = |k: usize| low * (high / low).powf(k as f64 / DISTANCES as f64);
    let mut crossings = Vec::new();
    let mut before = excess(low);
    for k in 1..=DISTANCES {
        let here = excess(at(k));
        if before.is_sign_positive() != here.is_sign_positive() {
            let (mut near, mut far) = (at(k - 1), at(k));
            for _ in 0..40 {
                let middle = 0.5 * (near + far);
                if excess(middle).is_sign_positive() == before.is_sign_positive() {
                    near = middle
                } else {
                    far = middle
                }
            }
            crossings.push(near);
        }
        before = here;
    }
    let off = |mm: &f64| (mm - place.distance_mm).abs();
    crossings
        .into_iter()
        .min_by(|a, b| off(a).total_cmp(&off(b)))
}

/// Changes that buy something, the best first. None that takes from the tag the voltage that it needs is among them.
pub(super) fn changes(
    thought: &Thought<'_>,
    model: &Model,
    values: &Values,
) -> Result<Vec<Change>, FitError> {
    let now = work(model, values)?;
    let enough_v = now.tag_v.min(thought.transponder.circuit.minimum_v);
    let gain_db = |work: &Work| {
        if work.tag_v >= enough_v {
            20.0 * (work.ripple_v / now.ripple_v).log10()
        } else {
            f64::NEG_INFINITY
        }
    };
    let with = |index: usize, value: f64| {
        let mut other = *values;
        other[index] = value;
        other
    };
    let best = |index: usize, low: f64, high: f64| -> Result<(f64, Work), FitError> {
        let mut found = (values[index], now);
        let (mut from, mut step) = (low, (high - low) / STEPS as f64);
        // Two rounds: a step of the last is a two-hundredth of the range, and the top is flat.
        for _ in 0..2 {
            let tried: Vec<f64> = (0..=STEPS).map(|k| from + k as f64 * step).collect();
            let works = crate::threads::map(&tried, |&value| work(model, &with(index, value)));
            for (value, there) in tried.into_iter().zip(works) {
                let there = there?;
                if gain_db(&there) > gain_db(&found.1) {
                    found = (value, there);
                }
            }
            from = (found.0 - step).max(low);
            step *= 2.0 / STEPS as f64;
        }
        Ok(found)
    };
    let field_hz = model.parts.frequency_hz();
    let reader = model.parts.reader(values);
    let mut changes = Vec::new();
    let mut add = |kind: Kind, there: &Work| {
        let change = Change {
            kind,
            gain_db: gain_db(there),
            antenna_v: there.antenna_v,
        };
        // Less than this nobody would pick up an iron for.
        if change.gain_db > 0.05 {
            changes.push(change);
        }
    };
    let (low, high) = (1.0 - TUNED_WITHIN, 1.0 + TUNED_WITHIN);
    let (resonance_hz, there) = best(0, low * field_hz, high * field_hz)?;
    let capacitor = Kind::Capacitor {
        from_f: reader.capacitance_f,
        to_f: resonance_capacitance_f(reader.inductance_h, resonance_hz),
        resonance_hz,
    };
    add(capacitor, &there);
    let from_q = values[1];
    let (to_q, there) = best(1, Q_FACTORS.0 * from_q, Q_FACTORS.1 * from_q)?;
    let reactance_ohm = TAU * field_hz * reader.inductance_h;
    let losses = Kind::Losses {
        from_q,
        to_q,
        series_ohm: reactance_ohm * (1.0 / to_q - 1.0 / from_q),
    };
    add(losses, &there);
    // Of a tag that is moved a pick-up coil hears otherwise, too, and where it is heard from is as thought.
    let at_antenna = thought.listening.tap == Tap::Antenna;
    if let Some(from_mm) = distance_mm(thought, values[2]).filter(|_| at_antenna) {
        let station = thought.antennas.station;
        let to_mm = NEARER * from_mm;
        let mutual_h = |distance_mm: f64| {
            let place = PlaceKeys {
                distance_mm,
                ..*thought.place
            };
            let coil = &thought.transponder.coil;
            coil.mutual_inductance_h(&station.coil, &place.place())
                .abs()
        };
        let coupling = values[2] * mutual_h(to_mm) / mutual_h(from_mm);
        add(
            Kind::Distance { from_mm, to_mm },
            &work(model, &with(2, coupling))?,
        );
    }
    changes.sort_by(|a, b| b.gain_db.total_cmp(&a.gain_db));
    Ok(changes)
}

/// Peak voltage across the antenna of a bench, V.
pub(super) fn antenna_v(model: &Model, values: &Values) -> Result<f64, FitError> {
    Ok(work(model, values)?.antenna_v)
}
