//! The tag's voltage limiter.
//!
//! The limiter draws nothing below its voltage and a straight line above. Driven by a sine of peak V it draws the
//! fundamental current of a conductance N(V) (dead zone with slope, textbook). That alone is not enough on a tuned circuit of low loaded Q: the
//! harmonics of the current flatten the voltage and, as in an oscillator, pull the tank down in frequency. So the harmonics are
//! balanced once for each tag, and the limiter becomes a conductance and a small capacitance that depend on the peak.

use super::parts::Tag;
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use std::f64::consts::PI;
use std::sync::LazyLock;

/// Symmetric limiter across the tag's coil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Clamp {
    /// Voltage at which it begins to conduct.
    pub voltage_v: f64,
    /// Slope resistance above that voltage.
    pub slope_ohm: f64,
}

impl Clamp {
    /// Current at an instant.
    pub fn current_a(&self, voltage_v: f64) -> f64 {
        let excess = voltage_v.abs() - self.voltage_v;
        if excess > 0.0 {
            voltage_v.signum() * excess / self.slope_ohm
        } else {
            0.0
        }
    }

    /// Conductance that draws the same fundamental current from a sine of this peak:
    /// N = (1/R)·\[1 − (2/π)(asin u + u√(1 − u²))\], u = clamp voltage / peak.
    pub fn conductance_s(&self, peak_v: f64) -> f64 {
        if peak_v <= self.voltage_v {
            return 0.0;
        }
        let u = self.voltage_v / peak_v;
        (1.0 - 2.0 / PI * (u.asin() + u * (1.0 - u * u).sqrt())) / self.slope_ohm
    }
}

/// What a limiter adds to its tank.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub(super) struct Shunt {
    pub conductance_s: f64,
    pub capacitance_f: f64,
}

/// The limiter on its tank with harmonics balanced: peak of the fundamental against the shunt that draws the same fundamental.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct ClampTable {
    peaks_v: Vec<f64>,
    shunts: Vec<Shunt>,
}

/// Odd harmonics balanced, 3 to 21; the limiter is symmetric and makes no even ones. Those left out carry under 1/22² of a kink's step.
const HARMONICS: [usize; 10] = [3, 5, 7, 9, 11, 13, 15, 17, 19, 21];
/// Points on a cycle: twelve on the highest harmonic.
const POINTS: usize = 256;
/// Peaks a table holds, from just above the limiter's voltage to a hundred times as much.
const PEAKS: usize = 160;

impl ClampTable {
    pub fn new(clamp: &Clamp, tag: &Tag, omega: f64) -> Self {
        let mut table = ClampTable {
            peaks_v: vec![clamp.voltage_v],
            shunts: vec![Shunt::default()],
        };
        // Admittance of the tank at each harmonic; the reader's coil is too loosely coupled to matter there.
        let admittances = HARMONICS.map(|n| {
            let w = omega * n as f64;
            Complex64::new(1.0 / tag.chip_ohm, w * tag.capacitance_f)
                + Complex64::new(tag.coil_ohm, w * tag.inductance_h).inv()
        });
        let mut voltages = DVector::zeros(2 * HARMONICS.len());
        for index in 0..PEAKS {
            let excess = 1e-3 * 1e5_f64.powf(index as f64 / (PEAKS - 1) as f64);
            let peak_v = clamp.voltage_v * (1.0 + excess);
            balance(clamp, peak_v, &admittances, &mut voltages);
            let admittance = current(clamp, peak_v, &voltages, 1) / peak_v;
            let shunt = Shunt {
                conductance_s: admittance.re,
                capacitance_f: admittance.im / omega,
            };
            // The conductance rises with the peak; a step back would be an unfinished balance.
            if shunt.conductance_s > table.shunts[table.shunts.len() - 1].conductance_s {
                table.peaks_v.push(peak_v);
                table.shunts.push(shunt);
            }
        }
        table
    }

    /// Largest conductance in the table.
    pub fn most_s(&self) -> f64 {
        self.shunts[self.shunts.len() - 1].conductance_s
    }

    /// Peak of the fundamental at which the limiter has this conductance, and the shunt with its capacitance.
    pub fn at(&self, conductance_s: f64) -> (f64, Shunt) {
        let high = self
            .shunts
            .partition_point(|shunt| shunt.conductance_s < conductance_s);
        if high == 0 {
            return (self.peaks_v[0], Shunt::default());
        }
        let high = high.min(self.shunts.len() - 1);
        let (a, b) = (self.shunts[high - 1], self.shunts[high]);
        let part =
            ((conductance_s - a.conductance_s) / (b.conductance_s - a.conductance_s)).min(1.0);
        let peak_v = self.peaks_v[high - 1] + part * (self.peaks_v[high] - self.peaks_v[high - 1]);
        let capacitance_f = a.capacitance_f + part * (b.capacitance_f - a.capacitance_f);
        (
            peak_v,
            Shunt {
                conductance_s,
                capacitance_f,
            },
        )
    }
}

/// One harmonic of the limiter's current for V₁·cos θ + Σ Re{Vₙ·e^{jnθ}}.
fn current(clamp: &Clamp, peak_v: f64, voltages: &DVector<f64>, harmonic: usize) -> Complex64 {
    spectrum(clamp, &waveform(peak_v, voltages), harmonic)
}

fn waveform(peak_v: f64, voltages: &DVector<f64>) -> Vec<f64> {
    // Odd symmetry: the second half cycle is the first one turned over.
    (0..POINTS / 2)
        .map(|point| {
            let mut value = peak_v * cosine(point);
            for (index, n) in HARMONICS.iter().enumerate() {
                value += voltages[2 * index] * cosine(n * point)
                    - voltages[2 * index + 1] * sine(n * point);
            }
            value
        })
        .collect()
}

fn spectrum(clamp: &Clamp, waveform: &[f64], harmonic: usize) -> Complex64 {
    let sum: Complex64 = waveform
        .iter()
        .enumerate()
        .map(|(point, &value)| {
            let at = harmonic * point;
            Complex64::new(cosine(at), -sine(at)) * clamp.current_a(value)
        })
        .sum();
    sum * (4.0 / POINTS as f64)
}

fn cosine(step: usize) -> f64 {
    static TABLE: LazyLock<[f64; POINTS]> =
        LazyLock::new(|| std::array::from_fn(|i| (2.0 * PI * i as f64 / POINTS as f64).cos()));
    TABLE[step % POINTS]
}

fn sine(step: usize) -> f64 {
    cosine(step + 3 * POINTS / 4)
}

/// Newton's method on Iₙ(V) + Yₙ·Vₙ = 0 for all harmonics, from the solution at the last peak.
fn balance(
    clamp: &Clamp,
    peak_v: f64,
    admittances: &[Complex64; HARMONICS.len()],
    voltages: &mut DVector<f64>,
) {
    let size = voltages.len();
    for _ in 0..30 {
        let wave = waveform(peak_v, voltages);
        let residual = DVector::from_fn(size, |row, _| {
            let index = row / 2;
            let total = spectrum(clamp, &wave, HARMONICS[index])
                + admittances[index] * Complex64::new(voltages[2 * index], voltages[2 * index + 1]);
            if row % 2 == 0 { total.re } else { total.im }
        });
        // The slope is known: the limiter's conductance where it conducts, as seen by each pair of harmonics.
        let conducting: Vec<usize> = (0..wave.len())
            .filter(|&point| wave[point].abs() > clamp.voltage_v)
            .collect();
        let weight = 4.0 / POINTS as f64 / clamp.slope_ohm;
        let jacobian = DMatrix::from_fn(size, size, |row, column| {
            let (n, m) = (HARMONICS[row / 2], HARMONICS[column / 2]);
            let sum: f64 = conducting
                .iter()
                .map(|&point| {
                    let seen = if row % 2 == 0 {
                        cosine(n * point)
                    } else {
                        -sine(n * point)
                    };
                    let moved = if column % 2 == 0 {
                        cosine(m * point)
                    } else {
                        -sine(m * point)
                    };
                    seen * moved
                })
                .sum();
            let own = if row / 2 == column / 2 {
                let y = admittances[row / 2];
                match (row % 2, column % 2) {
                    (0, 0) | (1, 1) => y.re,
                    (0, _) => -y.im,
                    _ => y.im,
                }
            } else {
                0.0
            };
            weight * sum + own
        });
        let Some(step) = jacobian.lu().solve(&residual) else {
            return;
        };
        let small = step.norm() < 1e-9 * peak_v;
        *voltages -= step;
        if small {
            return;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Against the Fourier integral of the clipped current, 4096 points: error of order 4096⁻² from the kinks.
    #[test]
    fn fundamental_of_the_current() {
        let clamp = Clamp {
            voltage_v: 5.0,
            slope_ohm: 40.0,
        };
        for peak in [4.0, 5.0, 5.1, 7.0, 30.0] {
            let points = 4096;
            let sum: f64 = (0..points)
                .map(|index| {
                    let cos = (2.0 * PI * f64::from(index) / f64::from(points)).cos();
                    clamp.current_a(peak * cos) * cos
                })
                .sum();
            let want = 2.0 * sum / f64::from(points) / peak;
            let got = clamp.conductance_s(peak);
            assert!((got - want).abs() < 1e-6 / 40.0, "{peak}: {got} {want}");
        }
    }

    /// Where the tank is stiff against harmonics the table is the describing function.
    #[test]
    fn no_harmonics_no_difference() {
        let mut parts = super::super::network::tests::tag(30.0, 134_200.0, 500.0);
        // ωC two hundred times as large as the limiter's slope.
        parts.capacitance_f *= 1e3;
        parts.inductance_h /= 1e3;
        let clamp = Clamp {
            voltage_v: 5.0,
            slope_ohm: 400.0,
        };
        let table = ClampTable::new(&clamp, &parts, 2.0 * PI * 134_200.0);
        for (peak_v, shunt) in table.peaks_v.iter().zip(&table.shunts).skip(1) {
            let want = clamp.conductance_s(*peak_v);
            // Harmonics at most 1/200; the sum over 256 points misses pulses narrower than one of them.
            let slack = 0.02 * want + 1e-4 / 400.0;
            assert!(
                (shunt.conductance_s - want).abs() < slack,
                "{peak_v}: {shunt:?} {want}"
            );
        }
    }
}
