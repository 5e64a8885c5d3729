//! A plane metal sheet beside a coil and parallel to it, as images of the coil.
//!
//! A sheet reflects each Bessel component exp(−k·z) of the coil's field with a factor Γ(k) (Dodd & Deeds, J. Appl. Phys. 39 (1968) 2829,
//! there for a half space and for layers; here a single layer with air on both sides). For a perfect conductor Γ = −1, the mirrored
//! coil with its current the other way. What a real sheet has is laid on images at several depths, Γ(k) ≈ Σ c·exp(−k·d) with complex c, so
//! that it serves any outline and any place before the sheet. The sheet is taken as endless.

use super::self_inductance::pair_h;
use super::{Coil, CoilError, MU_0};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use std::f64::consts::PI;

/// A plane sheet that faces a coil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Sheet {
    /// Its near face on the coil's axis, m; negative is behind the coil.
    pub at_m: f64,
    /// How thick it is.
    pub thickness_m: f64,
    /// Conductivity.
    pub conductivity_s_per_m: f64,
    /// Relative permeability at small fields.
    pub permeability: f64,
}

/// A mirrored coil: a turn at z is seen at `reach_m` − z.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Image {
    pub reach_m: f64,
    /// Its current over the coil's.
    pub weight: Complex64,
}

/// Depths of the images below the mirrored coil, in units of the depth at which the field ends.
const DEPTHS: [f64; 6] = [0.0, 0.5, 1.0, 2.0, 4.0, 8.0];
/// Images of a good conductor lie no closer together than this part of the distance: their weights would grow and cancel.
const LEAST_STEP: f64 = 0.02;
/// Largest error of Γ that is let pass. The tests ask for 2 % of what a sheet changes, and Γ enters once.
const MOST_MISFIT: f64 = 5e-3;
/// Γ is laid on the images up to exp(−24), e^−12 of the field at the sheet.
const LARGEST: f64 = 24.0;
const POINTS: usize = 240;

impl Sheet {
    /// How far the field gets into the metal, m.
    pub fn skin_depth_m(&self, frequency_hz: f64) -> f64 {
        (1.0 / (PI * frequency_hz * MU_0 * self.permeability * self.conductivity_s_per_m)).sqrt()
    }

    /// Γ(k) of this sheet, from the tangential H and normal B at its two faces.
    fn reflection(&self, wave_per_m: f64, omega: f64) -> Complex64 {
        let q = Complex64::from(self.permeability * wave_per_m);
        let loss = omega * MU_0 * self.permeability * self.conductivity_s_per_m;
        let inside = Complex64::new(wave_per_m * wave_per_m, loss).sqrt();
        let tanh = tanh(inside * self.thickness_m);
        (q * q - inside * inside) * tanh / ((q * q + inside * inside) * tanh + 2.0 * q * inside)
    }

    /// The images for a coil whose nearest turn is `gap_m` away, and the largest error of Γ, weighted as the field at the sheet is.
    fn images(&self, gap_m: f64, omega: f64) -> (Vec<Image>, f64) {
        let loss = omega * MU_0 * self.permeability * self.conductivity_s_per_m;
        let inside = Complex64::new(0.0, loss).sqrt();
        let depth = self.permeability / (inside * tanh(inside * self.thickness_m)).norm();
        let step = depth.max(LEAST_STEP * gap_m);
        let at = |row: usize| LARGEST * (row + 1) as f64 / POINTS as f64;
        let fading = DMatrix::from_fn(POINTS, DEPTHS.len(), |row, column| {
            (-at(row) * (0.5 + DEPTHS[column] * step / (2.0 * gap_m))).exp()
        });
        let wanted: Vec<Complex64> = (0..POINTS)
            .map(|row| self.reflection(at(row) / (2.0 * gap_m), omega) * (-at(row) / 2.0).exp())
            .collect();
        let svd = fading.clone().svd(true, true);
        let solve = |part: fn(&Complex64) -> f64| {
            let right = DVector::from_iterator(POINTS, wanted.iter().map(part));
            // Both factors were asked for.
            svd.solve(&right, 1e-9 * svd.singular_values[0])
                .unwrap_or_else(|_| DVector::zeros(DEPTHS.len()))
        };
        let (real, imaginary) = (solve(|z| z.re), solve(|z| z.im));
        let (got_re, got_im) = (&fading * &real, &fading * &imaginary);
        let misfit = wanted
            .iter()
            .enumerate()
            .map(|(row, want)| (Complex64::new(got_re[row], got_im[row]) - want).norm())
            .fold(0.0, f64::max);
        let images = DEPTHS
            .iter()
            .enumerate()
            .map(|(index, depth)| Image {
                reach_m: 2.0 * self.at_m + self.at_m.signum() * depth * step,
                weight: Complex64::new(real[index], imaginary[index]),
            })
            .collect();
        (images, misfit)
    }
}

/// The library's overflows where the exponentials do.
fn tanh(value: Complex64) -> Complex64 {
    if value.re > 20.0 {
        Complex64::from(1.0)
    } else {
        value.tanh()
    }
}

impl Coil {
    /// The same coil beside a sheet: its field, and what it shares with other coils before the sheet, are those of both. The part of them
    /// out of phase with the current ([`Coil::flux_density_quadrature`]) is left out there. What the coil has alone (inductance, resistance) stays; what
    /// the sheet adds is [`Coil::sheet_ohm`].
    ///
    /// Against the exact integrals (`tests/outside/check_metal.py`) within 2 % of what the sheet changes.
    ///
    /// # Errors
    /// [`CoilError::SheetNear`]: the sheet within the winding or nearer to it than a wire's diameter. [`CoilError::SheetPoor`]: so poor a
    /// conductor, or so near, that images do not make its field. [`CoilError::SheetAndLoops`]: several windings in series.
    pub fn beside(mut self, sheet: &Sheet, frequency_hz: f64) -> Result<Coil, CoilError> {
        if !self.loops.is_empty() {
            return Err(CoilError::SheetAndLoops);
        }
        let reach_m = f64::from(self.columns() - 1) / 2.0 * self.winding().pitch_m;
        let gap_m = sheet.at_m.abs() - reach_m;
        let least_m = reach_m + 1.5 * self.wire().diameter_m;
        if sheet.at_m.abs() < least_m {
            return Err(CoilError::SheetNear {
                at_mm: sheet.at_m * 1e3,
                least_mm: least_m * 1e3,
            });
        }
        let (images, misfit) = sheet.images(gap_m, 2.0 * PI * frequency_hz);
        if misfit > MOST_MISFIT {
            return Err(CoilError::SheetPoor {
                gap_mm: gap_m * 1e3,
                error_percent: 100.0 * misfit,
            });
        }
        self.images = images;
        Ok(self)
    }

    /// The coil without its sheet.
    pub fn alone(&self) -> Coil {
        let mut coil = self.clone();
        coil.images.clear();
        coil
    }

    /// Impedance that the sheet adds to the coil's own, Ω: a loss, and reactance of the inductance that it adds (negative before a conductor). 0
    /// without a sheet.
    pub fn sheet_ohm(&self, frequency_hz: f64) -> Complex64 {
        let layers: Vec<_> = self.layers().collect();
        let pitch_m = self.winding().pitch_m;
        let mut henry = Complex64::ZERO;
        for image in &self.images {
            for &(turn, count) in &layers {
                for &(mirrored, others) in &layers {
                    // Turns i and j are as far apart as i + j says.
                    for both in 0..count + others - 1 {
                        let pairs = both.min(count - 1) - both.saturating_sub(others - 1) + 1;
                        let along_m = (f64::from(both) - f64::from(self.columns() - 1)) * pitch_m;
                        let mutual_h = pair_h(turn, mirrored, (image.reach_m - along_m).abs());
                        henry += image.weight * (f64::from(pairs) * mutual_h);
                    }
                }
            }
        }
        Complex64::new(0.0, 2.0 * PI * frequency_hz) * henry
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Outline, Vector, Winding, Wire, coaxial_circles_h};
    use super::*;

    const FIELD_HZ: f64 = 134_200.0;

    fn coil() -> Coil {
        let winding = Winding {
            turns: 20,
            layers: 2,
            pitch_m: 0.6e-3,
            layer_pitch_m: 0.6e-3,
        };
        let outline = Outline::Circle { radius_m: 0.06 };
        Coil::new(outline, winding, Wire::copper(0.5e-3)).unwrap()
    }

    fn sheet(at_m: f64, thickness_m: f64, conductivity_s_per_m: f64, permeability: f64) -> Sheet {
        Sheet {
            at_m,
            thickness_m,
            conductivity_s_per_m,
            permeability,
        }
    }

    /// A nearly perfect conductor mirrors every turn with its current the other way; at its face no field goes through. Skin depth of 58e9 S/m is
    /// 5.7 µm, half of it 1e-4 of the 30 mm.
    #[test]
    fn a_perfect_mirror() {
        for at_m in [-0.03, 0.05] {
            let mirrored = coil()
                .beside(&sheet(at_m, 0.01, 58e9, 1.0), FIELD_HZ)
                .unwrap();
            let mut want = 0.0;
            for i in 0..20 {
                for j in 0..20 {
                    let place = |n: i32| {
                        let radius = 0.06 + (f64::from(n / 10) - 0.5) * 0.6e-3;
                        (radius, (f64::from(n % 10) - 4.5) * 0.6e-3)
                    };
                    let ((a, z), (b, other)) = (place(i), place(j));
                    want -= coaxial_circles_h(a, b, (2.0 * at_m - z - other).abs());
                }
            }
            let got = mirrored.sheet_ohm(FIELD_HZ).im / (2.0 * PI * FIELD_HZ);
            assert!((got / want - 1.0).abs() < 1e-3, "{got} {want}");
            for x in [0.0, 0.03, 0.1] {
                let flux = mirrored.flux_density(&Vector::new(x, 0.01, at_m));
                let free = coil().flux_density(&Vector::new(x, 0.01, at_m));
                assert!(flux.z.abs() < 2e-3 * free.norm(), "{flux} {free}");
                let along =
                    Vector::new(flux.x, flux.y, 0.0) - 2.0 * Vector::new(free.x, free.y, 0.0);
                assert!(along.norm() < 4e-3 * free.norm(), "{flux} {free}");
            }
        }
    }

    /// A thick good conductor: the field ends at the complex depth (1 − j)·δ/2 (skin effect, textbook), so R = ω·δ·|dM/dz| for the image at
    /// twice the distance. Next order: δ/(2·gap), 1 %.
    #[test]
    fn loss_of_a_thick_sheet() {
        let metal = sheet(-0.03, 0.005, 35e6, 1.0);
        let depth = metal.skin_depth_m(FIELD_HZ);
        assert!((depth - 0.232e-3).abs() < 1e-6, "aluminium: {depth}");
        let ohm = coil().beside(&metal, FIELD_HZ).unwrap().sheet_ohm(FIELD_HZ);
        let mirror = |at_m: f64| {
            let perfect = sheet(at_m, 0.01, 58e12, 1.0);
            coil()
                .beside(&perfect, FIELD_HZ)
                .unwrap()
                .sheet_ohm(FIELD_HZ)
                .im
        };
        // Twice the distance changes by twice the step.
        let want = depth * (mirror(-0.0301) - mirror(-0.0299)) / (2.0 * 0.0002);
        assert!((ohm.re / want - 1.0).abs() < 0.03, "{ohm} {want}");
    }

    /// What is thin against its skin depth lets the field through, and 1 mm of plastic does nothing.
    #[test]
    fn thin_sheets_do_less() {
        let change = |thickness_m: f64, conductivity: f64| {
            let metal = sheet(-0.03, thickness_m, conductivity, 1.0);
            coil().beside(&metal, FIELD_HZ).unwrap().sheet_ohm(FIELD_HZ)
        };
        let (thick, foil) = (change(2e-3, 35e6), change(10e-6, 35e6));
        assert!(foil.im > thick.im && thick.im < 0.0, "{foil} {thick}");
        assert!(
            foil.re > 5.0 * thick.re,
            "a foil takes more: {foil} {thick}"
        );
    }

    #[test]
    fn what_is_no_mirror_is_refused() {
        let near = coil().beside(&sheet(-2e-3, 1e-3, 35e6, 1.0), FIELD_HZ);
        assert!(matches!(near, Err(CoilError::SheetNear { .. })), "{near:?}");
        let poor = coil().beside(&sheet(-5e-3, 1e-5, 1e5, 1000.0), FIELD_HZ);
        assert!(matches!(poor, Err(CoilError::SheetPoor { .. })), "{poor:?}");
    }
}
