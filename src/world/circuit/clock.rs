//! The tag's clock: it counts cycles of the voltage across its own coil.
//!
//! That voltage is the sum of all fields the tag hears and of its own ringing, so its zero crossings, not the reader's oscillator, time
//! the bits. Crossings are counted by the phase of the analytic signal, which turns once a cycle.

use super::track::Terms;
use std::f64::consts::{FRAC_PI_2, TAU};

/// Phase at which a voltage crosses zero upwards.
const RISING: f64 = -FRAC_PI_2;

/// Phase counter between two switchings.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Clock {
    /// Cycles left until the load switches next.
    remaining: f64,
    /// Phase (rad) where the last piece ended.
    phase: Option<f64>,
}

impl Clock {
    /// Counts this many more cycles, on top of what is left.
    pub fn add(&mut self, cycles: f64) {
        self.remaining += cycles;
    }

    /// Follows the voltage from `from_s` to at most `to_s`. Returns the moment the count runs out, if it does.
    pub fn follow(&mut self, voltage: &Terms, from_s: f64, to_s: f64, cycle_s: f64) -> Option<f64> {
        let mut phase = voltage.analytic(from_s).arg();
        if let Some(before) = self.phase {
            // Aperiodic terms are not in the phase; what they hide at a switching is a step here.
            self.remaining -= wrap(phase - before) / TAU;
        } else {
            // A divider counts crossings: the first half bit lasts until one, and with it all others.
            let to_crossing = (RISING - phase) / TAU;
            self.remaining += to_crossing - to_crossing.floor();
        }
        let mut at = from_s;
        loop {
            if self.remaining <= 0.0 {
                // The step over the switching used up the rest.
                self.phase = Some(phase);
                return Some(at);
            }
            let step = cycle_s.min(to_s - at);
            if step <= 0.0 {
                self.phase = Some(phase);
                return None;
            }
            let next_phase = voltage.analytic(at + step).arg();
            let turned = turned(phase, next_phase, step / cycle_s);
            if turned >= self.remaining {
                // Secant on the nearly straight phase; two rounds leave less than 1e-6 of a cycle.
                let mut inside = step * self.remaining / turned;
                for _ in 0..3 {
                    let there = voltage.analytic(at + inside).arg();
                    let here = self::turned(phase, there, inside / cycle_s);
                    inside += (self.remaining - here) * cycle_s;
                    inside = inside.clamp(0.0, step);
                }
                self.phase = Some(voltage.analytic(at + inside).arg());
                self.remaining = 0.0;
                return Some(at + inside);
            }
            self.remaining -= turned;
            phase = next_phase;
            at += step;
        }
    }
}

/// Cycles turned between two phases when about `expected` went by.
fn turned(from: f64, to: f64, expected: f64) -> f64 {
    expected + wrap(to - from - TAU * expected) / TAU
}

fn wrap(phase: f64) -> f64 {
    phase - TAU * (phase / TAU).round()
}
