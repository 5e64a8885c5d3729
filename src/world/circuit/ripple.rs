//! What the ripple is against the field: depth and angle.

use super::{Probe, Track};
use num_complex::Complex64;

/// Field, depth and angle of a load modulation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ripple {
    /// Mean phasor A₀ (peak).
    pub field: Complex64,
    /// Rms of the ripple over the field.
    pub depth: f64,
    /// Principal axis of r/A₀ in (−90°, 90°]: 0 is amplitude, 90 is phase.
    pub angle_deg: f64,
}

impl Ripple {
    /// Between two settled states: half the change over the mean.
    pub fn between(open: Complex64, closed: Complex64) -> Self {
        Self::of(&[open, closed])
    }

    /// Of equally spaced phasors over whole periods of the modulation.
    pub fn of(phasors: &[Complex64]) -> Self {
        let count = phasors.len().max(1) as f64;
        let field = phasors.iter().sum::<Complex64>() / count;
        let (mut power, mut square) = (0.0, Complex64::from(0.0));
        for phasor in phasors {
            let relative = (phasor - field) / field;
            power += relative.norm_sqr();
            square += relative * relative;
        }
        let mut angle_deg = square.arg().to_degrees() / 2.0;
        if angle_deg <= -90.0 {
            angle_deg += 180.0;
        }
        Ripple {
            field,
            depth: (power / count).sqrt(),
            angle_deg,
        }
    }
}

/// Ripple of a computed track between two times, at the frequency given; 4 points a field cycle.
pub fn ripple_of_track(
    track: &Track,
    probe: &Probe,
    frequency_hz: f64,
    from_s: f64,
    to_s: f64,
) -> Ripple {
    let step_s = 0.25 / frequency_hz;
    let points = ((to_s - from_s) / step_s).round().max(1.0) as usize;
    let mut phasors = vec![Complex64::from(0.0); points];
    track.phasors(probe, frequency_hz, from_s, step_s, &mut phasors);
    Ripple::of(&phasors)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// r = ±R around A₀ has depth |R|/|A₀| and the angle of R/A₀ folded into (−90°, 90°] (definition).
    #[test]
    fn definition() {
        let field = Complex64::from_polar(3.0, 0.8);
        for (turn, want) in [
            (0.0, 0.0),
            (50.0, 50.0),
            (130.0, -50.0),
            (-89.0, -89.0),
            (90.0, 90.0),
        ] {
            let ripple = field * Complex64::from_polar(0.02, f64::to_radians(turn));
            let got = Ripple::between(field + ripple, field - ripple);
            assert!((got.depth - 0.02).abs() < 1e-12 && (got.field - field).norm() < 1e-12);
            let folded = (got.angle_deg - want).abs();
            assert!(
                folded < 1e-9 || (folded - 180.0).abs() < 1e-9,
                "{turn}: {}",
                got.angle_deg
            );
            assert!(got.angle_deg > -90.0 && got.angle_deg <= 90.0);
        }
    }
}
