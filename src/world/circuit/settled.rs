//! The settled state: what every voltage is when nothing has switched for long.

use super::clamp::Shunt;
use super::modes::Modes;
use super::network::Network;
use super::probe::Probe;
use num_complex::Complex64;
use std::sync::Arc;

/// The circuits settled with fixed switch positions.
#[derive(Clone, Debug)]
pub struct Settled {
    network: Network,
    modes: Arc<Modes>,
    clamps: Vec<Shunt>,
}

/// Settles the network with these switch positions, one a tag. A clamp is given the conductance it has at the peak that the first reader's
/// field makes, and those of others at the same frequency; the beat of another frequency is not in it (see [`super::run`] for that).
pub fn settle(network: &Network, closed: &[bool]) -> Settled {
    let tags = network.tags().len();
    let mut clamps = vec![Shunt::default(); tags];
    let mut modes = Modes::new(network, closed, &clamps);
    // Each tag in turn, more rounds for tags that hear each other.
    let rounds = if tags > 1 { 20 } else { 1 };
    for _ in 0..rounds {
        let before = clamps.clone();
        for tag in 0..tags {
            let Some(table) = network.clamp(tag) else {
                continue;
            };
            // The voltage falls with the conductance, the peak the clamp allows rises: one crossing.
            let (mut low, mut high) = (0.0, table.most_s());
            let mut try_out = |conductance_s: f64| {
                let (allowed_v, shunt) = table.at(conductance_s);
                clamps[tag] = shunt;
                modes = Modes::new(network, closed, &clamps);
                tag_peak_v(network, &modes, tag) <= allowed_v
            };
            if try_out(0.0) {
                continue;
            }
            for _ in 0..50 {
                let middle = 0.5 * (low + high);
                if try_out(middle) {
                    high = middle
                } else {
                    low = middle
                }
            }
        }
        let moved = clamps
            .iter()
            .zip(&before)
            .any(|(a, b)| (a.conductance_s - b.conductance_s).abs() > 1e-9 * a.conductance_s);
        if !moved {
            break;
        }
    }
    Settled {
        network: network.clone(),
        modes: Arc::new(modes),
        clamps,
    }
}

/// Of all readers that drive at the first one's frequency.
fn tag_peak_v(network: &Network, modes: &Modes, tag: usize) -> f64 {
    let voltage = network.voltage(network.readers().len() + tag);
    let together = (0..network.readers().len())
        .filter(|&reader| network.omega(reader) == network.omega(0))
        .map(|reader| modes.steady[reader][voltage]);
    together.sum::<Complex64>().norm()
}

impl Settled {
    /// The part of a probe's signal at the frequency of this reader, as a phasor with peak amplitude.
    pub fn phasor(&self, probe: &Probe, reader: usize) -> Complex64 {
        let row = probe.row(&self.network, &self.modes);
        let state: Complex64 = row
            .state
            .iter()
            .zip(self.modes.steady[reader].iter())
            .map(|(weight, value)| value * *weight)
            .sum();
        state + self.network.drive(reader) * row.feed[reader]
    }

    /// The same from all readers that drive at the first one's frequency.
    pub fn together(&self, probe: &Probe) -> Complex64 {
        (0..self.network.readers().len())
            .filter(|&reader| self.network.omega(reader) == self.network.omega(0))
            .map(|reader| self.phasor(probe, reader))
            .sum()
    }

    /// Conductance of each tag's clamp.
    pub fn clamp_s(&self) -> Vec<f64> {
        self.clamps
            .iter()
            .map(|shunt| shunt.conductance_s)
            .collect()
    }

    /// Natural frequencies (Hz) and decay times (s) of the circuits in this state, oscillating ones only, slowest first.
    pub fn ringing(&self) -> Vec<(f64, f64)> {
        let mut list: Vec<(f64, f64)> = self
            .modes
            .rates
            .iter()
            .filter(|rate| rate.im > 1e-6 * self.network.omega(0))
            .map(|rate| (rate.im / (2.0 * std::f64::consts::PI), -1.0 / rate.re))
            .collect();
        list.sort_by(|a, b| b.1.total_cmp(&a.1));
        list
    }
}

#[cfg(test)]
mod tests {
    use super::super::network::tests::{reader, tag};
    use super::super::parts::{Modulator, Topology};
    use super::super::{Clamp, Ripple};
    use super::*;
    use std::f64::consts::PI;

    /// Textbook: the tag reflects Z' = (ωM)²/Z₂ into the reader's loop, and its own voltage is the induced one divided by the tank.
    #[test]
    fn reflected_impedance() {
        let omega = 2.0 * PI * 134_200.0;
        let j = Complex64::i();
        for (tuned, modulator) in [
            (134_200.0, Modulator::Resistor { ohm: 300.0 }),
            (
                139_000.0,
                Modulator::Capacitor {
                    farad: 120e-12,
                    ohm: 80.0,
                },
            ),
        ] {
            let reader = reader(25.0, 132_000.0);
            let mut tag = tag(30.0, tuned, 1.0);
            tag.modulator = modulator;
            tag.chip_ohm = 50e3;
            let network = Network::pair(reader, tag, 0.03).unwrap();
            let mutual = network.inductance_h(0, 1);
            for closed in [false, true] {
                let load = match (closed, modulator) {
                    (false, _) => Complex64::from(0.0),
                    (true, Modulator::Resistor { ohm }) => Complex64::from(1.0 / ohm),
                    (true, Modulator::Capacitor { farad, ohm }) => {
                        (ohm + (j * omega * farad).inv()).inv()
                    }
                };
                let tank = (j * omega * tag.capacitance_f + 1.0 / tag.chip_ohm + load).inv();
                let z2 = tag.coil_ohm + j * omega * tag.inductance_h + tank;
                let z1 = reader.source_ohm
                    + reader.coil_ohm
                    + j * omega * reader.inductance_h
                    + (j * omega * reader.capacitance_f).inv()
                    + (omega * mutual).powi(2) / z2;
                let current = reader.drive_v / z1;
                let settled = settle(&network, &[closed]);
                let got = settled.phasor(&Probe::AntennaCurrent { reader: 0 }, 0);
                assert!(
                    (got - current).norm() < 1e-11 * current.norm(),
                    "{got} {current}"
                );
                let antenna = reader.drive_v
                    - current * (reader.source_ohm + (j * omega * reader.capacitance_f).inv());
                let got = settled.phasor(&Probe::AntennaVoltage { reader: 0 }, 0);
                assert!(
                    (got - antenna).norm() < 1e-11 * antenna.norm(),
                    "{got} {antenna}"
                );
                let i2 = -j * omega * mutual * current / z2;
                let got = settled.phasor(&Probe::TagVoltage { tag: 0 }, 0);
                assert!((got - i2 * tank).norm() < 1e-11 * got.norm(), "{got}");
                let pick_up = Probe::PickUp {
                    mutual_h: vec![2e-6, -1e-6],
                };
                let want = j * omega * (2e-6 * current - 1e-6 * i2);
                let got = settled.phasor(&pick_up, 0);
                assert!((got - want).norm() < 1e-11 * want.norm(), "{got} {want}");
            }
        }
    }

    /// A parallel-tuned reader against nodal analysis (textbook).
    #[test]
    fn parallel_reader() {
        let omega = 2.0 * PI * 134_200.0;
        let j = Complex64::i();
        let mut parts = reader(20.0, 134_200.0);
        parts.topology = Topology::Parallel;
        parts.source_ohm = 4_000.0;
        let network = Network::new(vec![parts], vec![], &[vec![0.0]]).unwrap();
        let branch = (parts.coil_ohm + j * omega * parts.inductance_h).inv()
            + j * omega * parts.capacitance_f;
        let want = parts.drive_v / (1.0 + parts.source_ohm * branch);
        let got = settle(&network, &[]).phasor(&Probe::AntennaVoltage { reader: 0 }, 0);
        assert!((got - want).norm() < 1e-11 * want.norm(), "{got} {want}");
    }

    /// A series-tuned reader with a capacitance across its antenna against nodal analysis (textbook), driven and loaded by a tag or alone; it resonates
    /// where both capacitors together tune it, and of the source's loss only what passes the capacitor counts.
    #[test]
    fn a_capacitance_across_the_antenna() {
        let omega = 2.0 * PI * 134_200.0;
        let j = Complex64::i();
        for share in [1e-4, 0.05, 0.4] {
            let mut parts = reader(20.0, 134_200.0);
            parts.shunt_f = share * parts.capacitance_f;
            parts.capacitance_f *= 1.0 - share;
            let tag = tag(30.0, 134_200.0, 300.0);
            let network = Network::pair(parts, tag, 0.03).unwrap();
            let tank = (j * omega * tag.capacitance_f + 1.0 / tag.chip_ohm).inv();
            let z2 = tag.coil_ohm + j * omega * tag.inductance_h + tank;
            let mutual = network.inductance_h(0, 1);
            let coil =
                parts.coil_ohm + j * omega * parts.inductance_h + (omega * mutual).powi(2) / z2;
            let across = (coil.inv() + j * omega * parts.shunt_f).inv();
            let source = parts.source_ohm + (j * omega * parts.capacitance_f).inv();
            let want = parts.drive_v * across / (across + source);
            let settled = settle(&network, &[false]);
            let got = settled.phasor(&Probe::AntennaVoltage { reader: 0 }, 0);
            assert!(
                (got - want).norm() < 1e-8 * want.norm(),
                "{share}: {got} {want}"
            );
            let got = settled.phasor(&Probe::AntennaCurrent { reader: 0 }, 0);
            assert!(
                (got - want / coil).norm() < 1e-8 * got.norm(),
                "{share}: {got}"
            );
            assert!((parts.resonance_hz() / 134_200.0 - 1.0).abs() < 1e-9);
            let alone = Network::new(vec![parts], vec![], &[vec![0.0]]).unwrap();
            let (natural_hz, decay_s) = settle(&alone, &[]).ringing()[0];
            // Second order in ωC·R of the source, a fortieth at half the shunt.
            assert!(
                (natural_hz / 134_200.0 - 1.0).abs() < 2e-3,
                "{share}: {natural_hz}"
            );
            let ringing_q = PI * natural_hz * decay_s;
            assert!(
                (parts.q() / ringing_q - 1.0).abs() < 0.01,
                "{share}: {} {ringing_q}",
                parts.q()
            );
        }
    }

    /// At resonance a full on/off load changes the reader's current by k²Q₁Q₂ (derived, weak coupling). Next terms: k²Q₁Q₂ itself, and
    /// what a shorted tag still reflects, 1/Q₂² in the real part.
    #[test]
    fn full_load_change_is_k2_q1_q2() {
        for (k, q1, q2) in [(1e-4, 20.0, 30.0), (2e-3, 20.0, 30.0), (1e-3, 60.0, 15.0)] {
            let network =
                Network::pair(reader(q1, 134_200.0), tag(q2, 134_200.0, 1e-3), k).unwrap();
            let current = |closed| {
                settle(&network, &[closed]).phasor(&Probe::AntennaCurrent { reader: 0 }, 0)
            };
            let change = (current(true) - current(false)) / current(true);
            let product = k * k * q1 * q2;
            let slack = 2.0 * product + 2.0 / (q2 * q2);
            assert!(
                (change.re / product - 1.0).abs() < slack,
                "{change} {product}"
            );
            assert!((change.im / product).abs() < 1.2 / q2, "{change} {product}");
            let ripple = Ripple::between(current(false), current(true));
            assert!(
                (ripple.depth / (product / 2.0) - 1.0).abs() < slack,
                "{ripple:?}"
            );
        }
    }

    /// The clamp settles where tank and describing function agree, and draws nothing below its voltage.
    #[test]
    fn clamp_holds_the_voltage() {
        let mut parts = tag(30.0, 134_200.0, 500.0);
        let open = Network::pair(reader(20.0, 134_200.0), parts, 0.02).unwrap();
        let free = settle(&open, &[false])
            .phasor(&Probe::TagVoltage { tag: 0 }, 0)
            .norm();
        let clamp = Clamp {
            voltage_v: free / 3.0,
            slope_ohm: 100.0,
        };
        parts.clamp = Some(clamp);
        let clamped = Network::pair(reader(20.0, 134_200.0), parts, 0.02).unwrap();
        let settled = settle(&clamped, &[false]);
        let held = settled.phasor(&Probe::TagVoltage { tag: 0 }, 0).norm();
        assert!(
            held > clamp.voltage_v && held < 1.1 * clamp.voltage_v,
            "{held} of {free}"
        );
        let (allowed, _) = clamped.clamp(0).unwrap().at(settled.clamp_s()[0]);
        assert!((allowed / held - 1.0).abs() < 1e-6, "{allowed} {held}");
        parts.clamp = Some(Clamp {
            voltage_v: 2.0 * free,
            slope_ohm: 100.0,
        });
        let idle = Network::pair(reader(20.0, 134_200.0), parts, 0.02).unwrap();
        assert_eq!(settle(&idle, &[false]).clamp_s(), [0.0]);
    }

    /// Common practice, no source: a tag that is tuned away is heard at another angle. At resonance the ripple at the antenna is
    /// amplitude, half a bandwidth off it turns by about 45° a tank (derived).
    #[test]
    fn angle_follows_the_tuning() {
        let angle = |tuned_hz: f64| {
            let network =
                Network::pair(reader(20.0, tuned_hz), tag(30.0, 134_200.0, 50.0), 2e-3).unwrap();
            let current = |closed| {
                settle(&network, &[closed]).phasor(&Probe::AntennaCurrent { reader: 0 }, 0)
            };
            Ripple::between(current(false), current(true)).angle_deg
        };
        assert!(angle(134_200.0).abs() < 4.0, "{}", angle(134_200.0));
        let half_bandwidth = 134_200.0 / 40.0;
        let turned = angle(134_200.0 + half_bandwidth) - angle(134_200.0);
        assert!((turned.abs() - 45.0).abs() < 3.0, "{turned}");
    }
}
