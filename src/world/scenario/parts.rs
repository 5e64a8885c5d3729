//! Readers, coils, tags and places, as the keys of a scenario give them. Units are in the names; meaning, default and range of
//! every key are in [`super::KEYS`].
#![allow(missing_docs)]

use super::super::circuit::Topology;
use super::loop_keys::LoopKeys;
use super::rod_keys::RodKeys;
use super::surroundings::{CableKeys, SheetKeys};
use serde::{Deserialize, Serialize};

/// A reader's driver, tuning and antenna.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct ReaderKeys {
    pub field_hz: f64,
    pub drive_v: f64,
    pub drive_phase_deg: f64,
    pub source_ohm: f64,
    #[serde(with = "topology")]
    pub topology: Topology,
    pub inductance_uh: Option<f64>,
    pub coil_ohm: Option<f64>,
    pub coil_q: Option<f64>,
    pub tuned_hz: Option<f64>,
    pub capacitance_pf: Option<f64>,
    pub on_before_ms: Option<f64>,
    pub on_ms: Option<f64>,
    pub off_ms: Option<f64>,
    pub coil: CoilKeys,
    #[serde(rename = "loop", skip_serializing_if = "Vec::is_empty")]
    pub loops: Vec<LoopKeys>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub metal_sheet: Option<SheetKeys>,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cable: Option<CableKeys>,
    #[serde(skip_serializing_if = "is_zero")]
    pub self_capacitance_pf: f64,
}

impl Default for ReaderKeys {
    fn default() -> Self {
        ReaderKeys {
            field_hz: 134_200.0,
            drive_v: 8.0,
            drive_phase_deg: 0.0,
            source_ohm: 20.0,
            topology: Topology::Series,
            inductance_uh: None,
            coil_ohm: None,
            coil_q: None,
            tuned_hz: None,
            capacitance_pf: None,
            on_before_ms: None,
            on_ms: None,
            off_ms: None,
            coil: CoilKeys::default(),
            loops: Vec::new(),
            metal_sheet: None,
            cable: None,
            self_capacitance_pf: 0.0,
        }
    }
}

/// Another reader and where its antenna is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct SecondReader {
    #[serde(flatten)]
    pub reader: ReaderKeys,
    #[serde(flatten)]
    pub place: PlaceKeys,
}

impl Default for SecondReader {
    fn default() -> Self {
        SecondReader {
            reader: ReaderKeys {
                field_hz: 134_250.0,
                ..ReaderKeys::default()
            },
            place: PlaceKeys {
                distance_mm: 600.0,
                ..PlaceKeys::default()
            },
        }
    }
}

/// An air-cored coil.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CoilKeys {
    pub shape: String,
    pub radius_mm: f64,
    pub width_mm: f64,
    pub height_mm: f64,
    pub turns: u32,
    pub layers: u32,
    pub wire_mm: f64,
    pub pitch_mm: Option<f64>,
    pub layer_pitch_mm: Option<f64>,
}

impl Default for CoilKeys {
    fn default() -> Self {
        CoilKeys {
            shape: "circle".into(),
            radius_mm: 60.0,
            width_mm: 200.0,
            height_mm: 200.0,
            turns: 45,
            layers: 3,
            wire_mm: 0.3,
            pitch_mm: None,
            layer_pitch_mm: None,
        }
    }
}

/// A place in front of the reader's antenna.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct PlaceKeys {
    pub distance_mm: f64,
    pub offset_mm: f64,
    #[serde(skip_serializing_if = "is_zero")]
    pub offset_y_mm: f64,
    pub tilt_deg: f64,
    #[serde(skip_serializing_if = "is_zero")]
    pub bearing_deg: f64,
}

/// Truth files name what is not usual.
fn is_zero(value: &f64) -> bool {
    *value == 0.0
}

impl Default for PlaceKeys {
    fn default() -> Self {
        PlaceKeys {
            distance_mm: 80.0,
            offset_mm: 0.0,
            offset_y_mm: 0.0,
            tilt_deg: 0.0,
            bearing_deg: 0.0,
        }
    }
}

/// What a tag sends.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Sends {
    pub id: Option<String>,
    pub animal: bool,
    pub retag: u8,
    pub user: u8,
    pub reserved: u8,
    pub data_block: bool,
    pub trailer: String,
}

impl Default for Sends {
    fn default() -> Self {
        Sends {
            id: None,
            animal: true,
            retag: 0,
            user: 0,
            reserved: 0,
            data_block: false,
            trailer: "000000".into(),
        }
    }
}

/// A tag: coil, circuit, chip, place.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct TagKeys {
    #[serde(flatten)]
    pub sends: Sends,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub preset: Option<String>,
    pub inductance_mh: f64,
    pub coil_q: f64,
    pub effective_area_cm2: f64,
    pub rod_length_mm: f64,
    #[serde(skip_serializing_if = "Option::is_none")]
    pub rod: Option<RodKeys>,
    pub tuned_hz: Option<f64>,
    pub capacitance_pf: Option<f64>,
    pub chip_ohm: f64,
    pub modulator: String,
    pub modulation_ohm: f64,
    pub modulation_pf: f64,
    pub clamp_v: Option<f64>,
    pub clamp_ohm: f64,
    pub minimum_v: f64,
    pub hold_up_ms: f64,
    pub start_up_ms: f64,
    #[serde(flatten)]
    pub place: PlaceKeys,
    pub track: Vec<Waypoint>,
}

impl Default for TagKeys {
    fn default() -> Self {
        TagKeys {
            sends: Sends::default(),
            preset: None,
            inductance_mh: 5.0,
            coil_q: 30.0,
            effective_area_cm2: 100.0,
            rod_length_mm: 10.0,
            rod: None,
            tuned_hz: None,
            capacitance_pf: None,
            chip_ohm: 100e3,
            modulator: "resistor".into(),
            modulation_ohm: 4_000.0,
            modulation_pf: 30.0,
            clamp_v: None,
            clamp_ohm: 300.0,
            minimum_v: 3.0,
            hold_up_ms: 0.5,
            start_up_ms: 1.0,
            place: PlaceKeys::default(),
            track: Vec::new(),
        }
    }
}

/// Where a tag is at a time; straight on to the next one.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Waypoint {
    pub at_ms: f64,
    #[serde(flatten)]
    pub place: PlaceKeys,
}

/// A field given outright.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct DirectField {
    pub field_hz: f64,
    pub amplitude_v: f64,
    pub phase_deg: Option<f64>,
    pub on_ms: Option<f64>,
    pub off_ms: Option<f64>,
    pub tag: Vec<DirectTag>,
}

impl Default for DirectField {
    fn default() -> Self {
        DirectField {
            field_hz: 134_200.0,
            amplitude_v: 1.0,
            phase_deg: None,
            on_ms: None,
            off_ms: None,
            tag: Vec::new(),
        }
    }
}

/// A ripple given outright.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct DirectTag {
    #[serde(flatten)]
    pub sends: Sends,
    pub depth: f64,
    pub angle_deg: f64,
    pub start_cycles: Option<f64>,
    pub sign: Option<i8>,
}

impl Default for DirectTag {
    fn default() -> Self {
        DirectTag {
            sends: Sends::default(),
            depth: 0.01,
            angle_deg: 30.0,
            start_cycles: None,
            sign: None,
        }
    }
}

/// "series" or "parallel".
mod topology {
    use super::Topology;
    use serde::{Deserialize, Deserializer, Serializer};

    pub fn serialize<S: Serializer>(topology: &Topology, to: S) -> Result<S::Ok, S::Error> {
        to.serialize_str(match topology {
            Topology::Series => "series",
            Topology::Parallel => "parallel",
        })
    }

    pub fn deserialize<'de, D: Deserializer<'de>>(from: D) -> Result<Topology, D::Error> {
        Ok(match String::deserialize(from)?.as_str() {
            "parallel" => Topology::Parallel,
            _ => Topology::Series,
        })
    }
}
