//! The link from a reader to a tag and back, in numbers: coupling, tag voltage, ripple at the probe, range.

mod antennas;
mod design;
mod exposure;
mod far;
mod need;
mod reading;
mod sent;
mod spread;
mod sums;

pub use antennas::{Antennas, Idle, Neighbour};
pub use design::{Bridge, Design, DesignError, Near, Wanted, design, parallel_values};
pub use exposure::{FieldAt, Limit, LimitKind, WAVE_OHM, field_at, limits, loop_field_a_per_m};
pub use reading::{Sending, chance_to_read, folded_ebn0_db, needed_ebn0_db};
pub use sent::{MIXED_A_CYCLE, mixed_from, sent_mixed};
pub use spread::Part;
pub use sums::{WrongCoil, turns_for_inductance, wrong_coil};

use super::circuit::{CircuitError, PlanError, Probe, Reader, Ripple, Tag, settle};
use super::coil::{Coil, Place, TagCoil};
use sent::{HALF_BIT_CYCLES, sent_ripple};
use thiserror::Error;

/// A reader: its antenna as a shape in space and as part of a circuit. Inductance and resistance in the circuit may be measured
/// ones; the shape then only gives the coupling.
#[derive(Clone, Debug, PartialEq)]
pub struct Station {
    /// Turns in space.
    pub coil: Coil,
    /// Driver, capacitor, inductance, resistance.
    pub circuit: Reader,
}

/// A tag: its coil as it is measured, and its circuit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Transponder {
    /// Inductance, Q, effective area.
    pub coil: TagCoil,
    /// Tuning, chip, modulator. Its inductance and coil resistance are taken from `coil`.
    pub circuit: Tag,
}

/// Where the signal is taken from.
#[derive(Clone, Debug, PartialEq)]
pub enum Tap {
    /// Across the reader's antenna.
    Antenna,
    /// On a separate pick-up coil at this place.
    PickUp(Coil, Place),
}

/// A rectifier with a low-pass of first order behind it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EnvelopeDetector {
    /// Corner of the low-pass.
    pub corner_hz: f64,
}

/// How the signal is listened to.
#[derive(Clone, Debug, PartialEq)]
pub struct Listening {
    /// Where.
    pub tap: Tap,
    /// Volts at the digitiser for a volt at the tap: 0.1 for a 10:1 divider.
    pub scale: f64,
    /// Behind a rectifier, if any: only what changes the amplitude is heard.
    pub detector: Option<EnvelopeDetector>,
    /// One-sided noise density at the digitiser in V²/Hz, if known.
    pub noise_v2_per_hz: Option<f64>,
}

/// One position of a tag, worked out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Link {
    /// Mutual inductance of reader and tag.
    pub mutual_h: f64,
    /// Coupling factor M/√(L₁L₂), with the sign of M.
    pub coupling: f64,
    /// Peak voltage across the tag's coil, load open, clamp included.
    pub tag_v: f64,
    /// Decay time of the slowest circuit, s.
    pub decay_s: f64,
    /// Whether that is enough for the chip.
    pub powered: bool,
    /// Peak voltage across the reader's antenna.
    pub antenna_v: f64,
    /// Peak current in the reader's antenna.
    pub antenna_a: f64,
    /// Peak voltage of the field at the digitiser.
    pub signal_v: f64,
    /// Depth and angle between the two settled load states.
    pub settled: Ripple,
    /// Depth and angle while the half bits are sent: what the tuned circuits let through.
    pub sent: Ripple,
    /// Rms of the ripple at the digitiser, behind the detector if there is one.
    pub ripple_v: f64,
    /// Eb/N0 of the ripple as received, if the noise is known; for a tag that would send, powered or not.
    pub ebn0_db: Option<f64>,
}

/// Why a link cannot be worked out.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum LinkError {
    /// The circuits cannot be joined; the wires of two coils may be touching.
    #[error(transparent)]
    Circuit(#[from] CircuitError),
    /// The half bits cannot be sent.
    #[error(transparent)]
    Plan(#[from] PlanError),
}

impl Transponder {
    fn joined(&self, frequency_hz: f64) -> Tag {
        Tag {
            inductance_h: self.coil.inductance_h,
            coil_ohm: self.coil.resistance_ohm(frequency_hz),
            ..self.circuit
        }
    }
}

impl Link {
    /// From field on until the tag has this voltage, as one circuit with the slowest decay time rises; 0 if it never has it.
    pub fn ring_up_s(&self, minimum_v: f64) -> f64 {
        if minimum_v < self.tag_v {
            -self.decay_s * libm::log(1.0 - minimum_v / self.tag_v)
        } else {
            0.0
        }
    }

    /// Eb/N0 with this noise density N0 (V²/Hz, one-sided), dB: r²·T_b/(2·N0) for real samples with the carrier, r²·T_b/N0 for an
    /// envelope; −∞ without a ripple.
    pub fn ebn0_with(&self, noise_v2_per_hz: f64, field_hz: f64, listening: &Listening) -> f64 {
        let seen = if listening.detector.is_some() {
            1.0
        } else {
            0.5
        };
        let bit_s = 2.0 * HALF_BIT_CYCLES / field_hz;
        10.0 * (seen * self.ripple_v * self.ripple_v * bit_s / noise_v2_per_hz).log10()
    }
}

/// Works out one position; `half_bits` (true: load closed) is what the tag sends, one telegram or a typical piece of one. A neighbouring
/// antenna is coupled to both, and drives if its frequency is the same.
pub fn link(
    antennas: &Antennas<'_>,
    transponder: &Transponder,
    place: &Place,
    listening: &Listening,
    half_bits: &[bool],
) -> Result<Link, LinkError> {
    let station = antennas.station;
    let frequency_hz = station.circuit.frequency_hz;
    let network = antennas.network(Some((transponder, place)))?;
    let mutual_h = network.inductance_h(0, network.readers().len());
    let probe = antennas.probe(&listening.tap, Some((transponder, place)));
    let (open, closed) = (settle(&network, &[false]), settle(&network, &[true]));
    let tag_v = open.together(&Probe::TagVoltage { tag: 0 }).norm();
    let (sent, envelope_depth) = sent_ripple(&network, &probe, half_bits, listening.detector)?;
    let signal_v = listening.scale * sent.field.norm();
    let ripple_v = envelope_depth.unwrap_or(sent.depth) * signal_v;
    let mut link = Link {
        mutual_h,
        coupling: mutual_h / (station.circuit.inductance_h * transponder.coil.inductance_h).sqrt(),
        tag_v,
        decay_s: open.ringing().first().map_or(0.0, |mode| mode.1),
        powered: tag_v >= transponder.circuit.minimum_v,
        antenna_v: open.together(&Probe::AntennaVoltage { reader: 0 }).norm(),
        antenna_a: open.together(&Probe::AntennaCurrent { reader: 0 }).norm(),
        signal_v,
        settled: Ripple::between(open.together(&probe), closed.together(&probe)),
        sent,
        ripple_v,
        ebn0_db: None,
    };
    link.ebn0_db = listening
        .noise_v2_per_hz
        .map(|noise| link.ebn0_with(noise, frequency_hz, listening));
    Ok(link)
}

/// The farthest distance on the axis, up to `limit_m`, at which the test holds; `None` if it does not hold at `nearest_m`. The test must hold
/// up to some distance and not beyond. Found to 0.1 mm.
pub fn range_m(nearest_m: f64, limit_m: f64, holds: impl Fn(f64) -> bool) -> Option<f64> {
    if !holds(nearest_m) {
        return None;
    }
    let (mut near, mut far) = (nearest_m, limit_m);
    if holds(limit_m) {
        return Some(limit_m);
    }
    while far - near > 1e-4 {
        let middle = 0.5 * (near + far);
        if holds(middle) {
            near = middle
        } else {
            far = middle
        }
    }
    Some(near)
}

#[cfg(test)]
mod tests {
    use super::super::circuit::{Modulator, Topology, resonance_capacitance_f};
    use super::super::coil::{Outline, Winding, Wire, mutual_inductance_h};
    use super::*;
    use std::f64::consts::PI;

    const FIELD_HZ: f64 = 134_200.0;

    fn station(drive_v: f64) -> Station {
        let winding = Winding {
            turns: 45,
            layers: 3,
            pitch_m: 0.4e-3,
            layer_pitch_m: 0.4e-3,
        };
        let outline = Outline::Circle { radius_m: 0.06 };
        let coil = Coil::new(outline, winding, Wire::copper(0.3e-3)).unwrap();
        let inductance_h = coil.inductance_h(FIELD_HZ);
        let circuit = Reader {
            frequency_hz: FIELD_HZ,
            drive_v,
            drive_phase_deg: 0.0,
            source_ohm: 20.0,
            topology: Topology::Series,
            inductance_h,
            capacitance_f: resonance_capacitance_f(inductance_h, FIELD_HZ),
            coil_ohm: coil.resistance_ohm(FIELD_HZ),
            shunt_f: 0.0,
        };
        Station { coil, circuit }
    }

    /// A tag with this effective area; `large` ones have four times as much and the same circuit.
    fn transponder(large: bool) -> Transponder {
        let coil = TagCoil {
            inductance_h: 5e-3,
            q: 30.0,
            effective_area_m2: if large { 16e-3 } else { 4e-3 },
            rod_length_m: 0.0,
        };
        let circuit = Tag {
            inductance_h: 0.0,
            capacitance_f: resonance_capacitance_f(5e-3, FIELD_HZ),
            coil_ohm: 0.0,
            chip_ohm: 200e3,
            modulator: Modulator::Resistor { ohm: 2_000.0 },
            clamp: None,
            minimum_v: 3.0,
            hold_up_s: 1e-3,
            start_up_s: 0.0,
        };
        Transponder { coil, circuit }
    }

    fn antenna() -> Listening {
        Listening {
            tap: Tap::Antenna,
            scale: 0.1,
            detector: None,
            noise_v2_per_hz: Some(1e-12),
        }
    }

    fn at(distance_m: f64, offset_m: f64, tilt_deg: f64) -> Link {
        let half_bits: Vec<bool> = (0..64).map(|i| (i * i / 3 + i) % 3 == 0).collect();
        let place = Place::in_front(distance_m, offset_m, tilt_deg);
        link(
            &Antennas::alone(&station(5.0)),
            &transponder(false),
            &place,
            &antenna(),
            &half_bits,
        )
        .unwrap()
    }

    /// The chain by hand for slow data and weak coupling: V₂ = ωM·I·Q₂ at resonance, depth between settled states k²Q₁Q₂/2 times the
    /// part of the tag's conductance that is switched.
    #[test]
    fn the_chain_by_hand() {
        let got = at(0.10, 0.0, 0.0);
        let tag = transponder(false).joined(FIELD_HZ);
        let want = 2.0 * PI * FIELD_HZ * got.mutual_h * got.antenna_a * tag.q();
        // The coil's loss in series and the chip's in parallel shift the resonance by 1/Q².
        assert!(
            (got.tag_v / want - 1.0).abs() < 2e-3,
            "{} {want}",
            got.tag_v
        );
        let closed = Tag {
            chip_ohm: 1.0 / (1.0 / 200e3 + 1.0 / 2_000.0),
            ..tag
        };
        let product =
            got.coupling * got.coupling * station(5.0).circuit.q() * (tag.q() - closed.q());
        assert!(
            (got.settled.depth / (product / 2.0) - 1.0).abs() < 0.1,
            "{} {product}",
            got.settled.depth
        );
        assert!(got.sent.depth < got.settled.depth && got.sent.depth > 0.2 * got.settled.depth);
        let ripple_v = got.sent.depth * got.signal_v;
        let want = 10.0 * (ripple_v * ripple_v * 32.0 / FIELD_HZ / 2e-12).log10();
        assert!((got.ebn0_db.unwrap() - want).abs() < 1e-9);
        assert!(
            (got.signal_v / (0.1 * got.antenna_v) - 1.0).abs() < 0.01,
            "{got:?}"
        );
    }

    /// Common practice, no source: best with the axis along the field, almost nothing at 90°.
    #[test]
    fn tilt_by_common_practice() {
        let straight = at(0.03, 0.0, 0.0);
        let mut last = straight.tag_v;
        for tilt in [30.0, 60.0, 80.0] {
            let link = at(0.03, 0.0, tilt);
            assert!((link.tag_v / straight.tag_v / f64::to_radians(tilt).cos() - 1.0).abs() < 0.01);
            assert!(link.tag_v < last);
            last = link.tag_v;
        }
        let across = at(0.03, 0.0, 90.0);
        assert!(
            across.tag_v < 1e-9 && !across.powered && straight.powered,
            "{across:?}"
        );
        assert!(
            across.sent.depth < 1e-9 && across.sent.field.norm() > 0.0,
            "{across:?}"
        );
    }

    /// Common practice, no source: a stronger field reads further (pick-up 13 → 30 V), a small tag reads about half as far as a large one.
    #[test]
    fn range_by_common_practice() {
        let reach = |drive_v: f64, large: bool| {
            let (station, transponder) = (station(drive_v), transponder(large));
            range_m(0.005, 2.0, |distance| {
                let place = Place::in_front(distance, 0.0, 0.0);
                link(
                    &Antennas::alone(&station),
                    &transponder,
                    &place,
                    &antenna(),
                    &[true, false],
                )
                .unwrap()
                .powered
            })
            .unwrap()
        };
        let (small, large) = (reach(5.0, false), reach(5.0, true));
        assert!(
            small / large > 0.4 && small / large < 0.7,
            "{small} {large}"
        );
        for tag in [false, true] {
            assert!(reach(5.0 * 30.0 / 13.0, tag) > 1.2 * reach(5.0, tag));
        }
        assert_eq!(range_m(0.01, 1.0, |_| false), None);
    }

    /// A pick-up coil hears field and tag; turned across the antenna's axis and off the tag it hears neither.
    #[test]
    fn pick_up_coil() {
        let winding = Winding {
            turns: 10,
            layers: 1,
            pitch_m: 0.5e-3,
            layer_pitch_m: 0.5e-3,
        };
        let coil = Coil::new(
            Outline::Circle { radius_m: 0.02 },
            winding,
            Wire::copper(0.3e-3),
        )
        .unwrap();
        let hear = |place: Place| {
            let listening = Listening {
                tap: Tap::PickUp(coil.clone(), place),
                scale: 1.0,
                detector: None,
                noise_v2_per_hz: None,
            };
            let tag_at = Place::in_front(0.1, 0.0, 0.0);
            link(
                &Antennas::alone(&station(5.0)),
                &transponder(true),
                &tag_at,
                &listening,
                &[true, false],
            )
            .unwrap()
        };
        let near = hear(Place::in_front(0.09, 0.0, 0.0));
        let antenna = at(0.1, 0.0, 0.0);
        assert!(near.ebn0_db.is_none() && near.signal_v > 0.1, "{near:?}");
        assert!(
            near.settled.depth > 4.0 * antenna.settled.depth,
            "hears the tag itself: {near:?}"
        );
        let mutual =
            mutual_inductance_h(&station(5.0).coil, &coil, &Place::in_front(0.09, 0.0, 0.0));
        let want = 2.0 * PI * FIELD_HZ * mutual * near.antenna_a;
        assert!(
            (near.signal_v / want - 1.0).abs() < 0.1,
            "{} {want}",
            near.signal_v
        );
        let across = hear(Place::in_front(0.09, 0.0, 90.0));
        assert!(across.signal_v < 1e-9 * near.signal_v, "{across:?}");
    }
}
