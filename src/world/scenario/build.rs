//! From keys to coils, circuits and telegrams.

use super::super::circuit::{Clamp, Modulator, Reader, Tag, resonance_capacitance_f};
use super::super::coil::{Coil, Outline, Place, TagCoil, Vector, Winding, Wire};
use super::super::link::{
    EnvelopeDetector, Link, Listening, Neighbour, Sending, Station, Tap, Transponder,
};
use super::super::random::{Stream, generator, uniform};
use super::{
    CableKeys, CoilKeys, Detector, PlaceKeys, ProbeAt, ReaderKeys, Scenario, ScenarioError, Sends,
    TagKeys,
};
use crate::linecode;
use crate::telegram::{Identity, Telegram};
use std::f64::consts::PI;

/// Divider nobody stated: a 10:1 probe across the antenna.
const ANTENNA_DIVIDER: f64 = 10.0;
/// Insulation makes the pitch 10 % more than the metal (common practice, no source).
const PITCH: f64 = 1.1;

impl CoilKeys {
    /// The coil.
    pub(in super::super) fn coil(&self, table: &'static str) -> Result<Coil, ScenarioError> {
        Coil::new(self.outline(), self.winding(), self.wire())
            .map_err(|error| ScenarioError::Coil { table, error })
    }

    /// The mean turn.
    pub fn outline(&self) -> Outline {
        match self.shape.as_str() {
            "rectangle" => Outline::Rectangle {
                width_m: self.width_mm * 1e-3,
                height_m: self.height_mm * 1e-3,
            },
            _ => Outline::Circle {
                radius_m: self.radius_mm * 1e-3,
            },
        }
    }

    /// How the turns lie.
    pub fn winding(&self) -> Winding {
        let pitch = |given: Option<f64>| given.unwrap_or(PITCH * self.wire_mm) * 1e-3;
        Winding {
            turns: self.turns,
            layers: self.layers,
            pitch_m: pitch(self.pitch_mm),
            layer_pitch_m: pitch(self.layer_pitch_mm),
        }
    }

    /// The wire.
    pub fn wire(&self) -> Wire {
        Wire::copper(self.wire_mm * 1e-3)
    }
}

impl PlaceKeys {
    /// The place: offset along −x, the axis (sin θ cos ψ, sin θ sin ψ, cos θ) with tilt θ and bearing ψ. See [`Place::in_front`].
    pub fn place(&self) -> Place {
        let [x, y, z] = [-self.offset_mm, self.offset_y_mm, self.distance_mm];
        Place::at(Vector::new(x, y, z) * 1e-3, self.tilt_deg, self.bearing_deg)
    }
}

impl ReaderKeys {
    /// The reader with its coil, beside a metal sheet if it has one: measured values are those without it.
    ///
    /// # Errors
    /// A coil that cannot be wound, or not beside the sheet.
    pub fn station(&self, second: bool) -> Result<Station, ScenarioError> {
        let (wound, loops) = if second {
            ("second_reader.coil", "second_reader.loop")
        } else {
            ("reader.coil", "reader.loop")
        };
        let coil = self.wound_in_series(self.coil.coil(wound)?, loops)?;
        let coil = self.beside_metal(coil)?;
        let alone_h = self
            .inductance_uh
            .map_or_else(|| coil.inductance_h(self.field_hz), |uh| uh * 1e-6);
        let omega = 2.0 * PI * self.field_hz;
        let alone_ohm = match (self.coil_ohm, self.coil_q) {
            (Some(ohm), _) => ohm,
            (None, Some(q)) => omega * alone_h / q,
            (None, None) => coil.resistance_ohm(self.field_hz),
        };
        let by_sheet = coil.sheet_ohm(self.field_hz);
        let cable = self.cable.unwrap_or(CableKeys {
            length_m: 0.0,
            ..CableKeys::default()
        });
        let shunt_f = cable.farad() + self.self_capacitance_pf * 1e-12;
        let free_h = alone_h + cable.henry();
        let (inductance_h, coil_ohm) = (free_h + by_sheet.im / omega, alone_ohm + by_sheet.re);
        let tuned_h = match &self.metal_sheet {
            Some(sheet) if !sheet.tuned_beside => free_h,
            _ => inductance_h,
        };
        let capacitance_f = match self.capacitance_pf {
            Some(pf) => pf * 1e-12,
            None => self.tuning_f(tuned_h, shunt_f)?,
        };
        let circuit = Reader {
            frequency_hz: self.field_hz,
            drive_v: self.drive_v,
            drive_phase_deg: self.drive_phase_deg,
            source_ohm: self.source_ohm,
            topology: self.topology,
            inductance_h,
            capacitance_f,
            coil_ohm,
            shunt_f,
        };
        Ok(Station { coil, circuit })
    }

    /// The capacitor that tunes the antenna together with what is across it already.
    fn tuning_f(&self, inductance_h: f64, shunt_f: f64) -> Result<f64, ScenarioError> {
        let tuned_hz = self.tuned_hz.unwrap_or(self.field_hz);
        let whole_f = resonance_capacitance_f(inductance_h, tuned_hz);
        if shunt_f >= whole_f {
            return Err(ScenarioError::Together(format!(
                "cable and turns have {:.0} pF across the antenna, but {:.0} pF in all tune it to {tuned_hz} Hz: it needs a shorter cable or fewer turns",
                shunt_f * 1e12,
                whole_f * 1e12
            )));
        }
        Ok(whole_f - shunt_f)
    }

    /// Seconds on and off, if the field is pulsed.
    pub fn pulses_s(&self) -> Option<(f64, f64)> {
        Some((self.on_ms? * 1e-3, self.off_ms? * 1e-3))
    }

    /// How long the field is on before the first sample.
    pub fn on_before_s(&self) -> f64 {
        let default_ms = if self.on_ms.is_some() { 0.0 } else { 20.0 };
        self.on_before_ms.unwrap_or(default_ms) * 1e-3
    }
}

impl TagKeys {
    /// The tag with its coil, for a field of this frequency.
    pub fn transponder(&self, field_hz: f64) -> Transponder {
        let coil = TagCoil {
            inductance_h: self.inductance_mh * 1e-3,
            q: self.coil_q,
            effective_area_m2: self.effective_area_cm2 * 1e-4,
            rod_length_m: self.rod_length_mm * 1e-3,
        };
        let tuned_hz = self.tuned_hz.unwrap_or(field_hz);
        let modulator = match self.modulator.as_str() {
            "capacitor" => Modulator::Capacitor {
                farad: self.modulation_pf * 1e-12,
                ohm: self.modulation_ohm,
            },
            _ => Modulator::Resistor {
                ohm: self.modulation_ohm,
            },
        };
        let circuit = Tag {
            inductance_h: coil.inductance_h,
            capacitance_f: self.capacitance_pf.map_or_else(
                || resonance_capacitance_f(coil.inductance_h, tuned_hz),
                |pf| pf * 1e-12,
            ),
            coil_ohm: coil.resistance_ohm(field_hz),
            chip_ohm: self.chip_ohm,
            modulator,
            clamp: self.clamp_v.map(|voltage_v| Clamp {
                voltage_v,
                slope_ohm: self.clamp_ohm,
            }),
            minimum_v: self.minimum_v,
            hold_up_s: self.hold_up_ms * 1e-3,
            start_up_s: self.start_up_ms * 1e-3,
        };
        Transponder { coil, circuit }
    }

    /// Where the tag is at a time.
    pub fn place_at(&self, at_s: f64) -> PlaceKeys {
        let at_ms = at_s * 1e3;
        let next = self.track.partition_point(|point| point.at_ms <= at_ms);
        match (
            next.checked_sub(1).map(|i| self.track[i]),
            self.track.get(next),
        ) {
            (None, None) => self.place,
            (None, Some(point)) => point.place,
            (Some(point), None) => point.place,
            (Some(a), Some(b)) => {
                let part = (at_ms - a.at_ms) / (b.at_ms - a.at_ms);
                let mix = |a: f64, b: f64| a + part * (b - a);
                PlaceKeys {
                    distance_mm: mix(a.place.distance_mm, b.place.distance_mm),
                    offset_mm: mix(a.place.offset_mm, b.place.offset_mm),
                    offset_y_mm: mix(a.place.offset_y_mm, b.place.offset_y_mm),
                    bearing_deg: mix(a.place.bearing_deg, b.place.bearing_deg),
                    tilt_deg: mix(a.place.tilt_deg, b.place.tilt_deg),
                }
            }
        }
    }
}

impl Sends {
    /// The telegram of the tag with this index; a number nobody stated is drawn from the seed.
    pub fn telegram(&self, seed: u64, index: usize) -> Telegram {
        let drawn = uniform(&mut generator(seed, Stream::Tag(index as u16)));
        let mut identity = self
            .id
            .as_ref()
            .and_then(|id| id.parse::<Identity>().ok())
            .unwrap_or_else(|| {
                Identity::new(999, (drawn * Identity::NATIONAL_MAX as f64) as u64)
                    .expect("999 and a number within 38 bits are allowed")
            });
        identity.animal = self.animal;
        identity.retag = self.retag;
        identity.user = self.user;
        identity.reserved = self.reserved;
        identity.data_block = self.data_block;
        Telegram {
            code: identity.code(),
            trailer: u32::from_str_radix(&self.trailer, 16).unwrap_or(0),
        }
    }
}

/// Half bits (true: load closed) of a telegram over and over: once, or twice where it inverts the load state.
pub fn half_bits(telegram: &Telegram) -> Vec<bool> {
    let bits = telegram.bits();
    let mut states = linecode::load_states(&bits, 1);
    if linecode::inverts(&bits) {
        states.extend(linecode::load_states(&bits, -1));
    }
    states.iter().map(|&state| state > 0).collect()
}

impl Scenario {
    /// How the signal is listened to; the noise is the white noise as density, if that is how it is given.
    ///
    /// # Errors
    /// A pick-up coil that cannot be wound.
    pub fn listening(&self) -> Result<Listening, ScenarioError> {
        let probe = &self.probe;
        let (tap, divider) = match probe.at {
            ProbeAt::Antenna => (Tap::Antenna, ANTENNA_DIVIDER),
            ProbeAt::Pickup => (
                Tap::PickUp(probe.coil.coil("probe.coil")?, probe.place.place()),
                1.0,
            ),
        };
        Ok(Listening {
            tap,
            scale: 1.0 / probe.divider.unwrap_or(divider),
            detector: (probe.detector == Detector::Diode).then_some(EnvelopeDetector {
                corner_hz: probe.detector_corner_hz,
            }),
            noise_v2_per_hz: self
                .noise
                .ebn0_db
                .is_none()
                .then_some((self.noise.white_nv_per_rthz * 1e-9).powi(2)),
        })
    }

    /// The second antenna and its place, if there is one.
    ///
    /// # Errors
    /// A coil that cannot be wound; a metal sheet, which would mirror both.
    pub fn neighbour(&self) -> Result<Option<Neighbour>, ScenarioError> {
        let Some(other) = &self.second_reader else {
            return Ok(None);
        };
        if self.reader.metal_sheet.is_some() {
            return Err(ScenarioError::Together(
                "[reader.metal_sheet] with a [second_reader]: allowed is one of the two".into(),
            ));
        }
        Ok(Some(Neighbour {
            station: other.reader.station(true)?,
            place: other.place.place(),
        }))
    }

    /// When a tag sends. A tag of coils and circuits starts once its voltage has risen as the slower circuit lets it; a ripple given
    /// outright, at once.
    pub fn sending(&self, tag: usize, link: Option<&Link>) -> Sending {
        if let Some(direct) = &self.direct {
            return Sending {
                pulses_s: direct
                    .on_ms
                    .zip(direct.off_ms)
                    .map(|(on_ms, off_ms)| (on_ms * 1e-3, off_ms * 1e-3)),
                ..Sending::default()
            };
        }
        let keys = self.tag.get(tag).cloned().unwrap_or_default();
        let ring_up_s = link.map_or(0.0, |link| link.ring_up_s(keys.minimum_v));
        Sending {
            pulses_s: self.reader.pulses_s(),
            on_before_s: self.reader.on_before_s(),
            start_s: ring_up_s + keys.start_up_ms * 1e-3,
            hold_up_s: keys.hold_up_ms * 1e-3,
        }
    }

    /// What each tag sends, with the tag's index.
    pub fn sent(&self) -> impl Iterator<Item = (usize, &Sends)> {
        let direct = self.direct.iter().flat_map(|direct| &direct.tag);
        let tags = self.tag.iter().filter(|_| self.direct.is_none());
        direct
            .map(|tag| &tag.sends)
            .chain(tags.map(|tag| &tag.sends))
            .enumerate()
    }

    /// Samples a second, as stated.
    pub fn rate_hz(&self) -> f64 {
        self.digitiser.rate_hz.unwrap_or(match self.probe.detector {
            Detector::None => 1e6,
            Detector::Diode => 48e3,
        })
    }

    /// Frequency of the first reader's field.
    pub fn field_hz(&self) -> f64 {
        self.direct
            .as_ref()
            .map_or(self.reader.field_hz, |direct| direct.field_hz)
    }
}
