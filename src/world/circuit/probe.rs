//! Where a voltage or current is taken from the circuits.

use super::modes::Modes;
use super::network::Network;
use super::parts::Topology;
use nalgebra::DVector;

/// A quantity that can be followed. Readers and tags are counted from 0.
#[derive(Clone, Debug, PartialEq)]
pub enum Probe {
    /// Voltage across a reader's antenna coil, in V.
    AntennaVoltage {
        /// Which reader.
        reader: usize,
    },
    /// Current in a reader's antenna coil, in A.
    AntennaCurrent {
        /// Which reader.
        reader: usize,
    },
    /// Voltage across a tag's coil and capacitor, in V.
    TagVoltage {
        /// Which tag.
        tag: usize,
    },
    /// Open-circuit voltage Σ M·di/dt of a separate coil, in V; one mutual inductance (H) a coil, readers first.
    PickUp {
        /// Mutual inductances with the coils of the network.
        mutual_h: Vec<f64>,
    },
}

/// The probe as a linear form: state·x + Σ feed·u.
#[derive(Clone, Debug)]
pub(super) struct Row {
    /// Weights of the state.
    pub state: DVector<f64>,
    /// Weight of each reader's drive voltage.
    pub feed: Vec<f64>,
}

impl Probe {
    /// Whether the network has what this probe asks for.
    pub fn fits(&self, network: &Network) -> bool {
        match self {
            Probe::AntennaVoltage { reader } | Probe::AntennaCurrent { reader } => {
                *reader < network.readers().len()
            }
            Probe::TagVoltage { tag } => *tag < network.tags().len(),
            Probe::PickUp { mutual_h } => mutual_h.len() == network.coils(),
        }
    }

    pub(super) fn row(&self, network: &Network, modes: &Modes) -> Row {
        let readers = network.readers().len();
        let mut state = DVector::zeros(network.states());
        let mut feed = vec![0.0; readers];
        match self {
            Probe::AntennaVoltage { reader } => {
                let parts = &network.readers()[*reader];
                match (parts.topology, network.shunt(*reader)) {
                    (Topology::Series, Some(shunt)) => state[shunt] = 1.0,
                    (Topology::Series, None) => {
                        state[network.current(*reader)] = -parts.source_ohm;
                        state[network.voltage(*reader)] = -1.0;
                        feed[*reader] = 1.0;
                    }
                    (Topology::Parallel, _) => state[network.voltage(*reader)] = 1.0,
                }
            }
            Probe::AntennaCurrent { reader } => state[network.current(*reader)] = 1.0,
            Probe::TagVoltage { tag } => state[network.voltage(readers + tag)] = 1.0,
            Probe::PickUp { mutual_h } => {
                for (coil, &mutual) in mutual_h.iter().enumerate() {
                    let current = network.current(coil);
                    state += modes.matrix.row(current).transpose() * mutual;
                    for (weight, input) in feed.iter_mut().zip(&modes.inputs) {
                        *weight += mutual * input[current];
                    }
                }
            }
        }
        Row { state, feed }
    }
}
