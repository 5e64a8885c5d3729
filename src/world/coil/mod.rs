//! Coils: turns, size and wire to inductance, resistance and mutual inductance.
//!
//! Everything is in SI units and quasi-static: retardation at 134.2 kHz changes a field at distance r by about
//! (2πr/λ)²/2, which is 4e-4 at 10 m. Currents are per ampere peak, so a flux density in T/A times a peak current gives a
//! peak flux density. Mutual inductances are positive when a positive current in one coil makes flux along the axis of
//! the other; both wind right-handed about their axis.

mod carlson;
mod crowding;
mod filament;
mod mutual;
mod own_capacitance;
mod place;
mod resistance;
mod rod;
mod self_inductance;
mod series;
mod sheet;
mod solenoid;
mod tag_coil;
mod winding;
mod wire;

pub use carlson::{carlson_rd, carlson_rf};
pub use filament::{Filament, coaxial_circles_h, coaxial_rectangles_h};
pub use mutual::{filaments_by_flux_h, filaments_by_neumann_h, filaments_h, mutual_inductance_h};
pub use place::Place;
pub use rod::{OnRod, Rod, RodError};
pub use series::Loop;
pub use sheet::Sheet;
pub use solenoid::current_sheet_h;
pub use tag_coil::TagCoil;
pub use winding::{Coil, CoilError, Outline, Winding};
pub use wire::{COPPER_S_PER_M, Wire};

/// Vacuum permeability in H/m. The measured value (CODATA 2018) differs from 4π·10⁻⁷ by 5.5e-10, below every digit used.
pub const MU_0: f64 = 4e-7 * std::f64::consts::PI;

/// Three Cartesian components: metres for a place, tesla per ampere for a flux density.
pub type Vector = nalgebra::Vector3<f64>;
