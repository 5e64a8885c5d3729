//! Field strength at a distance, beside the limits people are asked about. No statement of compliance: conditions differ by country and
//! change, and a computed field is no measurement.

use super::super::coil::{Coil, MU_0, Vector};

/// Field at a point, rms.
#[derive(Clone, Copy, Debug, PartialEq)]
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
    let flux = coil.flux_density(&point_m).norm() * current_a / 2f64.sqrt();
    let a_per_m = flux / MU_0;
    FieldAt {
        a_per_m,
        db_ua_per_m: 20.0 * (a_per_m * 1e6).log10(),
        ut: flux * 1e6,
    }
}

/// Electric field in the plane of a small loop, µV/m rms, at any distance: E = η·k²·m/(4πr)·√(1 + 1/(kr)²) (magnetic dipole, textbook).
pub fn loop_electric_field_uv_per_m(
    coil: &Coil,
    current_a: f64,
    frequency_hz: f64,
    at_m: f64,
) -> f64 {
    const LIGHT_M_PER_S: f64 = 299_792_458.0;
    let wave_number = std::f64::consts::TAU * frequency_hz / LIGHT_M_PER_S;
    let moment = coil.turns_area_m2() * current_a / 2f64.sqrt();
    let turned = wave_number * at_m;
    let field = MU_0 * LIGHT_M_PER_S * wave_number * wave_number * moment
        / (4.0 * std::f64::consts::PI * at_m)
        * (1.0 + 1.0 / (turned * turned)).sqrt();
    field * 1e6
}

/// What a limit is about.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LimitKind {
    /// Magnetic field in dBµA/m at a distance in m.
    MagneticField {
        /// Distance from the antenna.
        at_m: f64,
    },
    /// Electric field in µV/m at a distance in m.
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
        // Near a small loop E = ωµ0·m/(4πr²): Faraday's law on the dipole's vector potential (textbook).
        let near = loop_electric_field_uv_per_m(&coil, 1.0, 134_200.0, 1.0);
        let moment = std::f64::consts::PI * 0.01 / 2f64.sqrt();
        let want =
            std::f64::consts::TAU * 134_200.0 * MU_0 * moment / (4.0 * std::f64::consts::PI) * 1e6;
        assert!((near / want - 1.0).abs() < 1e-5, "{near} {want}");
    }
}
