//! A coil on a ferrite rod: inductance and effective area from the rod's size and permeability.
//!
//! How much a rod gathers is set by its shape more than by its ferrite: the poles that the field makes at its ends work against it
//! (demagnetisation; Osborn, Phys. Rev. 67 (1945) 351 and Stoner, Phil. Mag. 36 (1945) 803 for ellipsoids). A rod is no ellipsoid: 10 to 20 times as
//! long as thick and of high permeability it gathers a quarter to a third more in its middle than the ellipsoid. So the poles are worked
//! out: on the rod's side and its end faces they are taken as rings, with which the magnetic potential at the surface falls along the rod
//! as its flux and permeability ask for (flux even over a cross-section). By reciprocity the moment that the coil's current gives the rod is
//! its effective area.
//!
//! Against finite elements of the vector potential (`tests/outside/check_rod.py`), rods one to 50 times as long as thick, permeability 20 to
//! 5000: within 1 %. Losses, and what the frequency does to the permeability, are not in it.

use super::carlson::complete;
use super::filament::circle_flux;
use super::mutual::gauss_legendre;
use super::{MU_0, TagCoil, current_sheet_h};
use nalgebra::{DMatrix, DVector};
use std::f64::consts::PI;
use thiserror::Error;

/// A rod with a winding in its middle, even along its length and thin against the rod.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Rod {
    /// Length of the ferrite.
    pub length_m: f64,
    /// Its diameter.
    pub diameter_m: f64,
    /// Initial relative permeability of the ferrite.
    pub permeability: f64,
    /// Turns.
    pub turns: u32,
    /// Length of the winding.
    pub winding_m: f64,
    /// Mean diameter of the winding.
    pub winding_diameter_m: f64,
}

/// A coil on a rod as it works out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OnRod {
    /// Inductance.
    pub inductance_h: f64,
    /// Open-circuit voltage over ω·B in an even field along the rod.
    pub effective_area_m2: f64,
    /// Flux density at the middle of the rod over that of the field.
    pub apparent_permeability: f64,
}

/// Why a rod cannot be worked out.
#[derive(Clone, Debug, Error, PartialEq)]
#[error("{what} is {value:.4}; allowed is {low} to {high}")]
pub struct RodError {
    /// Which ratio.
    pub what: &'static str,
    /// What it is.
    pub value: f64,
    /// Least that is allowed.
    pub low: f64,
    /// Most that is allowed.
    pub high: f64,
}

/// Rings on half of the side, and on an end face.
const SIDE: usize = 24;
const FACE: usize = 8;
/// Width of the rings at the edge over the rod's radius: the poles grow towards it as distance^(−1/3) (wedge, textbook).
const EDGE: f64 = 0.02;
/// Gauss nodes over a ring's width.
const NODES: usize = 8;

/// A ring-shaped piece of the surface, from one (radius, height) to another.
#[derive(Clone, Copy)]
struct Ring {
    from: (f64, f64),
    to: (f64, f64),
}

impl Ring {
    fn middle(&self) -> (f64, f64) {
        self.at(0.5)
    }

    fn at(&self, share: f64) -> (f64, f64) {
        (
            self.from.0 + share * (self.to.0 - self.from.0),
            self.from.1 + share * (self.to.1 - self.from.1),
        )
    }

    fn width(&self) -> f64 {
        (self.to.0 - self.from.0).hypot(self.to.1 - self.from.1)
    }

    /// Potential at a point of unit charge spread evenly over the ring and its opposite mirrored at z = 0.
    fn potential(&self, (radius, height): (f64, f64), gauss: &[(f64, f64)]) -> f64 {
        let of = |share: f64| {
            let (own, z) = self.at(share);
            let more = own / self.middle().0;
            more * (charged_circle(own, radius, height - z)
                - charged_circle(own, radius, height + z))
        };
        let (middle, near) = (self.middle(), 3.0 * self.width());
        if (radius - middle.0).hypot(height - middle.1) > near {
            return gauss
                .iter()
                .map(|(x, w)| w / 2.0 * of((1.0 + x) / 2.0))
                .sum();
        }
        // Nodes crowd where the point is, so that the logarithm there is integrated.
        let start = if (radius, height) == middle {
            0.5
        } else if (radius - self.from.0).hypot(height - self.from.1)
            < (radius - self.to.0).hypot(height - self.to.1)
        {
            0.0
        } else {
            1.0
        };
        let part = |end: f64| {
            let reach = end - start;
            let nodes = gauss.iter().map(|(x, w)| {
                let t = (1.0 + x) / 2.0;
                w * t * of(start + reach * t * t)
            });
            reach.abs() * nodes.sum::<f64>()
        };
        part(0.0) + part(1.0)
    }

    /// ∫ of the flux that comes from this ring's unit charge, from the middle of the rod to a height.
    fn flux_up_to(&self, height: f64) -> f64 {
        let (low, high) = (self.from.1, self.to.1);
        if height <= low {
            height
        } else if height >= high {
            (low + high) / 2.0
        } else {
            height - (height - low).powi(2) / (2.0 * (high - low))
        }
    }
}

/// Potential (without 1/ε) of unit charge on a circle: K(m)/(2π²·√((a + ρ)² + z²)) (textbook).
fn charged_circle(own: f64, radius: f64, along: f64) -> f64 {
    let far = (own + radius).powi(2) + along * along;
    let near = (own - radius).powi(2) + along * along;
    complete((near / far).max(f64::MIN_POSITIVE)).0 / (2.0 * PI * PI * far.sqrt())
}

impl Rod {
    /// The coil on it; its Q is measured.
    ///
    /// # Errors
    /// [`RodError`]: shapes for which the errors above were not measured.
    pub fn coil(&self, q: f64) -> Result<TagCoil, RodError> {
        let on_rod = self.work_out()?;
        Ok(TagCoil {
            inductance_h: on_rod.inductance_h,
            q,
            effective_area_m2: on_rod.effective_area_m2,
            rod_length_m: self.length_m,
        })
    }

    /// Inductance, effective area, apparent permeability.
    ///
    /// # Errors
    /// See [`Rod::coil`].
    pub fn work_out(&self) -> Result<OnRod, RodError> {
        self.check()?;
        let gauss = gauss_legendre(NODES);
        let rings = self.rings();
        let section_m2 = PI * self.diameter_m.powi(2) / 4.0;
        let susceptibility = self.permeability - 1.0;
        let falls = DMatrix::from_fn(rings.len(), rings.len(), |at, of| {
            let point = rings[at].middle();
            rings[of].potential(point, &gauss)
                + rings[of].flux_up_to(point.1) / (susceptibility * section_m2)
        })
        .lu();
        let heights = DVector::from_iterator(rings.len(), rings.iter().map(|r| r.middle().1));
        let by_current = DVector::from_iterator(
            rings.len(),
            rings
                .iter()
                .map(|ring| self.coil_potential(ring.middle(), &gauss)),
        );
        let solve = |right: &DVector<f64>| {
            // Potentials of charges in different places are independent.
            falls
                .solve(right)
                .unwrap_or_else(|| right.map(|_| f64::NAN))
        };
        let (in_field, in_current) = (solve(&heights), solve(&(-&by_current)));
        let per_m = f64::from(self.turns) / self.winding_m;
        let radius_m = self.winding_diameter_m / 2.0;
        let air_h = current_sheet_h(radius_m, self.winding_m, f64::from(self.turns));
        debug_assert!(per_m > 0.0);
        Ok(OnRod {
            inductance_h: air_h - 2.0 * MU_0 * by_current.dot(&in_current),
            effective_area_m2: f64::from(self.turns) * PI * radius_m * radius_m
                + 2.0 * heights.dot(&in_current),
            apparent_permeability: in_field.sum() / section_m2 * (1.0 + 1.0 / susceptibility),
        })
    }

    fn check(&self) -> Result<(), RodError> {
        let ratios = [
            ("the rod's permeability", self.permeability, 2.0, 20_000.0),
            (
                "the rod's length over its diameter",
                self.length_m / self.diameter_m,
                1.0,
                50.0,
            ),
            (
                "the winding's diameter over the rod's",
                self.winding_diameter_m / self.diameter_m,
                1.02,
                2.0,
            ),
            (
                "the winding's length over the rod's",
                self.winding_m / self.length_m,
                0.02,
                1.0,
            ),
        ];
        let refused = ratios
            .into_iter()
            .find(|(_, value, low, high)| !(*low..=*high).contains(value));
        match refused {
            Some((what, value, low, high)) => Err(RodError {
                what,
                value,
                low,
                high,
            }),
            None => Ok(()),
        }
    }

    /// Rings on the side from the middle up, then on the end face inwards; narrow at the edge.
    fn rings(&self) -> Vec<Ring> {
        let (radius, half) = (self.diameter_m / 2.0, self.length_m / 2.0);
        let narrow = EDGE * radius;
        let mut rings = Vec::new();
        for pair in towards(half, SIDE, narrow).windows(2) {
            rings.push(Ring {
                from: (radius, pair[0]),
                to: (radius, pair[1]),
            });
        }
        for pair in towards(radius, FACE, narrow).windows(2).rev() {
            rings.push(Ring {
                from: (pair[0], half),
                to: (pair[1], half),
            });
        }
        rings
    }

    /// Magnetic potential of the winding with unit current at a point within it, 0 in the plane of its middle: −∫H·dz along the axis's
    /// direction, over all turns.
    fn coil_potential(&self, (radius, height): (f64, f64), gauss: &[(f64, f64)]) -> f64 {
        let half = self.winding_m / 2.0;
        let per_m = f64::from(self.turns) / self.winding_m;
        let twice = |x: f64| self.twice_along(radius, x, gauss);
        -per_m * (twice(height + half) - twice(height - half))
    }

    /// Second integral along z of a turn's axial field at this radius, A: ∫₀ˣ (x − t)·H(t) dt. Panels double from the gap to the wire.
    fn twice_along(&self, radius: f64, x: f64, gauss: &[(f64, f64)]) -> f64 {
        let (own, x) = (self.winding_diameter_m / 2.0, x.abs());
        let (mut low, mut high, mut sum) = (0.0, own - radius, 0.0);
        while low < x {
            let end = f64::min(high, x);
            for (node, weight) in gauss {
                let t = low + (end - low) * (1.0 + node) / 2.0;
                let field = circle_flux(own, radius, t).1 / MU_0;
                sum += weight * (end - low) / 2.0 * (x - t) * field;
            }
            (low, high) = (end, 2.0 * high);
        }
        sum
    }
}

/// Edges of `count` pieces of a length, each so many times as long as the next, the last one `narrow`.
fn towards(length: f64, count: usize, narrow: f64) -> Vec<f64> {
    let reach = |ratio: f64| (0..count).map(|n| ratio.powi(n as i32)).sum::<f64>() * narrow;
    let (mut low, mut high) = (0.01, 10.0);
    for _ in 0..100 {
        let middle = 0.5 * (low + high);
        if reach(middle) < length {
            low = middle
        } else {
            high = middle
        }
    }
    let mut edges = vec![length];
    let mut at = length;
    for n in 0..count {
        at -= narrow * low.powi(n as i32);
        edges.push(at);
    }
    edges[count] = 0.0;
    edges.reverse();
    edges
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rod(long: f64, permeability: f64) -> Rod {
        Rod {
            length_m: long * 2e-3,
            diameter_m: 2e-3,
            permeability,
            turns: 300,
            winding_m: long * 1e-3,
            winding_diameter_m: 2.2e-3,
        }
    }

    /// Flux at the middle over the field's for high permeability, 1/N of cylinders (Bozorth & Chapin, J. Appl. Phys. 13 (1942) 320, two digits from
    /// memory): N = 0.27, 0.14, 0.040, 0.0172, 0.00617, 0.00129 for 1, 2, 5, 10, 20, 50. Their curves rest on measurements and are themselves
    /// some 10 % uncertain; ellipsoids (Osborn) have 0.0203 at 10 and 0.0067 at 20, less apparent permeability than any rod.
    #[test]
    fn published_demagnetisation_of_cylinders() {
        for (long, n) in [
            (1.0, 0.27),
            (2.0, 0.14),
            (5.0, 0.040),
            (10.0, 0.0172),
            (20.0, 0.00617),
            (50.0, 0.00129),
        ] {
            let got = 1.0
                / rod(long, 20_000.0)
                    .work_out()
                    .unwrap()
                    .apparent_permeability;
            assert!((got / n - 1.0).abs() < 0.2, "{long}: {got} {n}");
        }
        for (long, ellipsoid) in [(10.0, 0.0203), (20.0, 0.00675)] {
            let got = rod(long, 20_000.0)
                .work_out()
                .unwrap()
                .apparent_permeability;
            assert!(
                got > 1.05 / ellipsoid && got < 1.35 / ellipsoid,
                "{long}: {got}"
            );
        }
    }

    /// Hardly magnetic rods add their own volume: area µr times through the rod (thin and long, or 1 + χ/(1 + χ/3) about for a short one); inductance and
    /// area never fall with permeability or length.
    #[test]
    fn limits_by_hand() {
        let long = rod(50.0, 2.0).work_out().unwrap();
        let by_hand = 300.0 * PI * (1.1e-3_f64.powi(2) + 1e-3_f64.powi(2));
        assert!(
            (long.effective_area_m2 / by_hand - 1.0).abs() < 0.01,
            "{long:?} {by_hand}"
        );
        assert!(
            (long.apparent_permeability / 2.0 - 1.0).abs() < 0.01,
            "{long:?}"
        );
        let mut last = OnRod {
            inductance_h: 0.0,
            effective_area_m2: 0.0,
            apparent_permeability: 0.0,
        };
        for permeability in [2.0, 10.0, 100.0, 1000.0, 20_000.0] {
            let next = rod(10.0, permeability).work_out().unwrap();
            assert!(
                next.inductance_h > last.inductance_h
                    && next.effective_area_m2 > last.effective_area_m2
            );
            last = next;
        }
    }

    /// The area follows from the coil's current or, by reciprocity, from the field: flux of the poles that the field makes.
    #[test]
    fn reciprocity() {
        let rod = rod(6.0, 600.0);
        let short = Rod {
            winding_m: 0.02 * rod.length_m,
            ..rod
        };
        let got = short.work_out().unwrap();
        // A short coil in the middle has the flux there: the rod's, and the air's between rod and wire.
        let section = PI * 1e-6;
        let rest = PI * (1.1e-3_f64.powi(2) - 1e-6);
        let most = 300.0 * (section * got.apparent_permeability + rest);
        assert!(
            got.effective_area_m2 > 0.97 * most - 300.0 * rest
                && got.effective_area_m2 < 1.01 * most,
            "{got:?} {most}"
        );
    }

    #[test]
    fn shapes_beyond_the_measured_ones_are_refused() {
        let why = |rod: Rod| rod.work_out().unwrap_err().to_string();
        assert_eq!(
            why(rod(60.0, 100.0)),
            "the rod's length over its diameter is 60.0000; allowed is 1 to 50"
        );
        assert!(
            why(Rod {
                winding_diameter_m: 2e-3,
                ..rod(5.0, 100.0)
            })
            .contains("winding's diameter")
        );
        assert!(
            why(Rod {
                winding_m: 11e-3,
                ..rod(5.0, 100.0)
            })
            .contains("winding's length")
        );
        assert!(why(rod(5.0, f64::NAN)).contains("permeability"));
    }
}
