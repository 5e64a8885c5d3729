//! Probe and digitiser, as the keys of a scenario give them; see [`super::KEYS`].
#![allow(missing_docs)]

use super::parts::{CoilKeys, PlaceKeys};
use serde::{Deserialize, Serialize};

/// Where the probe is.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum ProbeAt {
    /// Across the reader's antenna.
    #[default]
    Antenna,
    /// On a coil of its own.
    Pickup,
}

/// Whether the signal is rectified before it is sampled.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Detector {
    /// No.
    #[default]
    None,
    /// By a diode with a low-pass behind it.
    Diode,
}

/// Where the signal is taken from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct ProbeKeys {
    pub at: ProbeAt,
    pub divider: Option<f64>,
    pub detector: Detector,
    pub detector_corner_hz: f64,
    #[serde(flatten)]
    pub place: PlaceKeys,
    pub coil: CoilKeys,
}

impl Default for ProbeKeys {
    fn default() -> Self {
        ProbeKeys {
            at: ProbeAt::Antenna,
            divider: None,
            detector: Detector::None,
            detector_corner_hz: 10_000.0,
            place: PlaceKeys::default(),
            coil: CoilKeys {
                radius_mm: 20.0,
                turns: 10,
                layers: 1,
                ..CoilKeys::default()
            },
        }
    }
}

/// Sampling.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct DigitiserKeys {
    pub rate_hz: Option<f64>,
    pub bits: u32,
    pub range_v: Option<f64>,
    pub offset_v: f64,
    pub ac_corner_hz: f64,
    pub clock_ppm: f64,
    pub peak_detect: u32,
}

impl Default for DigitiserKeys {
    fn default() -> Self {
        DigitiserKeys {
            rate_hz: None,
            bits: 16,
            range_v: None,
            offset_v: 0.0,
            ac_corner_hz: 0.0,
            clock_ppm: 0.0,
            peak_detect: 1,
        }
    }
}
