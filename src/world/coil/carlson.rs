//! Carlson's symmetric elliptic integrals by duplication (NIST DLMF §19.36).
//!
//! They have no modulus convention to get wrong and stay accurate where the complete integrals K and E cancel.

/// R_F(x, y, z): at most one argument zero, none negative.
pub fn carlson_rf(x: f64, y: f64, z: f64) -> f64 {
    let (mut x, mut y, mut z) = (x, y, z);
    loop {
        let mean = (x + y + z) / 3.0;
        let (dx, dy) = (1.0 - x / mean, 1.0 - y / mean);
        let dz = -(dx + dy);
        // The first neglected term is of order eps^6 (DLMF 19.36.1): 2e-3 gives 1e-17.
        if dx.abs().max(dy.abs()).max(dz.abs()) < 2e-3 {
            let e2 = dx * dy - dz * dz;
            let e3 = dx * dy * dz;
            let series = 1.0 - e2 / 10.0 + e3 / 14.0 + e2 * e2 / 24.0 - 3.0 * e2 * e3 / 44.0;
            return series / mean.sqrt();
        }
        let lambda = (x * y).sqrt() + (y * z).sqrt() + (z * x).sqrt();
        x = (x + lambda) / 4.0;
        y = (y + lambda) / 4.0;
        z = (z + lambda) / 4.0;
    }
}

/// R_D(x, y, z): `z` positive, at most one of `x`, `y` zero, none negative.
pub fn carlson_rd(x: f64, y: f64, z: f64) -> f64 {
    let (mut x, mut y, mut z) = (x, y, z);
    let (mut sum, mut factor) = (0.0, 1.0);
    loop {
        let mean = (x + y + 3.0 * z) / 5.0;
        let (dx, dy) = (1.0 - x / mean, 1.0 - y / mean);
        let dz = -(dx + dy) / 3.0;
        if dx.abs().max(dy.abs()).max(dz.abs()) < 2e-3 {
            let e2 = dx * dy - 6.0 * dz * dz;
            let e3 = (3.0 * dx * dy - 8.0 * dz * dz) * dz;
            let e4 = 3.0 * (dx * dy - dz * dz) * dz * dz;
            let e5 = dx * dy * dz * dz * dz;
            // DLMF 19.36.2
            let series = 1.0 - 3.0 * e2 / 14.0 + e3 / 6.0 + 9.0 * e2 * e2 / 88.0
                - 3.0 * e4 / 22.0
                - 9.0 * e2 * e3 / 52.0
                + 3.0 * e5 / 26.0;
            return 3.0 * sum + factor * series / (mean * mean.sqrt());
        }
        let lambda = (x * y).sqrt() + (y * z).sqrt() + (z * x).sqrt();
        sum += factor / (z.sqrt() * (z + lambda));
        factor /= 4.0;
        x = (x + lambda) / 4.0;
        y = (y + lambda) / 4.0;
        z = (z + lambda) / 4.0;
    }
}

/// Complete elliptic integrals K(m) and E(m) from the complementary parameter 1 − m in (0, 1] (DLMF 19.25.1).
pub(super) fn complete(complement: f64) -> (f64, f64) {
    let k = carlson_rf(0.0, complement, 1.0);
    let m = 1.0 - complement;
    (k, k - m / 3.0 * carlson_rd(0.0, complement, 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::f64::consts::PI;

    fn close(got: f64, want: f64) {
        assert!((got / want - 1.0).abs() < 1e-14, "{got} against {want}");
    }

    /// Published check values of Carlson, "Numerical computation of real or complex elliptic integrals" (1995), §3.
    #[test]
    fn published_values() {
        let digits = |got: f64, want: f64| assert!((got - want).abs() < 1e-13, "{got} {want}");
        digits(carlson_rf(1.0, 2.0, 0.0), 1.311_028_777_146_1);
        digits(carlson_rf(2.0, 3.0, 4.0), 0.584_082_841_677_15);
        digits(carlson_rd(0.0, 2.0, 1.0), 1.797_210_352_103_4);
        digits(carlson_rd(2.0, 3.0, 4.0), 0.165_105_272_942_61);
    }

    /// R_F(0, y, y) = π/(2√y) and R_D(0, y, y) = 3π/(4 y^1.5) (DLMF 19.20).
    #[test]
    fn degenerate_arguments() {
        for y in [1e-9, 0.3, 1.0, 17.0] {
            close(carlson_rf(0.0, y, y), PI / (2.0 * y.sqrt()));
            close(carlson_rd(0.0, y, y), 3.0 * PI / (4.0 * y * y.sqrt()));
        }
    }

    /// Legendre's relation E·K' + E'·K − K·K' = π/2 (DLMF 19.7.1).
    #[test]
    fn legendre_relation() {
        for m in [1e-6, 0.1, 0.5, 0.93] {
            let (k, e) = complete(1.0 - m);
            let (k2, e2) = complete(m);
            close(e * k2 + e2 * k - k * k2, PI / 2.0);
        }
    }
}
