//! What the tag's load does to the circuits of a bench once they have settled: the values behind "load modulation".

use std::f64::consts::TAU;

use num_complex::Complex64;
use serde::Serialize;

use crate::world::circuit::{CircuitError, Modulator, Network, Probe, Tag, settle};
use crate::world::link::{Station, Transponder};

/// The circuits with the load open or closed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize)]
pub(super) struct LoadState {
    /// |Z2|: what the voltage induced in the tag's coil drives its current through, Ω.
    pub loop_ohm: f64,
    /// Peak current in the tag's coil, A.
    pub tag_a: f64,
    /// Peak voltage across it, V.
    pub tag_v: f64,
    /// Peak voltage across the reader's antenna, V.
    pub antenna_v: f64,
    /// Peak current in it, A.
    pub antenna_a: f64,
}

/// Both states at a mutual inductance.
pub(super) fn load_states(
    station: &Station,
    transponder: &Transponder,
    mutual_h: f64,
) -> Result<[LoadState; 2], CircuitError> {
    let frequency_hz = station.circuit.frequency_hz;
    let tag = Tag {
        inductance_h: transponder.coil.inductance_h,
        coil_ohm: transponder.coil.resistance_ohm(frequency_hz),
        ..transponder.circuit
    };
    let couplings = [vec![0.0, mutual_h], vec![mutual_h, 0.0]];
    let network = Network::new(vec![station.circuit], vec![tag], &couplings)?;
    Ok([false, true].map(|closed| {
        let settled = settle(&network, &[closed]);
        let peak = |probe: Probe| settled.phasor(&probe, 0).norm();
        let antenna_a = peak(Probe::AntennaCurrent { reader: 0 });
        let loop_ohm = loop_impedance(&tag, frequency_hz, closed).norm();
        LoadState {
            loop_ohm,
            tag_a: TAU * frequency_hz * mutual_h.abs() * antenna_a / loop_ohm,
            tag_v: peak(Probe::TagVoltage { tag: 0 }),
            antenna_v: peak(Probe::AntennaVoltage { reader: 0 }),
            antenna_a,
        }
    }))
}

/// Z2 = R + jωL + 1/(jωC + everything across the coil), Ω (textbook); without a clamp.
fn loop_impedance(tag: &Tag, frequency_hz: f64, closed: bool) -> Complex64 {
    let omega = Complex64::new(0.0, TAU * frequency_hz);
    let switched = match (closed, tag.modulator) {
        (false, _) => Complex64::default(),
        (true, Modulator::Resistor { ohm }) => Complex64::from(1.0 / ohm),
        (true, Modulator::Capacitor { farad, ohm }) => 1.0 / (ohm + 1.0 / (omega * farad)),
    };
    let across = omega * tag.capacitance_f + 1.0 / tag.chip_ohm + switched;
    tag.coil_ohm + omega * tag.inductance_h + 1.0 / across
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::scenario::Scenario;

    fn states(settings: &[(&str, &str)]) -> [LoadState; 2] {
        let settings: Vec<(String, String)> = settings
            .iter()
            .map(|(key, value)| (key.to_string(), value.to_string()))
            .collect();
        let scenario = Scenario::read("[[tag]]\n", &settings).unwrap();
        let station = scenario.reader.station(false).unwrap();
        let transponder = scenario.tag[0].transponder(scenario.field_hz());
        let place = scenario.tag[0].place.place();
        let mutual_h = transponder.coil.mutual_inductance_h(&station.coil, &place);
        load_states(&station, &transponder, mutual_h).unwrap()
    }

    /// On resonance the loop opens up when the load closes; a coil that a switched capacitor brings nearer to resonance does the
    /// opposite. The reader's loop then holds (ωM)²/Z2 (textbook): its current goes the other way than the tag's.
    #[test]
    fn what_closing_the_load_does() {
        let [open, closed] = states(&[]);
        assert!(closed.loop_ohm > 9.0 * open.loop_ohm && closed.loop_ohm < 11.0 * open.loop_ohm);
        assert!(closed.tag_a < open.tag_a && closed.antenna_a > open.antenna_a);
        assert!(closed.antenna_v > open.antenna_v);
        let other = [
            ("tag.1.modulator", "capacitor"),
            ("tag.1.tuned_hz", "142000"),
        ];
        let [open, closed] = states(&other);
        assert!(closed.loop_ohm < open.loop_ohm && closed.tag_a > open.tag_a);
        assert!(closed.antenna_v < open.antenna_v, "{open:?} {closed:?}");
    }

    /// The current by |Z2| and the settled voltage across coil and capacitor belong together: I2 = V2·|jωC + 1/R + …|.
    #[test]
    fn current_and_voltage_agree() {
        for (state, switched_s) in states(&[]).iter().zip([0.0, 1.0 / 4000.0]) {
            let omega_c = 1.0 / (TAU * 134_200.0 * 5e-3);
            let across = Complex64::new(1.0 / 100e3 + switched_s, omega_c).norm();
            assert!(
                (state.tag_v * across / state.tag_a - 1.0).abs() < 1e-6,
                "{state:?}"
            );
        }
    }
}
