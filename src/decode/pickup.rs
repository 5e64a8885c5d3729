//! What the voltage of an open pick-up coil says of the field that it is in.

use std::f64::consts::{PI, SQRT_2};

use super::Decoded;
use crate::capture::Unit;
use crate::receiver::NOMINAL_HZ;

/// µ0 (CODATA 2018, to the digits that matter here).
const MU_0: f64 = 1.256_637e-6;

/// A flat round coil whose open ends are measured: it resonates far above the field and is loaded by nothing, as ten turns of 50 mm on a
/// 1 MΩ input are.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pickup {
    /// Turns.
    pub turns: f64,
    /// Mean diameter, m.
    pub diameter_m: f64,
    /// Volts at full scale, for captures that hold fractions of it.
    pub full_scale_v: Option<f64>,
}

/// A field, rms.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FieldStrength {
    /// Flux density along the coil's axis, T.
    pub flux_density_t: f64,
}

impl FieldStrength {
    /// Magnetic field strength in air, A/m.
    pub fn a_per_m(&self) -> f64 {
        self.flux_density_t / MU_0
    }
}

impl Pickup {
    /// The field that induces this voltage (peak) at this frequency: V = 2πf·N·A·B (law of induction).
    pub fn field(&self, peak_v: f64, frequency_hz: f64) -> FieldStrength {
        let area_m2 = PI * (0.5 * self.diameter_m).powi(2);
        FieldStrength {
            flux_density_t: peak_v / (SQRT_2 * 2.0 * PI * frequency_hz * self.turns * area_m2),
        }
    }
}

impl Decoded {
    /// The field where the pick-up coil was that [`Settings::pickup`](super::Settings::pickup) told of; else, or where the capture has no
    /// volts, no carrier or clipped peaks, why it is not known.
    ///
    /// # Errors
    /// A sentence that says why.
    pub fn field_strength(&self) -> Option<Result<FieldStrength, &'static str>> {
        let pickup = self.pickup?;
        let field = &self.reception.field;
        let (Some(amplitude), true) = (field.amplitude, self.reception.kind.has_carrier()) else {
            return Some(Err(
                "the capture holds no carrier whose voltage could be measured",
            ));
        };
        if self.reception.clipped_share().is_some() {
            return Some(Err(
                "the capture is clipped, so the voltage was higher than it shows",
            ));
        }
        let volts = match (self.unit(), pickup.full_scale_v) {
            (Unit::FullScale, None) => {
                return Some(Err(
                    "the capture holds fractions of full scale, not volts: say with --full-scale how many volts that is",
                ));
            }
            (Unit::FullScale, Some(volts)) => volts * amplitude,
            _ => amplitude,
        };
        let frequency_hz = field.frequency_hz.unwrap_or(NOMINAL_HZ);
        Some(Ok(pickup.field(volts, frequency_hz)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 1 µT rms through 10 turns of 50 mm at 134.2 kHz: √2·2π·134200·10·π·0.025²·1e-6 = 23.41 mV peak (law of induction, by hand); 1 µT are
    /// 0.796 A/m.
    #[test]
    fn volts_are_a_flux_density() {
        let pickup = Pickup {
            turns: 10.0,
            diameter_m: 0.05,
            full_scale_v: None,
        };
        let field = pickup.field(0.023_413, 134_200.0);
        assert!((field.flux_density_t - 1e-6).abs() < 1e-10, "{field:?}");
        assert!((field.a_per_m() - 0.7958).abs() < 2e-4, "{field:?}");
    }
}
