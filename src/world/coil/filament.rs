//! One closed turn of thin wire: its vector potential and flux density per ampere.

use super::carlson::{carlson_rd, carlson_rf, complete};
use super::{MU_0, Outline, Vector};
use std::f64::consts::PI;

/// A thin closed turn in the plane z = `z_m` of its coil's own frame, wound right-handed about z.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Filament {
    /// Shape of the turn.
    pub outline: Outline,
    /// Height of its plane along the coil's axis.
    pub z_m: f64,
}

impl Filament {
    /// A circle in the plane z = 0.
    pub fn circle(radius_m: f64) -> Self {
        Filament {
            outline: Outline::Circle { radius_m },
            z_m: 0.0,
        }
    }

    /// A rectangle in the plane z = 0, `width_m` along x.
    pub fn rectangle(width_m: f64, height_m: f64) -> Self {
        Filament {
            outline: Outline::Rectangle { width_m, height_m },
            z_m: 0.0,
        }
    }

    /// Corners of a rectangle in winding order.
    pub(super) fn corners(width_m: f64, height_m: f64, z_m: f64) -> [Vector; 4] {
        let (x, y) = (width_m / 2.0, height_m / 2.0);
        [(-x, -y), (x, -y), (x, y), (-x, y)].map(|(x, y)| Vector::new(x, y, z_m))
    }

    /// Vector potential at a point of the coil's own frame, in Wb/(m·A). Infinite on the wire.
    pub fn vector_potential(&self, point_m: &Vector) -> Vector {
        match self.outline {
            Outline::Circle { radius_m } => {
                let rho = point_m.x.hypot(point_m.y);
                if rho == 0.0 {
                    return Vector::zeros();
                }
                let size =
                    coaxial_circles_h(radius_m, rho, point_m.z - self.z_m) / (2.0 * PI * rho);
                Vector::new(-point_m.y, point_m.x, 0.0) * (size / rho)
            }
            Outline::Rectangle { width_m, height_m } => {
                let corners = Self::corners(width_m, height_m, self.z_m);
                (0..4)
                    .map(|side| {
                        segment_potential(&corners[side], &corners[(side + 1) % 4], point_m)
                    })
                    .sum()
            }
        }
    }

    /// Flux density at a point of the coil's own frame, in T/A. Infinite on the wire.
    pub fn flux_density(&self, point_m: &Vector) -> Vector {
        match self.outline {
            Outline::Circle { radius_m } => {
                let rho = point_m.x.hypot(point_m.y);
                let (radial, axial) = circle_flux(radius_m, rho, point_m.z - self.z_m);
                if rho == 0.0 {
                    return Vector::new(0.0, 0.0, axial);
                }
                Vector::new(radial * point_m.x / rho, radial * point_m.y / rho, axial)
            }
            Outline::Rectangle { width_m, height_m } => {
                let corners = Self::corners(width_m, height_m, self.z_m);
                (0..4)
                    .map(|side| segment_flux(&corners[side], &corners[(side + 1) % 4], point_m))
                    .sum()
            }
        }
    }
}

/// Mutual inductance of two circles on one axis, their planes `gap_m` apart (NIST DLMF §19.34):
/// M = (2µ0·a·b/3)·\[3R_F(0, r₊², r₋²) − 2r₋²·R_D(0, r₊², r₋²)\], r±² = h² + (a ± b)². Infinite where the
/// two coincide.
pub fn coaxial_circles_h(radius_a_m: f64, radius_b_m: f64, gap_m: f64) -> f64 {
    let plus = gap_m * gap_m + (radius_a_m + radius_b_m).powi(2);
    let minus = gap_m * gap_m + (radius_a_m - radius_b_m).powi(2);
    if minus <= f64::MIN_POSITIVE * plus {
        return f64::INFINITY;
    }
    2.0 * MU_0 * radius_a_m * radius_b_m / 3.0
        * (3.0 * carlson_rf(0.0, plus, minus) - 2.0 * minus * carlson_rd(0.0, plus, minus))
}

/// Mutual inductance of two rectangles (width, height) on one axis with parallel sides, their planes `gap_m` apart, by
/// Neumann's integral over parallel segments, which is elementary. For `gap_m` = the radius of a thin surface current and
/// equal sizes this is also the external self-inductance of one turn.
pub fn coaxial_rectangles_h(a_m: (f64, f64), b_m: (f64, f64), gap_m: f64) -> f64 {
    let pair = |length_a: f64, length_b: f64, across_a: f64, across_b: f64| {
        let near = gap_m.hypot((across_a - across_b) / 2.0);
        let far = gap_m.hypot((across_a + across_b) / 2.0);
        2.0 * (parallel_segments_h(length_a, length_b, near)
            - parallel_segments_h(length_a, length_b, far))
    };
    pair(a_m.0, b_m.0, a_m.1, b_m.1) + pair(a_m.1, b_m.1, a_m.0, b_m.0)
}

/// Two parallel segments with a common perpendicular through their middles: four terms of x·asinh(x/d) − √(x²+d²).
fn parallel_segments_h(length_a_m: f64, length_b_m: f64, gap_m: f64) -> f64 {
    let term = |x: f64| x * (x / gap_m).asinh() - x.hypot(gap_m);
    let sum = (length_a_m + length_b_m) / 2.0;
    let difference = (length_a_m - length_b_m) / 2.0;
    MU_0 / (2.0 * PI) * (term(sum) - term(difference))
}

/// Radial and axial flux density of a circle per ampere, from the complete elliptic integrals.
pub(super) fn circle_flux(radius_m: f64, rho_m: f64, z_m: f64) -> (f64, f64) {
    let (a2, square) = (radius_m * radius_m, rho_m * rho_m + z_m * z_m);
    let plus = (radius_m + rho_m).powi(2) + z_m * z_m;
    let minus = (radius_m - rho_m).powi(2) + z_m * z_m;
    let (k, e) = complete(minus / plus);
    let front = MU_0 / (2.0 * PI * plus.sqrt());
    let axial = front * (k + (a2 - square) / minus * e);
    let radial = if rho_m * rho_m < 1e-8 * (a2 + z_m * z_m) {
        // First term of the expansion about the axis; the elliptic form loses its digits here. Both are good to 1e-8.
        0.75 * MU_0 * a2 * z_m * rho_m / (a2 + z_m * z_m).powf(2.5)
    } else {
        front * z_m / rho_m * ((a2 + square) / minus * e - k)
    };
    (radial, axial)
}

fn segment_potential(from: &Vector, to: &Vector, point: &Vector) -> Vector {
    let along = to - from;
    let length = along.norm();
    let sum = (point - from).norm() + (point - to).norm();
    along * (MU_0 / (4.0 * PI * length) * ((sum + length) / (sum - length)).ln())
}

fn segment_flux(from: &Vector, to: &Vector, point: &Vector) -> Vector {
    let (r1, r2) = (point - from, point - to);
    let (n1, n2) = (r1.norm(), r2.norm());
    r1.cross(&r2) * (MU_0 / (4.0 * PI) * (n1 + n2) / (n1 * n2 * (n1 * n2 + r1.dot(&r2))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn circles_that_coincide_have_no_finite_coupling() {
        for gap_m in [0.0, 1e-311, 1e-170] {
            assert_eq!(coaxial_circles_h(0.1, 0.1, gap_m), f64::INFINITY);
        }
        assert!(coaxial_circles_h(0.1, 0.1, 1e-100).is_finite());
    }

    /// "248.787 cm" is the standard example of Rosa & Grover (NBS Bulletin 8, 1912; from memory); the other digits are
    /// derived three ways. Half a unit of the last digit is the tolerance.
    #[test]
    fn coaxial_circles_to_all_digits() {
        for (a, b, h, want_nh, unit) in [
            (25.0, 20.0, 10.0, 248.787_359_04, 1e-8),
            (25.0, 25.0, 1.0, 1_036.664_849_3, 1e-7),
            (25.0, 25.0, 4.0, 606.067_628_37, 1e-8),
            (25.0, 25.0, 20.0, 167.085_783_65, 1e-8),
            (25.0, 20.0, 0.0, 451.731_388_63, 1e-8),
            (20.0, 20.0, 20.0, 98.815_692_616, 1e-9),
        ] {
            let got = coaxial_circles_h(a * 1e-2, b * 1e-2, h * 1e-2) * 1e9;
            assert!((got - want_nh).abs() <= 0.5001 * unit, "{a}/{b}/{h}: {got}");
            let swapped = coaxial_circles_h(b * 1e-2, a * 1e-2, h * 1e-2) * 1e9;
            assert!(
                (got - swapped).abs() < 1e-13 * got,
                "reciprocal: {got} {swapped}"
            );
        }
    }

    /// On the axis B = µ0a²/(2(a²+z²)^1.5) (textbook, Biot–Savart); far away a dipole.
    #[test]
    fn field_on_the_axis_and_far_away() {
        let loop_50mm = Filament::circle(0.05);
        for z in [-0.2, 0.0, 0.03, 1.0] {
            let got = loop_50mm.flux_density(&Vector::new(0.0, 0.0, z));
            let want = MU_0 * 0.0025 / (2.0 * (0.0025 + z * z).powf(1.5));
            assert!(
                (got.z / want - 1.0).abs() < 1e-13 && got.x == 0.0,
                "{z}: {got}"
            );
        }
        // Dipole m = πa²: relative error of the next multipole is below 2(a/r)² = 5e-5.
        let (r, angle) = (10.0, 0.7_f64);
        let point = Vector::new(r * angle.sin(), 0.0, r * angle.cos());
        let moment = PI * 0.0025;
        let unit = point / r;
        let dipole = (unit * (3.0 * unit.z) - Vector::z()) * (1e-7 * moment / r.powi(3));
        for turn in [loop_50mm, Filament::rectangle(0.1, PI * 0.025)] {
            let got = turn.flux_density(&point);
            assert!(
                (got - dipole).norm() < 2e-4 * dipole.norm(),
                "{got} {dipole}"
            );
        }
    }

    /// B = curl A for both shapes, by central differences: error h²/6·third derivative ≈ 1e-7 relative at h = 1e-5.
    #[test]
    fn flux_density_is_the_curl_of_the_potential() {
        let step = 1e-5;
        for turn in [Filament::circle(0.05), Filament::rectangle(0.08, 0.03)] {
            for point in [
                Vector::new(0.02, -0.01, 0.03),
                Vector::new(1e-7, 0.0, 0.02),
                Vector::new(0.1, 0.02, -0.01),
            ] {
                let slope = |along: usize| {
                    let mut move_by = Vector::zeros();
                    move_by[along] = step;
                    (turn.vector_potential(&(point + move_by))
                        - turn.vector_potential(&(point - move_by)))
                        / (2.0 * step)
                };
                let (dx, dy, dz) = (slope(0), slope(1), slope(2));
                let curl = Vector::new(dy.z - dz.y, dz.x - dx.z, dx.y - dy.x);
                let got = turn.flux_density(&point);
                assert!((got - curl).norm() < 1e-6 * got.norm(), "{got} {curl}");
            }
        }
    }

    /// Ampère's law: the line integral of B round the wire is µ0 per ampere. Trapezoid on a periodic integrand.
    #[test]
    fn amperes_law_round_the_wire() {
        for (turn, wire) in [
            (Filament::circle(0.05), Vector::new(0.05, 0.0, 0.0)),
            (
                Filament::rectangle(0.1, 0.06),
                Vector::new(0.05, 0.004, 0.0),
            ),
        ] {
            let (radius, points) = (0.02, 400);
            let sum: f64 = (0..points)
                .map(|index| {
                    let angle = 2.0 * PI * f64::from(index) / f64::from(points);
                    let out = Vector::new(angle.cos(), 0.0, angle.sin());
                    let along = Vector::new(angle.sin(), 0.0, -angle.cos());
                    turn.flux_density(&(wire + out * radius)).dot(&along)
                })
                .sum();
            let got = -sum * 2.0 * PI * radius / f64::from(points);
            assert!((got.abs() / MU_0 - 1.0).abs() < 1e-9, "{got}");
        }
    }
}
