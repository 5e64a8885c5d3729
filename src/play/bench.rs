//! Parts and places of a bench → currents, phasors and ripple, as `link` works them out.

use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::{Unanswered, within};
use crate::receiver::HALF;
use crate::world::circuit::{Probe, Settled, settle};
use crate::world::link::{Antennas, MIXED_A_CYCLE, link, mixed_from, sent_mixed};
use crate::world::scenario::{PlaceKeys, Scenario, half_bits};

/// The half bits shown: twelve bits of the code.
const SHOWN: std::ops::Range<usize> = 26..50;

/// The question.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BenchQuestion {
    /// The transponder's number, as `CCC:N`.
    pub number: String,
    /// Its distance on the antenna's axis, mm.
    pub distance_mm: f64,
    /// Its tilt, degrees.
    pub tilt_deg: f64,
    /// What the antenna is tuned to, Hz.
    pub reader_hz: f64,
    /// What the transponder is tuned to, Hz.
    pub tag_hz: f64,
    /// Q of its coil.
    pub coil_q: f64,
    /// Load that it switches, ohm.
    pub load_ohm: f64,
}

impl BenchQuestion {
    pub(super) fn answer(&self) -> Result<Value, Unanswered> {
        let said = |error: &dyn std::fmt::Display| Unanswered::new(error.to_string());
        let settings = [
            ("reader.tuned_hz", self.reader_hz.to_string()),
            ("tag.1.tuned_hz", self.tag_hz.to_string()),
            ("tag.1.coil_q", self.coil_q.to_string()),
            ("tag.1.modulation_ohm", self.load_ohm.to_string()),
            ("tag.1.id", self.number.clone()),
        ]
        .map(|(key, value)| (key.to_string(), value));
        let scenario = Scenario::read("[[tag]]\n", &settings).map_err(|error| said(&error))?;
        let station = scenario
            .reader
            .station(false)
            .map_err(|error| said(&error))?;
        let listening = scenario.listening().map_err(|error| said(&error))?;
        let transponder = scenario.tag[0].transponder(scenario.field_hz());
        let sent = half_bits(&scenario.tag[0].sends.telegram(scenario.seed.0, 0));
        let place = PlaceKeys {
            distance_mm: within("distance_mm", self.distance_mm, 1.0, 1000.0)?,
            offset_mm: 0.0,
            tilt_deg: within("tilt_deg", self.tilt_deg, 0.0, 90.0)?,
            ..PlaceKeys::default()
        }
        .place();
        let antennas = Antennas::alone(&station);
        let link = link(&antennas, &transponder, &place, &listening, &sent)
            .map_err(|error| said(&error))?;
        let network = antennas
            .network(Some((&transponder, &place)))
            .map_err(|error| said(&error))?;
        let probe = antennas.probe(&listening.tap, Some((&transponder, &place)));
        let omega = std::f64::consts::TAU * scenario.field_hz();
        let side = |closed: bool| phasors(&settle(&network, &[closed]), omega);
        let mixed = sent_mixed(&network, &probe, &sent, 0.0).map_err(|error| said(&error))?;
        Ok(json!({
            "open": side(false),
            "closed": side(true),
            "mutual_h": link.mutual_h,
            "coupling": link.coupling,
            "tag_v": link.tag_v,
            "powered": link.powered,
            "antenna_v": link.antenna_v,
            "antenna_a": link.antenna_a,
            "settled_depth": link.settled.depth,
            "settled_angle_deg": link.settled.angle_deg,
            "depth": link.sent.depth,
            "angle_deg": link.sent.angle_deg,
            "track": track(&mixed, &sent),
        }))
    }
}

fn pair(value: Complex64) -> [f64; 2] {
    [value.re, value.im]
}

/// Currents and the antenna's voltage in a settled state.
fn phasors(settled: &Settled, omega: f64) -> Value {
    let current = Probe::AntennaCurrent { reader: 0 };
    // A coil of 1 H with the transponder's alone has its current's change as voltage.
    let beside = Probe::PickUp {
        mutual_h: vec![0.0, 1.0],
    };
    json!({
        "i1": pair(settled.together(&current)),
        "i2": pair(settled.together(&beside) / Complex64::new(0.0, omega)),
        "antenna": pair(settled.together(&Probe::AntennaVoltage { reader: 0 })),
    })
}

/// Phasors of the half bits shown, one a field cycle, from those of all that is sent over and over ([`sent_mixed`]).
fn track(mixed: &[Complex64], sent: &[bool]) -> Vec<[f64; 2]> {
    let cycles: Vec<Complex64> = mixed
        .chunks(MIXED_A_CYCLE)
        .map(|values| values.iter().sum::<Complex64>() / values.len() as f64)
        .collect();
    if cycles.is_empty() {
        return Vec::new();
    }
    let first = mixed_from(sent);
    SHOWN
        .flat_map(|half| {
            let ahead = (half + sent.len() - first) % sent.len();
            (0..HALF).map(move |cycle| ahead * HALF + cycle)
        })
        .map(|cycle| pair(cycles[cycle % cycles.len()]))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::telegram::{Identity, Telegram};

    /// At the end of every half bit the ripple is on the side of the load's state, as the circuits of the default bench are faster than that.
    #[test]
    fn the_track_follows_the_load() {
        for number in ["999:1", "999:160718020851"] {
            let question = BenchQuestion {
                number: number.into(),
                distance_mm: 20.0,
                tilt_deg: 0.0,
                reader_hz: 134_200.0,
                tag_hz: 134_200.0,
                coil_q: 30.0,
                load_ohm: 2_000.0,
            };
            let answer = question.answer().unwrap();
            let number_at = |value: &Value| -> Complex64 {
                Complex64::new(value[0].as_f64().unwrap(), value[1].as_f64().unwrap())
            };
            let open = number_at(&answer["open"]["antenna"]);
            let closed = number_at(&answer["closed"]["antenna"]);
            let identity: Identity = number.parse().unwrap();
            let sent = half_bits(&Telegram::new(identity.code()));
            let track = answer["track"].as_array().unwrap();
            assert_eq!(track.len(), HALF * SHOWN.len());
            for (half, cycles) in SHOWN.zip(track.chunks(HALF)) {
                let end = number_at(&cycles[HALF - 2]) - 0.5 * (open + closed);
                let along = (end / (closed - open)).re;
                assert_eq!(
                    along > 0.0,
                    sent[half],
                    "{number}: half bit {half}: {along}"
                );
            }
        }
    }

    #[test]
    fn values_out_of_range_are_named() {
        let question = BenchQuestion {
            number: "999:1".into(),
            distance_mm: -5.0,
            tilt_deg: 0.0,
            reader_hz: 134_200.0,
            tag_hz: 134_200.0,
            coil_q: 30.0,
            load_ohm: 2_000.0,
        };
        let error = question.answer().unwrap_err().to_string();
        assert!(error.contains("distance_mm is -5"), "{error}");
    }
}
