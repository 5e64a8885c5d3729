//! Eb/N0 → standard deviation of the noise in the samples; levels of what is beside the field.

use num_complex::Complex64;

use super::direct::SampleForm;

/// Rms of the ripple as it appears in the samples, in units of `amplitude`: with ideal edges depth · amplitude. An
/// envelope shows only the part that changes the amplitude: half the difference of the two magnitudes.
pub fn ripple_rms(view: SampleForm, amplitude: f64, depth: f64, angle_deg: f64) -> f64 {
    match view {
        SampleForm::Real | SampleForm::Iq { .. } => amplitude * depth,
        SampleForm::Envelope | SampleForm::Logic => {
            let (sin, cos) = libm::sincos(angle_deg.to_radians());
            let ripple = Complex64::new(depth * cos, depth * sin);
            let magnitude = |a: Complex64| (a.re * a.re + a.im * a.im).sqrt();
            let (high, low) = (
                magnitude(Complex64::ONE + ripple),
                magnitude(Complex64::ONE - ripple),
            );
            amplitude * 0.5 * (high - low).abs()
        }
    }
}

/// Standard deviation of white noise that gives `ebn0_db` with a ripple of `ripple_rms`: for every sample, and with I/Q
/// samples for each of the two quadratures.
///
/// One-sided density N0 = 2σ²/f_s and bit T_b = 32/f_c; Eb/N0 = r²·T_b/(2·N0) for a carrier in real samples, where half the
/// energy of the complex ripple is seen, and r²·T_b/N0 for envelopes and I/Q samples.
pub fn noise_sigma(
    view: SampleForm,
    ebn0_db: f64,
    ripple_rms: f64,
    field_hz: f64,
    rate_hz: f64,
) -> f64 {
    let ratio = libm::pow(10.0, ebn0_db / 10.0);
    let seen = match view {
        SampleForm::Real => 0.5,
        SampleForm::Envelope | SampleForm::Iq { .. } | SampleForm::Logic => 1.0,
    };
    let n0 = seen * ripple_rms * ripple_rms * (32.0 / field_hz) / ratio;
    (n0 * rate_hz / 2.0).sqrt()
}

/// Level of an interferer at the digitiser.
pub(super) fn level_v(amplitude_v: Option<f64>, level_db: f64, field_v: f64) -> f64 {
    amplitude_v.unwrap_or(field_v * libm::pow(10.0, level_db / 20.0))
}
