//! The antennas of a bench: the reader's, and another one beside it.

use super::super::circuit::{CircuitError, Network, Probe, Reader, settle};
use super::super::coil::{Coil, Place, Vector, mutual_inductance_h};
use super::{FieldAt, Station, Tap, Transponder};
use num_complex::Complex64;

/// Another reader's antenna and where it is, seen from the first.
#[derive(Clone, Debug, PartialEq)]
pub struct Neighbour {
    /// Coil and circuit.
    pub station: Station,
    /// Its place.
    pub place: Place,
}

/// The reader's antenna and, if there is one, its neighbour: one driven at the same frequency (a gate's other side), or one with a field of its own. The latter is a tuned circuit that takes part; what its own field
/// adds is another carrier and not in these numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Antennas<'a> {
    /// The reader's.
    pub station: &'a Station,
    /// The other one.
    pub neighbour: Option<&'a Neighbour>,
}

/// A tag and its place.
type Placed<'a> = Option<(&'a Transponder, &'a Place)>;

impl<'a> Antennas<'a> {
    /// One antenna and nothing near it.
    pub fn alone(station: &'a Station) -> Self {
        Self {
            station,
            neighbour: None,
        }
    }

    /// The circuits joined, with a tag or without.
    ///
    /// # Errors
    /// Circuits that cannot be joined.
    pub fn network(&self, tag: Placed<'_>) -> Result<Network, CircuitError> {
        let own = self.station.circuit;
        let mut readers = vec![own];
        if let Some(neighbour) = self.neighbour {
            let circuit = neighbour.station.circuit;
            let together = circuit.frequency_hz == own.frequency_hz;
            readers.push(Reader {
                frequency_hz: own.frequency_hz,
                drive_v: if together { circuit.drive_v } else { 0.0 },
                ..circuit
            });
        }
        let coils = readers.len() + usize::from(tag.is_some());
        let mut mutual_h = vec![vec![0.0; coils]; coils];
        let mut put = |row: usize, column: usize, value: f64| {
            mutual_h[row][column] = value;
            mutual_h[column][row] = value;
        };
        if let Some(neighbour) = self.neighbour {
            let (first, second) = (&self.station.coil, &neighbour.station.coil);
            put(0, 1, mutual_inductance_h(first, second, &neighbour.place));
        }
        if let Some((transponder, place)) = tag {
            let coil = &transponder.coil;
            put(
                0,
                coils - 1,
                coil.mutual_inductance_h(&self.station.coil, place),
            );
            if let Some(neighbour) = self.neighbour {
                let seen = place.seen_from(&neighbour.place);
                put(
                    1,
                    coils - 1,
                    coil.mutual_inductance_h(&neighbour.station.coil, &seen),
                );
            }
        }
        let tags = tag.map(|(transponder, _)| transponder.joined(own.frequency_hz));
        Network::new(readers, tags.into_iter().collect(), &mutual_h)
    }

    /// What is listened to.
    pub fn probe(&self, tap: &Tap, tag: Placed<'_>) -> Probe {
        let Tap::PickUp(coil, at) = tap else {
            return Probe::AntennaVoltage { reader: 0 };
        };
        let mut mutual_h = vec![mutual_inductance_h(&self.station.coil, coil, at)];
        if let Some(neighbour) = self.neighbour {
            let seen = at.seen_from(&neighbour.place);
            mutual_h.push(mutual_inductance_h(&neighbour.station.coil, coil, &seen));
        }
        if let Some((transponder, place)) = tag {
            let seen = place.seen_from(at);
            mutual_h.push(transponder.coil.mutual_inductance_h(coil, &seen));
        }
        Probe::PickUp { mutual_h }
    }

    /// Voltage across the reader's antenna and the current in each antenna, peak phasors, with no tag near: what the field and its
    /// limits are worked out with.
    ///
    /// # Errors
    /// Circuits that cannot be joined.
    pub fn idle(&self) -> Result<Idle<'a>, CircuitError> {
        let network = self.network(None)?;
        let settled = settle(&network, &[]);
        let all = 0..network.readers().len();
        Ok(Idle {
            antennas: *self,
            voltages_v: all
                .clone()
                .map(|reader| settled.together(&Probe::AntennaVoltage { reader }).norm())
                .collect(),
            currents_a: all
                .map(|reader| settled.together(&Probe::AntennaCurrent { reader }))
                .collect(),
            mutual_h: self.neighbour.map_or(0.0, |_| network.inductance_h(0, 1)),
        })
    }
}

/// Antennas with no tag near.
#[derive(Clone, Debug, PartialEq)]
pub struct Idle<'a> {
    antennas: Antennas<'a>,
    /// Peak voltage across each antenna, the reader's first.
    pub voltages_v: Vec<f64>,
    /// Peak current of each antenna.
    pub currents_a: Vec<Complex64>,
    /// Mutual inductance of the two antennas, 0 where there is one.
    pub mutual_h: f64,
}

impl Idle<'_> {
    /// Peak voltage across the reader's antenna.
    pub fn antenna_v(&self) -> f64 {
        self.voltages_v[0]
    }

    /// Peak current in the reader's antenna.
    pub fn antenna_a(&self) -> f64 {
        self.currents_a[0].norm()
    }

    /// Field at a point of the reader's frame, of all antennas together, rms over the field's ellipse.
    pub fn field_at(&self, point_m: Vector) -> FieldAt {
        FieldAt::of(self.sum(|coil, place| place.turn(coil.flux_density(&place.inward(point_m)))))
    }

    /// The same of the turns alone, carrying the current that they have beside a metal sheet.
    pub fn field_of_turns_at(&self, point_m: Vector) -> FieldAt {
        let of = |coil: &Coil, place: &Place| coil.alone().flux_density(&place.inward(point_m));
        FieldAt::of(self.sum(|coil, place| place.turn(of(coil, place))))
    }

    /// Every antenna with its place in the reader's frame and its current.
    pub(super) fn each(&self) -> Vec<(&Coil, Place, Complex64)> {
        let first = (&self.antennas.station.coil, Place::origin());
        let second = self
            .antennas
            .neighbour
            .map(|neighbour| (&neighbour.station.coil, neighbour.place));
        std::iter::once(first)
            .chain(second)
            .zip(&self.currents_a)
            .map(|((coil, place), &current)| (coil, place, current))
            .collect()
    }

    /// Frequency of the reader's field.
    pub(super) fn field_hz(&self) -> f64 {
        self.antennas.station.circuit.frequency_hz
    }

    fn sum(&self, part: impl Fn(&Coil, &Place) -> Vector) -> [Complex64; 3] {
        let mut sum = [Complex64::ZERO; 3];
        for (coil, place, current) in self.each() {
            let per_ampere = part(coil, &place);
            for (sum, value) in sum.iter_mut().zip(per_ampere.iter()) {
                *sum += current * value;
            }
        }
        sum
    }
}
