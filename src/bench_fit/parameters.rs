//! What of a bench is free, what each is on the bench as thought, and a bench with other values.

use std::f64::consts::PI;

use crate::world::circuit::{
    CircuitError, Modulator, Network, Reader, Tag, Topology, resonance_capacitance_f,
};
use crate::world::link::{Antennas, Listening, Station, Transponder};
use crate::world::scenario::PlaceKeys;

/// A free parameter.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parameter {
    /// Frequency the antenna resonates at, Hz: 1/(2π√(LC)).
    AntennaHz,
    /// Quality of the antenna with its driver, at the field ([`Reader::q`]).
    AntennaQ,
    /// Coupling factor of antenna and tag, without its sign: nothing at the antenna tells it.
    Coupling,
    /// Frequency the tag resonates at, Hz.
    TagHz,
    /// Quality of the tag with its chip, switch open ([`Tag::q`]).
    TagQ,
    /// What the tag switches across its coil: Ω of a resistor, pF of a capacitor.
    Load,
}

/// How many there are.
pub const PARAMETERS: usize = 6;

/// Values of all parameters, in the order of [`Parameter::ALL`].
pub type Values = [f64; PARAMETERS];

impl Parameter {
    /// All, in the order that they are told in.
    pub const ALL: [Self; PARAMETERS] = [
        Self::AntennaHz,
        Self::AntennaQ,
        Self::Coupling,
        Self::TagHz,
        Self::TagQ,
        Self::Load,
    ];

    /// By how much a bench may be off from what its builder thinks, as a standard deviation of the natural logarithm. Assumed, and wide: five
    /// per cent is a capacitor's tolerance of ten, tags leave their maker within one and a half (`--tolerance` of `link`), nobody knows a
    /// coupling better than to a factor. Only where a capture does not tell a parameter does this count.
    pub fn spread(self) -> f64 {
        match self {
            Self::AntennaHz => 0.05,
            Self::TagHz => 0.03,
            Self::TagQ => 0.5,
            Self::AntennaQ | Self::Load => 0.7,
            Self::Coupling => 1.0,
        }
    }
}

/// A bench as it is thought to be: what is not free is taken from here.
#[derive(Clone, Copy, Debug)]
pub struct Thought<'a> {
    /// The reader's antenna, and another one beside it.
    pub antennas: Antennas<'a>,
    /// The tag.
    pub transponder: &'a Transponder,
    /// Where it is.
    pub place: &'a PlaceKeys,
    /// Where the signal is taken from.
    pub listening: &'a Listening,
}

/// The bench as thought, in the field as measured, ready to be given other values.
#[derive(Clone, Debug)]
pub(super) struct Parts {
    network: Network,
    frequency_hz: f64,
    /// Values as thought.
    pub thought: Values,
    /// Mutual inductances have the sign of the thought one.
    sign: f64,
}

/// A coupling to begin with where the tag as thought hears nothing at all: across the field, far away.
const LEAST_COUPLING: f64 = 1e-6;

impl Parts {
    /// A tag's limiter is left out: what it draws counts as the tag's loss.
    pub fn new(thought: &Thought<'_>, frequency_hz: f64) -> Result<Self, CircuitError> {
        let station = Station {
            circuit: Reader {
                frequency_hz,
                ..thought.antennas.station.circuit
            },
            ..thought.antennas.station.clone()
        };
        let mut transponder = *thought.transponder;
        transponder.circuit.clamp = None;
        // Its coil's loss is stated as a Q at the thought field; a fraction of a per cent of another field changes it by as much.
        let antennas = Antennas {
            station: &station,
            neighbour: thought.antennas.neighbour,
        };
        let place = thought.place.place();
        let network = antennas.network(Some((&transponder, &place)))?;
        let (reader, tag) = (network.readers()[0], network.tags()[0]);
        let mutual_h = network.inductance_h(0, network.readers().len());
        let coupling = mutual_h.abs() / (reader.inductance_h * tag.inductance_h).sqrt();
        Ok(Self {
            thought: [
                reader.resonance_hz(),
                reader.q(),
                coupling.max(LEAST_COUPLING),
                tag.resonance_hz(),
                tag.q(),
                match tag.modulator {
                    Modulator::Resistor { ohm } => ohm,
                    Modulator::Capacitor { farad, .. } => 1e12 * farad,
                },
            ],
            network,
            frequency_hz,
            sign: if mutual_h < 0.0 { -1.0 } else { 1.0 },
        })
    }

    /// Frequency of the field.
    pub fn frequency_hz(&self) -> f64 {
        self.frequency_hz
    }

    /// Whether the tag switches a capacitor.
    pub fn switches_capacitor(&self) -> bool {
        matches!(
            self.network.tags()[0].modulator,
            Modulator::Capacitor { .. }
        )
    }

    /// The reader with these values: another capacitor, and all resistance of its circuit changed by one factor.
    pub fn reader(&self, values: &Values) -> Reader {
        let thought = self.network.readers()[0];
        let [antenna_hz, antenna_q, ..] = *values;
        let loss = thought.q() / antenna_q;
        Reader {
            capacitance_f: resonance_capacitance_f(thought.inductance_h, antenna_hz),
            coil_ohm: thought.coil_ohm * loss,
            source_ohm: match thought.topology {
                Topology::Series => thought.source_ohm * loss,
                Topology::Parallel => thought.source_ohm / loss,
            },
            ..thought
        }
    }

    /// The tag with these values: another capacitor, coil and chip losing more or less by one factor, another load.
    fn tag(&self, values: &Values) -> Tag {
        let [.., tag_hz, tag_q, load] = *values;
        let thought = self.network.tags()[0];
        let tuned = Tag {
            capacitance_f: resonance_capacitance_f(thought.inductance_h, tag_hz),
            ..thought
        };
        let loss = tuned.q() / tag_q;
        Tag {
            coil_ohm: tuned.coil_ohm * loss,
            chip_ohm: tuned.chip_ohm / loss,
            modulator: match tuned.modulator {
                Modulator::Resistor { .. } => Modulator::Resistor { ohm: load },
                Modulator::Capacitor { ohm, .. } => Modulator::Capacitor {
                    farad: 1e-12 * load,
                    ohm,
                },
            },
            ..tuned
        }
    }

    /// The circuits with these values.
    pub fn network(&self, values: &Values) -> Result<Network, CircuitError> {
        let mut readers = self.network.readers().to_vec();
        readers[0] = self.reader(values);
        let tag = self.tag(values);
        let coils = readers.len() + 1;
        let mut mutual_h: Vec<Vec<f64>> = (0..coils)
            .map(|row| {
                (0..coils)
                    .map(|column| self.network.inductance_h(row, column))
                    .collect()
            })
            .collect();
        let own = self.sign * values[2] * (readers[0].inductance_h * tag.inductance_h).sqrt();
        mutual_h[0][coils - 1] = own;
        mutual_h[coils - 1][0] = own;
        Network::new(readers, vec![tag], &mutual_h)
    }
}

/// How a driven antenna rings: natural frequency less the field's (Hz) and quality, as the receiver states them: p = −πf/Q + j2π(f − f_c).
pub(super) fn ring_of(reader: &Reader) -> (f64, f64) {
    let inductance_h = reader.inductance_h;
    // The characteristic equation s² + 2αs + ω² = 0 of either circuit (textbook).
    let (twice_loss, square) = match reader.topology {
        Topology::Series => (
            (reader.coil_ohm + reader.source_ohm) / inductance_h,
            1.0 / (inductance_h * reader.capacitance_f),
        ),
        Topology::Parallel => (
            reader.coil_ohm / inductance_h + 1.0 / (reader.source_ohm * reader.capacitance_f),
            (1.0 + reader.coil_ohm / reader.source_ohm) / (inductance_h * reader.capacitance_f),
        ),
    };
    let loss = 0.5 * twice_loss;
    let natural_hz = (square - loss * loss).max(0.0).sqrt() / (2.0 * PI);
    (natural_hz - reader.frequency_hz, PI * natural_hz / loss)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::world::circuit::settle;

    fn reader(topology: Topology, source_ohm: f64) -> Reader {
        Reader {
            frequency_hz: 134_200.0,
            drive_v: 5.0,
            drive_phase_deg: 0.0,
            source_ohm,
            topology,
            inductance_h: 600e-6,
            capacitance_f: resonance_capacitance_f(600e-6, 131_000.0),
            coil_ohm: 9.0,
            shunt_f: 0.0,
        }
    }

    /// The formula against the eigenvalues that the circuits are solved with.
    #[test]
    fn an_antenna_rings_with_its_eigenvalue() {
        for reader in [
            reader(Topology::Series, 17.0),
            reader(Topology::Parallel, 6_000.0),
        ] {
            let network = Network::new(vec![reader], vec![], &[vec![0.0]]).unwrap();
            let (natural_hz, decay_s) = settle(&network, &[]).ringing()[0];
            let (offset_hz, q) = ring_of(&reader);
            assert!((offset_hz + 134_200.0 - natural_hz).abs() < 1e-6 * natural_hz);
            let own = PI * natural_hz * decay_s;
            assert!((q / own - 1.0).abs() < 1e-6, "{q} {own}");
        }
    }
}
