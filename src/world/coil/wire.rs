//! Round wire at one frequency: skin depth, internal impedance, loss in a field across it.

use super::MU_0;
use num_complex::Complex64;
use std::f64::consts::PI;

/// Conductivity of annealed copper at 20 °C (IACS, 58 MS/m).
pub const COPPER_S_PER_M: f64 = 5.8e7;

/// Radii thicker than this many skin depths use the asymptotic form; the power series would lose its digits.
const SERIES_LIMIT: f64 = 25.0;

/// Solid round wire.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wire {
    /// Diameter of the metal, without insulation.
    pub diameter_m: f64,
    /// Conductivity, [`COPPER_S_PER_M`] for copper.
    pub conductivity_s_per_m: f64,
}

impl Wire {
    /// Copper wire of this diameter.
    pub fn copper(diameter_m: f64) -> Self {
        Wire {
            diameter_m,
            conductivity_s_per_m: COPPER_S_PER_M,
        }
    }

    /// Radius of the metal.
    pub fn radius_m(&self) -> f64 {
        self.diameter_m / 2.0
    }

    /// Depth at which the current density has fallen to 1/e in a thick conductor: √(2/(ωµσ)).
    pub fn skin_depth_m(&self, frequency_hz: f64) -> f64 {
        (1.0 / (PI * frequency_hz * MU_0 * self.conductivity_s_per_m)).sqrt()
    }

    /// Internal impedance a metre, Z = k/(2πaσ)·J₀(ka)/J₁(ka) with k² = −jωµσ (textbook).
    pub fn internal_ohm_per_m(&self, frequency_hz: f64) -> Complex64 {
        let argument = self.argument(frequency_hz);
        let a = self.radius_m();
        argument / bessel_j1_over_j0(argument) / (2.0 * PI * a * a * self.conductivity_s_per_m)
    }

    /// Mean power lost a metre in a field of 1 A/m peak across the wire: πωµa²·|Im J₂(ka)/J₀(ka)|. The field is taken as
    /// uniform over the wire; at a ≤ skin depth the next term of a neighbour's field adds at most (1/6)(a/s)², under
    /// 5 % even for touching wires (s = 2a).
    pub fn crosswise_loss_w_per_m(&self, frequency_hz: f64) -> f64 {
        let argument = self.argument(frequency_hz);
        let ratio = 2.0 * bessel_j1_over_j0(argument) / argument - 1.0;
        2.0 * PI * PI * frequency_hz * MU_0 * self.radius_m().powi(2) * ratio.im.abs()
    }

    /// ka with k² = −jωµσ.
    pub(super) fn argument(&self, frequency_hz: f64) -> Complex64 {
        Complex64::new(1.0, -1.0) * (self.radius_m() / self.skin_depth_m(frequency_hz))
    }
}

/// J₁(z)/J₀(z) on the ray z = (1 − j)x: power series, or for thick wire Hankel's expansion to third order, good to x⁻⁴.
fn bessel_j1_over_j0(z: Complex64) -> Complex64 {
    if z.re > SERIES_LIMIT {
        // J1/J0 → −j·(1 − 3·(−8jz)⁻¹…)/(1 + …) with w = jz, I1(w)/I0(w) ≈ 1 − 1/(2w) − 1/(8w²) − 1/(8w³).
        let w = Complex64::i() * z;
        let inverse = w.inv();
        let ratio = 1.0 - inverse * (0.5 + inverse * (0.125 + inverse * 0.125));
        return -Complex64::i() * ratio;
    }
    let quarter = -z * z / 4.0;
    let (mut j0, mut j1) = (Complex64::from(1.0), Complex64::from(1.0));
    let (mut term0, mut term1) = (j0, j1);
    for order in 1..400 {
        let n = f64::from(order);
        term0 *= quarter / (n * n);
        term1 *= quarter / (n * (n + 1.0));
        j0 += term0;
        j1 += term1;
        if term0.norm() < 1e-17 * j0.norm() {
            break;
        }
    }
    z / 2.0 * j1 / j0
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Copper at 134.2 kHz: δ = √(2/(2π·134200·4π·10⁻⁷·5.8·10⁷)) = 180.4 µm (derived).
    #[test]
    fn skin_depth_of_copper() {
        let depth = Wire::copper(1e-3).skin_depth_m(134_200.0);
        assert!((depth - 180.4e-6).abs() < 0.1e-6, "{depth}");
    }

    /// Thin wire: R = 1/(πa²σ) and L = µ0/8π a metre (textbook); first corrections (a/δ)⁴/48 and (a/δ)⁴/96.
    #[test]
    fn thin_wire_is_ordinary() {
        let wire = Wire::copper(20e-6);
        let z = wire.internal_ohm_per_m(134_200.0);
        let direct = 1.0 / (PI * 1e-10 * COPPER_S_PER_M);
        let x4 = (10e-6 / wire.skin_depth_m(134_200.0)).powi(4);
        assert!((z.re / direct - 1.0 - x4 / 48.0).abs() < x4 * 1e-2, "{z}");
        let inductance = z.im / (2.0 * PI * 134_200.0);
        assert!(
            (inductance / (MU_0 / (8.0 * PI)) - 1.0).abs() < x4 / 50.0,
            "{inductance}"
        );
        // Loss in a field across: πω²µ²σa⁴/8 (textbook, induced eddy currents only).
        let omega = 2.0 * PI * 134_200.0;
        let want = PI * (omega * MU_0).powi(2) * COPPER_S_PER_M * 1e-20 / 8.0;
        let got = wire.crosswise_loss_w_per_m(134_200.0);
        assert!((got / want - 1.0).abs() < 1e-4, "{got} {want}");
    }

    /// Thick wire: R → (1 + δ/2a + (3/16)(δ/a)²)/(2πaδσ) (Hankel's expansion); the next term is of order (δ/a)⁴.
    #[test]
    fn thick_wire_is_a_skin_and_the_two_forms_meet() {
        let mut last = 0.0;
        for over in [0.999, 1.001] {
            let depth = Wire::copper(1.0).skin_depth_m(134_200.0);
            let a = SERIES_LIMIT * depth * over;
            let wire = Wire::copper(2.0 * a);
            let z = wire.internal_ohm_per_m(134_200.0);
            let x = a / depth;
            let want =
                (1.0 + 0.5 / x + 3.0 / 16.0 / (x * x)) / (2.0 * PI * a * depth * COPPER_S_PER_M);
            assert!((z.re / want - 1.0).abs() < 2.0 / x.powi(4), "{z} {want}");
            let scaled = z.re * a;
            if last != 0.0 {
                // The value itself moves by 0.002·(1/50) between the two; a step in the form would stand out.
                assert!((scaled / last - 1.0).abs() < 6e-5, "{scaled} {last}");
            }
            last = scaled;
        }
    }
}
