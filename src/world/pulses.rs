//! A field that is switched on and off.

/// Time constant with which the field rises and falls, seconds: an antenna of Q 42 at 134.2 kHz has τ = Q/(πf) = 0.1 ms.
const RING_S: f64 = 1e-4;
/// e^{-37} is below the resolution of a double beside 1: from there on the field counts as settled.
const SETTLED: f64 = 37.0;

/// The field is on for `on_s`, off for `off_s`, and so on; it is switched on at time 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pulses {
    /// Seconds on.
    pub on_s: f64,
    /// Seconds off.
    pub off_s: f64,
}

impl Pulses {
    /// Time constant of the rise and fall of the field, seconds.
    pub const RING_S: f64 = RING_S;
    /// Shortest time on or off: ten time constants, so that the field has settled before it is switched again.
    pub const SHORTEST_S: f64 = 10.0 * RING_S;

    /// Seconds from one switching on to the next.
    pub fn period_s(&self) -> f64 {
        self.on_s + self.off_s
    }

    /// Strength of the field at `time_s` ≥ 0, from 0 to 1.
    pub fn strength(&self, time_s: f64) -> f64 {
        let since_on = time_s - (time_s / self.period_s()).floor() * self.period_s();
        let decay = |time_s: f64| {
            let exponent = time_s / RING_S;
            if exponent > SETTLED {
                0.0
            } else {
                libm::exp(-exponent)
            }
        };
        if since_on < self.on_s {
            1.0 - decay(since_on)
        } else {
            (1.0 - decay(self.on_s)) * decay(since_on - self.on_s)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_field_rises_and_falls_with_its_time_constant() {
        let pulses = Pulses {
            on_s: 0.05,
            off_s: 0.003,
        };
        let one_minus_1_e = 1.0 - libm::exp(-1.0);
        for start in [0.0, pulses.period_s()] {
            let at = |s: f64| pulses.strength(start + s);
            assert!(at(1e-12) < 1e-7);
            assert!((at(RING_S) - one_minus_1_e).abs() < 1e-9);
            assert_eq!(at(0.04), 1.0);
            assert!((at(0.05 + RING_S) - libm::exp(-1.0)).abs() < 1e-9);
            assert!(at(0.0529) < 1e-9);
        }
    }
}
