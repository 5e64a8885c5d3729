//! What differs from one build of a bench to the next, and how each of these moves it.

use super::super::scenario::PlaceKeys;
use super::{Station, Transponder};

/// Something that has a tolerance.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Part {
    /// Inductance of the antenna as its circuit sees it; the coupling to the tag stays that of the turns as wound.
    Inductance,
    /// Tuning capacitor of the antenna.
    Capacitor,
    /// Q of the antenna coil.
    CoilQ,
    /// Frequency the tag is tuned to.
    TagTuning,
    /// Q of the tag's coil.
    TagQ,
    /// Temperature of the antenna against 20 °C.
    Temperature,
    /// Place of the tag beside the axis.
    Offset,
    /// Its tilt.
    Tilt,
}

/// Copper: 0.393 % a kelvin (IEC 60028, 1925).
const COPPER_PER_K: f64 = 3.93e-3;
/// Polypropylene, the usual film of such capacitors: about −200 ppm a kelvin (from memory).
const FILM_PER_K: f64 = -200e-6;

impl Part {
    /// All of them: name on the command line, what it is, unit, and a usual tolerance ± (assumed; the tags' from memory).
    pub const ALL: [(Part, &'static str, &'static str, &'static str, f64); 8] = [
        (
            Part::Inductance,
            "inductance",
            "antenna inductance",
            "%",
            3.0,
        ),
        (Part::Capacitor, "capacitor", "antenna capacitor", "%", 2.0),
        (Part::CoilQ, "coil-q", "antenna coil Q", "%", 10.0),
        (Part::TagTuning, "tag-tuning", "tag tuning", "%", 1.5),
        (Part::TagQ, "tag-q", "tag coil Q", "%", 20.0),
        (Part::Temperature, "temperature", "temperature", "K", 20.0),
        (Part::Offset, "offset", "tag offset", "mm", 10.0),
        (Part::Tilt, "tilt", "tag tilt", "deg", 20.0),
    ];

    /// Moves this part of a bench by an amount in its unit.
    pub fn shift(
        self,
        by: f64,
        station: &mut Station,
        transponder: &mut Transponder,
        place: &mut PlaceKeys,
    ) {
        let share = 1.0 + by / 100.0;
        let circuit = &mut station.circuit;
        match self {
            Part::Inductance => circuit.inductance_h *= share,
            Part::Capacitor => circuit.capacitance_f *= share,
            Part::CoilQ => circuit.coil_ohm /= share,
            // f goes with 1/√C.
            Part::TagTuning => transponder.circuit.capacitance_f /= share * share,
            Part::TagQ => transponder.coil.q *= share,
            Part::Temperature => {
                circuit.coil_ohm *= 1.0 + COPPER_PER_K * by;
                circuit.capacitance_f *= 1.0 + FILM_PER_K * by;
            }
            Part::Offset => place.offset_mm += by,
            Part::Tilt => place.tilt_deg += by,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::super::scenario::Scenario;
    use super::*;

    /// By hand: f = 1/(2π√(LC)), Q = ωL/R, copper 7.9 % more at 40 °C.
    #[test]
    fn each_part_moves_what_it_is_named_for() {
        let scenario = Scenario::read("[[tag]]\n", &[]).unwrap();
        let moved = |part: Part, by: f64| {
            let mut station = scenario.reader.station(false).unwrap();
            let mut transponder = scenario.tag[0].transponder(134_200.0);
            let mut place = scenario.tag[0].place;
            part.shift(by, &mut station, &mut transponder, &mut place);
            (station, transponder, place)
        };
        let (nominal, tag, place) = moved(Part::Inductance, 0.0);
        let near = |got: f64, want: f64| assert!((got / want - 1.0).abs() < 1e-9, "{got} {want}");
        for part in [Part::Inductance, Part::Capacitor] {
            let got = moved(part, 4.0).0.circuit.resonance_hz();
            near(got, nominal.circuit.resonance_hz() / 1.04_f64.sqrt());
        }
        near(
            moved(Part::TagTuning, -2.0).1.circuit.resonance_hz(),
            0.98 * tag.circuit.resonance_hz(),
        );
        near(moved(Part::TagQ, 10.0).1.coil.q, 1.1 * tag.coil.q);
        near(
            moved(Part::CoilQ, 10.0).0.circuit.coil_ohm,
            nominal.circuit.coil_ohm / 1.1,
        );
        near(
            moved(Part::Temperature, 20.0).0.circuit.coil_ohm,
            1.0786 * nominal.circuit.coil_ohm,
        );
        assert_eq!(moved(Part::Offset, 5.0).2.offset_mm, place.offset_mm + 5.0);
        assert_eq!(moved(Part::Tilt, 5.0).2.tilt_deg, place.tilt_deg + 5.0);
    }
}
