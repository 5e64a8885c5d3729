//! What is near a reader's antenna: a metal sheet, a cable. Units are in the names; meaning, default and range of every key are in
//! [`super::KEYS`].
#![allow(missing_docs)]

use super::super::coil::Sheet;
use serde::{Deserialize, Serialize};

/// A metal sheet parallel to the antenna.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct SheetKeys {
    pub at_mm: f64,
    pub thickness_mm: f64,
    pub conductivity_ms_per_m: f64,
    pub permeability: f64,
    pub tuned_beside: bool,
}

impl Default for SheetKeys {
    fn default() -> Self {
        SheetKeys {
            at_mm: -30.0,
            thickness_mm: 1.0,
            conductivity_ms_per_m: 35.0,
            permeability: 1.0,
            tuned_beside: false,
        }
    }
}

impl SheetKeys {
    /// The sheet.
    pub fn sheet(&self) -> Sheet {
        Sheet {
            at_m: self.at_mm * 1e-3,
            thickness_m: self.thickness_mm * 1e-3,
            conductivity_s_per_m: self.conductivity_ms_per_m * 1e6,
            permeability: self.permeability,
        }
    }
}

/// The cable from driver and capacitor to the antenna.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CableKeys {
    pub length_m: f64,
    pub pf_per_m: f64,
    pub nh_per_m: f64,
}

impl Default for CableKeys {
    fn default() -> Self {
        CableKeys {
            length_m: 2.0,
            pf_per_m: 100.0,
            nh_per_m: 250.0,
        }
    }
}

impl CableKeys {
    /// Capacitance between its wires.
    pub fn farad(&self) -> f64 {
        self.length_m * self.pf_per_m * 1e-12
    }

    /// Inductance of its loop.
    pub fn henry(&self) -> f64 {
        self.length_m * self.nh_per_m * 1e-9
    }
}
