//! How strong a field a tag needs to run.

use std::f64::consts::{PI, SQRT_2};

use num_complex::Complex64;

use super::Transponder;

impl Transponder {
    /// Flux density (T rms) along the tag's axis, the same all along it, that gives its chip the voltage it needs with the load open: ω·B·area
    /// in series with the coil, divided between coil and tank. The reader's antenna is taken to be too far away to load the tag.
    pub fn needed_flux_density_t(&self, frequency_hz: f64) -> f64 {
        let tag = self.joined(frequency_hz);
        let omega = 2.0 * PI * frequency_hz;
        let coil = Complex64::new(tag.coil_ohm, omega * tag.inductance_h);
        let tank = Complex64::new(1.0 / tag.chip_ohm, omega * tag.capacitance_f).inv();
        let gain = (tank / (coil + tank)).norm();
        tag.minimum_v / (SQRT_2 * omega * self.coil.effective_area_m2 * gain)
    }
}
