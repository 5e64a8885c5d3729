//! How finely clamps are followed.

/// Clamp conductances are rounded to steps of 0.2 % of the tank's whole loss, which moves its voltage by at most 0.1 %.
pub(super) const CLAMP_STEP: f64 = 1.002;

/// Bounds of a step with a clamp conducting, in field cycles. The longest is reached only while nothing changes.
pub(super) const CLAMP_CYCLES: (f64, f64) = (0.5, 16.0);

pub(super) fn level_s(level: u16, loss_s: f64) -> f64 {
    loss_s * (CLAMP_STEP.powi(i32::from(level)) - 1.0)
}
