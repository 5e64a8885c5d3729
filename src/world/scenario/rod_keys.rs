//! A tag's coil from its ferrite rod, as the keys of a scenario give it. Units are in the names; meaning, default and range of every key
//! are in [`super::KEYS`].
#![allow(missing_docs)]

use super::super::coil::Rod;
use serde::{Deserialize, Serialize};

/// A ferrite rod and its winding.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct RodKeys {
    pub length_mm: f64,
    pub diameter_mm: f64,
    pub permeability: f64,
    pub turns: u32,
    pub winding_share: f64,
    pub winding_ratio: f64,
}

impl Default for RodKeys {
    fn default() -> Self {
        RodKeys {
            length_mm: 9.0,
            diameter_mm: 1.0,
            permeability: 600.0,
            turns: 900,
            winding_share: 0.6,
            winding_ratio: 1.2,
        }
    }
}

impl RodKeys {
    /// The rod.
    pub fn rod(&self) -> Rod {
        Rod {
            length_m: self.length_mm * 1e-3,
            diameter_m: self.diameter_mm * 1e-3,
            permeability: self.permeability,
            turns: self.turns,
            winding_m: self.winding_share * self.length_mm * 1e-3,
            winding_diameter_m: self.winding_ratio * self.diameter_mm * 1e-3,
        }
    }
}
