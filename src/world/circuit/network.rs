//! The coupled circuits as a linear system x' = A·x + Σ b·u while nothing switches.

use super::clamp::{ClampTable, Shunt};
use super::joining::{CircuitError, check_parts, couple};
use super::parts::{Modulator, Reader, Tag, Topology};
use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;
use std::f64::consts::PI;
use std::sync::Arc;

/// Readers and tags with the mutual inductance of every pair of coils; readers first, then tags.
#[derive(Clone, Debug, PartialEq)]
pub struct Network {
    readers: Vec<Reader>,
    tags: Vec<Tag>,
    mutual_h: DMatrix<f64>,
    inverse_inductance: DMatrix<f64>,
    clamps: Arc<Vec<Option<ClampTable>>>,
}

/// The linear system for one set of switch positions.
pub(super) struct Linear {
    /// System matrix A.
    pub matrix: DMatrix<f64>,
    /// One input vector b a reader, per volt.
    pub inputs: Vec<DVector<f64>>,
}

impl Network {
    /// Joins the circuits. `mutual_h` is symmetric, readers first; its diagonal is not used.
    pub fn new(
        readers: Vec<Reader>,
        tags: Vec<Tag>,
        mutual_h: &[Vec<f64>],
    ) -> Result<Self, CircuitError> {
        check_parts(&readers, &tags)?;
        let (mutual_h, inverse_inductance) = couple(&readers, &tags, mutual_h)?;
        let omega = 2.0 * PI * readers[0].frequency_hz;
        let clamps = tags
            .iter()
            .map(|tag| tag.clamp.map(|clamp| ClampTable::new(&clamp, tag, omega)))
            .collect();
        Ok(Network {
            readers,
            tags,
            mutual_h,
            inverse_inductance,
            clamps: Arc::new(clamps),
        })
    }

    /// The same parts at other places; cheaper than building the network anew.
    pub fn moved(&self, mutual_h: &[Vec<f64>]) -> Result<Self, CircuitError> {
        let (mutual_h, inverse_inductance) = couple(&self.readers, &self.tags, mutual_h)?;
        Ok(Network {
            mutual_h,
            inverse_inductance,
            ..self.clone()
        })
    }

    /// A tag's limiter on its tank.
    pub(super) fn clamp(&self, tag: usize) -> Option<&ClampTable> {
        self.clamps[tag].as_ref()
    }

    /// One reader and one tag, coupling factor k = M/√(L₁L₂).
    pub fn pair(reader: Reader, tag: Tag, coupling: f64) -> Result<Self, CircuitError> {
        let mutual = coupling * (reader.inductance_h * tag.inductance_h).sqrt();
        Self::new(
            vec![reader],
            vec![tag],
            &[vec![0.0, mutual], vec![mutual, 0.0]],
        )
    }

    /// The readers.
    pub fn readers(&self) -> &[Reader] {
        &self.readers
    }

    /// The tags.
    pub fn tags(&self) -> &[Tag] {
        &self.tags
    }

    /// Mutual inductance of two coils (readers first); on the diagonal the coil's own.
    pub fn inductance_h(&self, row: usize, column: usize) -> f64 {
        self.mutual_h[(row, column)]
    }

    /// Whether two networks differ in their mutual inductances only, so that one can follow the other while things move.
    pub fn same_parts(&self, other: &Network) -> bool {
        self.readers == other.readers && self.tags == other.tags
    }

    /// Currents that make this flux through the coils.
    pub(super) fn currents(&self, flux: &DVector<f64>) -> DVector<f64> {
        &self.inverse_inductance * flux
    }

    /// Angular frequency of a reader's field.
    pub(super) fn omega(&self, reader: usize) -> f64 {
        2.0 * PI * self.readers[reader].frequency_hz
    }

    /// Driver voltage of a reader as a phasor.
    pub(super) fn drive(&self, reader: usize) -> Complex64 {
        let reader = &self.readers[reader];
        Complex64::from_polar(reader.drive_v, reader.drive_phase_deg.to_radians())
    }

    /// Coils: readers, then tags.
    pub(super) fn coils(&self) -> usize {
        self.readers.len() + self.tags.len()
    }

    /// Index of a coil's current in the state.
    pub(super) fn current(&self, coil: usize) -> usize {
        coil
    }

    /// Index of the voltage of the capacitor at a coil.
    pub(super) fn voltage(&self, coil: usize) -> usize {
        self.coils() + coil
    }

    /// Index of the voltage across a series-tuned antenna that has a capacitance of its own: elsewhere that is the tuning capacitor's, or follows
    /// from the rest.
    pub(super) fn shunt(&self, reader: usize) -> Option<usize> {
        let before = self.readers[..reader].iter().filter(|r| has_shunt(r));
        has_shunt(&self.readers[reader]).then(|| 2 * self.coils() + before.count())
    }

    /// Index of a tag's modulation capacitor's voltage.
    fn held(&self, tag: usize) -> Option<usize> {
        let shunts = self.readers.iter().filter(|r| has_shunt(r)).count();
        let before = self.tags[..tag]
            .iter()
            .filter(|tag| matches!(tag.modulator, Modulator::Capacitor { .. }))
            .count();
        matches!(self.tags[tag].modulator, Modulator::Capacitor { .. })
            .then_some(2 * self.coils() + shunts + before)
    }

    /// Length of the state vector.
    pub(super) fn states(&self) -> usize {
        2 * self.coils()
            + self.readers.iter().filter(|r| has_shunt(r)).count()
            + self
                .tags
                .iter()
                .filter(|t| matches!(t.modulator, Modulator::Capacitor { .. }))
                .count()
    }

    /// √L and √C of each state: with them every entry of A is of the order of ω.
    pub(super) fn scale(&self) -> DVector<f64> {
        let mut scale = DVector::zeros(self.states());
        for (coil, capacitance) in self
            .readers
            .iter()
            .map(across_f)
            .chain(self.tags.iter().map(|tag| tag.capacitance_f))
            .enumerate()
        {
            scale[self.current(coil)] = self.mutual_h[(coil, coil)].sqrt();
            scale[self.voltage(coil)] = capacitance.sqrt();
        }
        for (index, reader) in self.readers.iter().enumerate() {
            if let Some(shunt) = self.shunt(index) {
                scale[shunt] = reader.shunt_f.sqrt();
            }
        }
        for (index, tag) in self.tags.iter().enumerate() {
            if let (Some(held), Modulator::Capacitor { farad, .. }) =
                (self.held(index), tag.modulator)
            {
                scale[held] = farad.sqrt();
            }
        }
        scale
    }

    /// The linear system for these switch positions (`closed`, one a tag) and clamps (one a tag).
    pub(super) fn linear(&self, closed: &[bool], clamps: &[Shunt]) -> Linear {
        let (states, coils) = (self.states(), self.coils());
        // Voltage round each coil's loop: L·i' = push·x + Σ feed·u.
        let mut push = DMatrix::zeros(coils, states);
        let mut feeds = vec![DVector::zeros(coils); self.readers.len()];
        let mut matrix = DMatrix::zeros(states, states);
        let mut inputs = vec![DVector::zeros(states); self.readers.len()];
        for (coil, reader) in self.readers.iter().enumerate() {
            let (i, v) = (self.current(coil), self.voltage(coil));
            match (reader.topology, self.shunt(coil)) {
                (Topology::Series, Some(shunt)) => {
                    push[(coil, i)] = -reader.coil_ohm;
                    push[(coil, shunt)] = 1.0;
                    // Through source and tuning capacitor flows (u − v − v of the shunt)/R.
                    for (row, farad) in [(v, reader.capacitance_f), (shunt, reader.shunt_f)] {
                        let rate = 1.0 / (reader.source_ohm * farad);
                        matrix[(row, v)] = -rate;
                        matrix[(row, shunt)] = -rate;
                        inputs[coil][row] = rate;
                    }
                    matrix[(shunt, i)] = -1.0 / reader.shunt_f;
                }
                (Topology::Series, None) => {
                    push[(coil, i)] = -(reader.coil_ohm + reader.source_ohm);
                    push[(coil, v)] = -1.0;
                    feeds[coil][coil] = 1.0;
                    matrix[(v, i)] = 1.0 / reader.capacitance_f;
                }
                (Topology::Parallel, _) => {
                    let farad = across_f(reader);
                    push[(coil, i)] = -reader.coil_ohm;
                    push[(coil, v)] = 1.0;
                    matrix[(v, i)] = -1.0 / farad;
                    matrix[(v, v)] = -1.0 / (reader.source_ohm * farad);
                    inputs[coil][v] = 1.0 / (reader.source_ohm * farad);
                }
            }
        }
        for (index, tag) in self.tags.iter().enumerate() {
            let coil = self.readers.len() + index;
            let (i, v) = (self.current(coil), self.voltage(coil));
            push[(coil, i)] = -tag.coil_ohm;
            push[(coil, v)] = -1.0;
            let capacitance_f = tag.capacitance_f + clamps[index].capacitance_f;
            matrix[(v, i)] = 1.0 / capacitance_f;
            let mut load_s = 1.0 / tag.chip_ohm + clamps[index].conductance_s;
            if closed[index] {
                match tag.modulator {
                    Modulator::Resistor { ohm } => load_s += 1.0 / ohm,
                    Modulator::Capacitor { farad, ohm } => {
                        let held = self
                            .held(index)
                            .expect("a modulation capacitor has a state");
                        load_s += 1.0 / ohm;
                        matrix[(v, held)] = 1.0 / (ohm * capacitance_f);
                        matrix[(held, v)] = 1.0 / (ohm * farad);
                        matrix[(held, held)] = -1.0 / (ohm * farad);
                    }
                }
            }
            matrix[(v, v)] = -load_s / capacitance_f;
        }
        let slopes = &self.inverse_inductance * push;
        matrix.rows_mut(0, coils).copy_from(&slopes);
        for (input, feed) in inputs.iter_mut().zip(&feeds) {
            let slope = &self.inverse_inductance * feed;
            input.rows_mut(0, coils).copy_from(&slope);
        }
        Linear { matrix, inputs }
    }
}

/// Whether the voltage across a reader's antenna is a state of its own.
fn has_shunt(reader: &Reader) -> bool {
    reader.topology == Topology::Series && reader.shunt_f > 0.0
}

/// The capacitor whose voltage is the reader's state: in parallel resonance all that is across the coil.
fn across_f(reader: &Reader) -> f64 {
    match reader.topology {
        Topology::Series => reader.capacitance_f,
        Topology::Parallel => reader.capacitance_f + reader.shunt_f,
    }
}

#[cfg(test)]
pub(super) mod tests {
    use super::super::parts::resonance_capacitance_f;
    use super::*;

    /// A series-tuned reader of this Q, half of the loss in the driver.
    pub fn reader(q: f64, tuned_hz: f64) -> Reader {
        let inductance_h = 0.55e-3;
        let resistance = 2.0 * PI * 134_200.0 * inductance_h / q;
        Reader {
            frequency_hz: 134_200.0,
            drive_v: 5.0,
            drive_phase_deg: 0.0,
            source_ohm: resistance / 2.0,
            topology: Topology::Series,
            inductance_h,
            capacitance_f: resonance_capacitance_f(inductance_h, tuned_hz),
            coil_ohm: resistance / 2.0,
            shunt_f: 0.0,
        }
    }

    /// A tag of this Q with a nearly ideal chip and a modulation resistor.
    pub fn tag(q: f64, tuned_hz: f64, modulation_ohm: f64) -> Tag {
        let inductance_h = 2.4e-3;
        Tag {
            inductance_h,
            capacitance_f: resonance_capacitance_f(inductance_h, tuned_hz),
            coil_ohm: 2.0 * PI * tuned_hz * inductance_h / q,
            chip_ohm: 1e9,
            modulator: Modulator::Resistor {
                ohm: modulation_ohm,
            },
            clamp: None,
            minimum_v: 0.0,
            hold_up_s: 1e-3,
            start_up_s: 0.0,
        }
    }

    #[test]
    fn impossible_circuits_say_why() {
        let (reader, tag) = (reader(20.0, 134_200.0), tag(30.0, 134_200.0, 500.0));
        assert_eq!(Network::pair(reader, tag, 1.0), Err(CircuitError::Coupling));
        assert_eq!(
            Network::pair(reader, tag, f64::NAN),
            Err(CircuitError::Coupling)
        );
        let bad = Tag {
            chip_ohm: 0.0,
            ..tag
        };
        let text = Network::pair(reader, bad, 0.01).unwrap_err().to_string();
        assert_eq!(
            text,
            "tag 1: chip resistance (ohm) is 0, a positive number is needed"
        );
        assert!(matches!(
            Network::new(vec![], vec![tag], &[vec![0.0]]),
            Err(CircuitError::Count { .. })
        ));
        assert!(matches!(
            Network::new(vec![reader], vec![tag], &[vec![0.0]]),
            Err(CircuitError::Shape { .. })
        ));
    }

    /// With the drivers off, stored energy ½Σ L·i·i + ½Σ C·v² falls by exactly what the resistors burn.
    #[test]
    fn energy_goes_into_the_resistors() {
        let mut parallel = reader(15.0, 133_000.0);
        parallel.topology = Topology::Parallel;
        parallel.source_ohm = 5_000.0;
        let tag = tag(30.0, 136_000.0, 500.0);
        let network = Network::new(
            vec![reader(20.0, 134_200.0), parallel],
            vec![tag],
            &[
                vec![0.0, 2e-5, 1e-5],
                vec![2e-5, 0.0, -1e-5],
                vec![1e-5, -1e-5, 0.0],
            ],
        )
        .unwrap();
        let linear = network.linear(
            &[true],
            &[Shunt {
                conductance_s: 2e-5,
                capacitance_f: 0.0,
            }],
        );
        let x = DVector::from_vec(vec![0.1, -0.2, 0.003, 3.0, 5.0, -2.0]);
        let slope = &linear.matrix * &x;
        let mut power = 0.0;
        for a in 0..3 {
            for b in 0..3 {
                power += network.inductance_h(a, b) * x[a] * slope[b];
            }
        }
        let capacitances = [
            network.readers[0].capacitance_f,
            parallel.capacitance_f,
            tag.capacitance_f,
        ];
        for (coil, capacitance) in capacitances.iter().enumerate() {
            power += capacitance * x[3 + coil] * slope[3 + coil];
        }
        let burnt = x[0] * x[0] * (network.readers[0].coil_ohm + network.readers[0].source_ohm)
            + x[1] * x[1] * parallel.coil_ohm
            + x[4] * x[4] / parallel.source_ohm
            + x[2] * x[2] * tag.coil_ohm
            + x[5] * x[5] * (1.0 / 500.0 + 1e-9 + 2e-5);
        assert!((power + burnt).abs() < 1e-9 * burnt, "{power} {burnt}");
    }
}
