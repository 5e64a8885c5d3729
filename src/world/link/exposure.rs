//! Field strength at a distance, beside the limits people are asked about. No statement of compliance: conditions differ by country and
//! change, and a computed field is no measurement.

use super::super::coil::{Coil, MU_0, Vector};
use num_complex::Complex64;

/// Field at a point, rms.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct FieldAt {
    /// Magnetic field strength in A/m rms.
    pub a_per_m: f64,
    /// The same in dB over 1 µA/m.
    pub db_ua_per_m: f64,
    /// Magnetic flux density in µT rms.
    pub ut: f64,
}

/// Field of a coil at the origin carrying this peak current, at a point of its frame (axis along z). Near field: at 10 m and 134.2 kHz
/// the radiated part adds 0.04 %.
pub fn field_at(coil: &Coil, current_a: f64, point_m: Vector) -> FieldAt {
    FieldAt::of(
        coil.flux_density(&point_m)
            .map(Complex64::from)
            .into_iter()
            .copied()
            .map(|flux| flux * current_a),
    )
}

impl FieldAt {
    /// Of a flux density in three components, T peak.
    pub(super) fn of(flux: impl IntoIterator<Item = Complex64>) -> Self {
        let square: f64 = flux.into_iter().map(|part| part.norm_sqr()).sum();
        let flux = (square / 2.0).sqrt();
        let a_per_m = flux / MU_0;
        FieldAt {
            a_per_m,
            db_ua_per_m: 20.0 * libm::log10(a_per_m * 1e6),
            ut: flux * 1e6,
        }
    }
}

/// Speed of light.
pub(super) const LIGHT_M_PER_S: f64 = 299_792_458.0;

/// Wave impedance by which a magnetic field measured with a loop is stated as an electric one, Ω.
pub const WAVE_OHM: f64 = 377.0;

/// Magnetic field on the axis of a small loop, where it is largest, A/m rms, at any distance and for a moment in A·m² peak:
/// H = m/(2πr³)·√(1 + (kr)²) (magnetic dipole, textbook).
///
/// Limits in µV/m below 30 MHz are measured with a loop antenna and stated as 377 Ω times this (47 CFR 15.209 and ANSI C63.10; from memory,
/// no source text at hand). Rejected: the electric field in the loop's plane, which is smaller by 2/(kr), 7.5 dB at 300 m and 134.2 kHz.
pub fn loop_field_a_per_m(moment_a_m2: f64, frequency_hz: f64, at_m: f64) -> f64 {
    let turned = std::f64::consts::TAU * frequency_hz / LIGHT_M_PER_S * at_m;
    moment_a_m2 / 2f64.sqrt() / (std::f64::consts::TAU * at_m.powi(3))
        * (1.0 + turned * turned).sqrt()
}

/// What a limit is about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LimitKind {
    /// Magnetic field in dBµA/m at a distance in m.
    MagneticField {
        /// Distance from the antenna.
        at_m: f64,
    },
    /// Electric field in µV/m at a distance in m, as 377 Ω times the magnetic field of a loop.
    ElectricField {
        /// Distance from the antenna.
        at_m: f64,
    },
    /// Flux density in µT rms where people are.
    FluxDensity,
}

/// A published limit, by name.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limit {
    /// Document.
    pub name: &'static str,
    /// Quantity and distance.
    pub kind: LimitKind,
    /// Value in the unit of the kind.
    pub value: f64,
}

/// Limits that name this frequency, as published in CEPT ERC/REC 70-03 Annex 9, 47 CFR 15.209 and ICNIRP 2010 (general public). EN 50364
/// covers exposure by such readers. Local rules decide.
pub fn limits(frequency_hz: f64) -> Vec<Limit> {
    let khz = frequency_hz / 1e3;
    let mut list = Vec::new();
    // 66 dBµA/m at 119 kHz falling 3 dB an octave to 135 kHz; 42 from 135 to 140 kHz.
    let recommendation = if (119.0..135.0).contains(&khz) {
        Some(66.0 - 3.0 * (khz / 119.0).log2())
    } else if (135.0..140.0).contains(&khz) {
        Some(42.0)
    } else {
        None
    };
    if let Some(value) = recommendation {
        let kind = LimitKind::MagneticField { at_m: 10.0 };
        list.push(Limit {
            name: "CEPT ERC/REC 70-03 Annex 9",
            kind,
            value,
        });
    }
    if (9.0..490.0).contains(&khz) {
        let kind = LimitKind::ElectricField { at_m: 300.0 };
        list.push(Limit {
            name: "47 CFR 15.209",
            kind,
            value: 2400.0 / khz,
        });
    }
    // 27 µT from 3 kHz to 10 MHz.
    if (3.0..10_000.0).contains(&khz) {
        list.push(Limit {
            name: "ICNIRP 2010, general public",
            kind: LimitKind::FluxDensity,
            value: 27.0,
        });
    }
    list
}

#[cfg(test)]
mod tests {
    use super::super::super::coil::{Outline, Wire};
    use super::*;

    /// 65.5 dBµA/m at 134.2 kHz, 42 from 135 kHz (CEPT ERC/REC 70-03 Annex 9); 2400/f µV/m (47 CFR 15.209); 27 µT (ICNIRP 2010).
    #[test]
    fn limits_at_the_field_frequency() {
        let list = limits(134_200.0);
        assert_eq!(list.len(), 3);
        assert!((list[0].value - 65.5).abs() < 0.05, "{list:?}");
        assert!((list[1].value - 17.88).abs() < 0.005, "{list:?}");
        assert_eq!(list[2].value, 27.0);
        assert_eq!(limits(136_000.0)[0].value, 42.0);
        assert_eq!(limits(100.0), []);
    }

    /// One turn of 1 A peak, R 0.1 m: at the centre I/(2R) = 5 A/m peak; at 10 m on the axis R²/(2r³) (textbook).
    #[test]
    fn centre_and_far() {
        let coil =
            Coil::close_wound(Outline::Circle { radius_m: 0.1 }, 1, Wire::copper(1e-3)).unwrap();
        let centre = field_at(&coil, 1.0, Vector::zeros());
        assert!((centre.a_per_m - 5.0 / 2f64.sqrt()).abs() < 1e-9);
        assert!((centre.ut - centre.a_per_m * MU_0 * 1e6).abs() < 1e-12);
        let far = field_at(&coil, 1.0, Vector::new(0.0, 0.0, 10.0));
        let want: f64 = 0.01 / 2.0 / 1e3 / 2f64.sqrt();
        assert!((far.a_per_m / want - 1.0).abs() < 2e-4, "{far:?}");
        assert!((far.db_ua_per_m - 20.0 * (want * 1e6).log10()).abs() < 0.01);
        // Near: the loop's own field on the axis. 300 m at 134.2 kHz: 377 Ω·H is 2/(kr) = 2.37 times the E of a dipole in its plane (7.5 dB).
        let moment = coil.turns_area_m2();
        let near = loop_field_a_per_m(moment, 134_200.0, 10.0);
        assert!((near / far.a_per_m - 1.0).abs() < 1e-3, "{near} {far:?}");
        let wave_number = std::f64::consts::TAU * 134_200.0 / 299_792_458.0;
        let turned = wave_number * 300.0;
        let electric = 376.73 * wave_number * wave_number * moment
            / 2f64.sqrt()
            / (4.0 * std::f64::consts::PI * 300.0)
            * (1.0 + 1.0 / (turned * turned)).sqrt();
        let ratio = WAVE_OHM * loop_field_a_per_m(moment, 134_200.0, 300.0) / electric;
        assert!((20.0 * ratio.log10() - 7.5).abs() < 0.05, "{ratio}");
    }
}
