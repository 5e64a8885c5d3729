//! A tag's coil on its ferrite rod, as it is measured: inductance, Q and effective area.

use super::mutual::gauss_legendre;
use super::{Coil, Place, Vector};

/// The coil of a tag. A ferrite core cannot be computed from turns and size alone, so its effect is measured.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TagCoil {
    /// Inductance on its core.
    pub inductance_h: f64,
    /// Quality factor of the coil alone at the field frequency.
    pub q: f64,
    /// Open-circuit peak voltage in a uniform field along the axis is ω·B·this area: turns × area × gain of the core.
    pub effective_area_m2: f64,
    /// Length over which the rod gathers flux; 0 takes the field at the middle only.
    pub rod_length_m: f64,
}

impl TagCoil {
    /// Series resistance that gives the measured Q.
    pub fn resistance_ohm(&self, frequency_hz: f64) -> f64 {
        2.0 * std::f64::consts::PI * frequency_hz * self.inductance_h / self.q
    }

    /// Mutual inductance with a reader's coil: effective area times the flux density along the rod per ampere, averaged over
    /// its length. The rod is taken as thin and as not changing the reader's coil; across its width the field varies by
    /// about (width/distance)².
    pub fn mutual_inductance_h(&self, reader: &Coil, place: &Place) -> f64 {
        self.effective_area_m2 * self.mean_along(place, |point| reader.flux_density(point))
    }

    /// The part of it that a metal sheet beside the reader's coil sets a quarter of a cycle ahead; it is left out of the circuits.
    pub fn mutual_quadrature_h(&self, reader: &Coil, place: &Place) -> f64 {
        self.effective_area_m2
            * self.mean_along(place, |point| reader.flux_density_quadrature(point))
    }

    /// Mean of a field's part along the rod.
    fn mean_along(&self, place: &Place, field: impl Fn(&Vector) -> Vector) -> f64 {
        if self.rod_length_m == 0.0 {
            return field(&place.centre_m()).dot(&place.axis());
        }
        gauss_legendre(8)
            .iter()
            .map(|(node, weight)| {
                let point = place.outward(Vector::z() * (node * self.rod_length_m / 2.0));
                weight / 2.0 * field(&point).dot(&place.axis())
            })
            .sum()
    }
}

#[cfg(test)]
mod tests {
    use super::super::{MU_0, Outline, Wire, mutual_inductance_h};
    use super::*;
    use std::f64::consts::PI;

    /// An air-cored tag coil of 1 mm radius gives the same as turn by turn, within the 1e-3 of the far limit (derived); tilted
    /// by θ on the axis the flux goes with cos θ.
    #[test]
    fn small_tag_limit_at_any_tilt() {
        let reader =
            Coil::close_wound(Outline::Circle { radius_m: 0.05 }, 10, Wire::copper(0.3e-3))
                .unwrap();
        let winding = Coil::close_wound(
            Outline::Circle { radius_m: 0.001 },
            1,
            Wire::copper(0.05e-3),
        )
        .unwrap();
        let tag = TagCoil {
            inductance_h: 1e-3,
            q: 20.0,
            effective_area_m2: PI * 1e-6,
            rod_length_m: 0.0,
        };
        for (distance, offset, tilt) in [(0.03, 0.0, 0.0), (0.1, 0.02, 40.0), (0.05, 0.0, 90.0)] {
            let place = Place::in_front(distance, offset, tilt);
            let got = tag.mutual_inductance_h(&reader, &place);
            let full = mutual_inductance_h(&reader, &winding, &place);
            assert!(
                (got - full).abs() < 1e-3 * full.abs() + 1e-22,
                "{got} {full}"
            );
        }
        let straight = tag.mutual_inductance_h(&reader, &Place::in_front(0.08, 0.0, 0.0));
        let across = tag.mutual_inductance_h(&reader, &Place::in_front(0.08, 0.0, 90.0));
        assert!(
            across.abs() < 1e-12 * straight,
            "nothing at 90° (common practice, no source): {across}"
        );
        let want = 10.0 * MU_0 * PI * 0.0025 * 1e-6 / (2.0 * (0.0025_f64 + 0.0064).powf(1.5));
        assert!((straight / want - 1.0).abs() < 1e-3, "{straight} {want}");
    }

    /// Averaging over the rod: second order in length, with the curvature of the on-axis field.
    #[test]
    fn a_rod_averages() {
        let reader =
            Coil::close_wound(Outline::Circle { radius_m: 0.05 }, 1, Wire::copper(0.3e-3)).unwrap();
        let point = TagCoil {
            inductance_h: 1e-3,
            q: 20.0,
            effective_area_m2: 1e-4,
            rod_length_m: 0.0,
        };
        let rod = TagCoil {
            rod_length_m: 0.012,
            ..point
        };
        let place = Place::in_front(0.04, 0.0, 0.0);
        let at = |z: f64| point.mutual_inductance_h(&reader, &Place::in_front(z, 0.0, 0.0));
        let curvature = (at(0.041) - 2.0 * at(0.04) + at(0.039)) / 1e-6;
        let want = at(0.04) + curvature * 0.012_f64.powi(2) / 24.0;
        let got = rod.mutual_inductance_h(&reader, &place);
        assert!((got / want - 1.0).abs() < 1e-4, "{got} {want}");
    }
}
