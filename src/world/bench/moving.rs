//! Readers and tags, still or on their way, run through the whole capture.

use super::super::circuit::{Change, CircuitPlan, LoadPlan, Network, Probe, Track, run};
use super::super::coil::{MU_0, Place, TagCoil, mutual_inductance_h};
use super::super::link::{Listening, Neighbour, Station, Tap, Transponder};
use super::super::scenario::{PlaceKeys, Scenario, ScenarioError, TagKeys, half_bits};
use num_complex::Complex64;

/// Mutual inductances are renewed this often while a tag moves. At 1 m/s a tag goes a millimetre, which changes a coupling at 60 mm by
/// a few per cent of itself: a staircase some thirty times finer than the ripple's own states.
const MOVE_STEP_S: f64 = 1e-3;

/// Circuits with their history from the time the field is first switched on.
#[derive(Debug)]
pub struct Moving {
    pub stations: Vec<Station>,
    /// The second of them with its place.
    pub neighbour: Option<Neighbour>,
    pub transponders: Vec<Transponder>,
    pub listening: Listening,
    track: Track,
    /// Track time of the first sample.
    lead_s: f64,
    /// Probes by the track time from which they hold; a pick-up coil hears a moving tag differently.
    probes: Vec<(f64, Probe)>,
}

impl Moving {
    pub fn new(scenario: &Scenario) -> Result<Self, ScenarioError> {
        let neighbour = scenario.neighbour()?;
        let mut stations = vec![scenario.reader.station(false)?];
        let mut readers = vec![&scenario.reader];
        stations.extend(neighbour.iter().map(|other| other.station.clone()));
        readers.extend(scenario.second_reader.iter().map(|other| &other.reader));
        let second = neighbour.as_ref().map(|other| other.place);
        let field_hz = scenario.reader.field_hz;
        let transponders: Vec<Transponder> = scenario
            .tag
            .iter()
            .map(|tag| tag.transponder(field_hz))
            .collect();
        let listening = scenario.listening()?;
        let lead_s = readers
            .iter()
            .map(|reader| reader.on_before_s())
            .fold(0.0, f64::max);
        let end_s = lead_s + scenario.duration_s.0;
        let places = |at_s: f64| -> Vec<PlaceKeys> {
            scenario.tag.iter().map(|tag| tag.place_at(at_s)).collect()
        };
        let coils = Coils {
            stations: &stations,
            second,
            transponders: &transponders,
        };
        let start = places(0.0);
        let network = Network::new(
            stations.iter().map(|station| station.circuit).collect(),
            transponders
                .iter()
                .map(|transponder| transponder.circuit)
                .collect(),
            &coils.mutual_h(&start),
        )?;
        let mut probes = vec![(0.0, coils.probe(&listening, &start))];
        let mut changes = Vec::new();
        for (index, reader) in readers.iter().enumerate() {
            let from_s = lead_s - reader.on_before_s();
            let field = |at_s, on| Change::Field {
                at_s,
                reader: index,
                on,
            };
            match reader.pulses_s() {
                None => changes.push(field(from_s, true)),
                Some((on_s, off_s)) => {
                    let period_s = on_s + off_s;
                    let mut burst = 0;
                    while from_s + f64::from(burst) * period_s < end_s {
                        let at_s = from_s + f64::from(burst) * period_s;
                        changes.push(field(at_s, true));
                        changes.push(field(at_s + on_s, false));
                        burst += 1;
                    }
                }
            }
        }
        for at_s in moves(&scenario.tag, scenario.duration_s.0) {
            // The place in the middle of the step.
            let there = places(at_s + MOVE_STEP_S / 2.0);
            let network = network.moved(&coils.mutual_h(&there))?;
            changes.push(Change::Moved {
                at_s: lead_s + at_s,
                network,
            });
            if matches!(listening.tap, Tap::PickUp(..)) {
                probes.push((lead_s + at_s, coils.probe(&listening, &there)));
            }
        }
        changes.sort_by(|a, b| a.at_s().total_cmp(&b.at_s()));
        let loads = scenario
            .tag
            .iter()
            .enumerate()
            .map(|(index, tag)| {
                LoadPlan::Clocked(half_bits(&tag.sends.telegram(scenario.seed.0, index)))
            })
            .collect();
        let track = run(
            &network,
            &CircuitPlan {
                duration_s: end_s,
                changes,
                loads,
            },
        )?;
        Ok(Self {
            stations,
            neighbour,
            transponders,
            listening,
            track,
            lead_s,
            probes,
        })
    }

    /// When each tag sent, seconds from the first sample, cut at it.
    pub fn on_times(&self) -> Vec<Vec<[f64; 2]>> {
        (0..self.transponders.len())
            .map(|tag| {
                self.track
                    .on_times(tag)
                    .iter()
                    .map(|[from, to]| [(from - self.lead_s).max(0.0), to - self.lead_s])
                    .filter(|[from, to]| to > from)
                    .collect()
            })
            .collect()
    }

    /// The signal at the digitiser as analytic samples from this time on.
    pub fn fill(&self, from_s: f64, step_s: f64, out: &mut [Complex64]) {
        self.fill_in_frame(0.0, from_s, step_s, out);
    }

    fn fill_in_frame(&self, frame_hz: f64, from_s: f64, step_s: f64, out: &mut [Complex64]) {
        let start_s = self.lead_s + from_s;
        let mut done = 0;
        while done < out.len() {
            let now_s = start_s + done as f64 * step_s;
            let index = self.probes.partition_point(|probe| probe.0 <= now_s).max(1) - 1;
            let count = match self.probes.get(index + 1) {
                Some(next) => (((next.0 - now_s) / step_s).ceil() as usize).max(1),
                None => usize::MAX,
            };
            let until = done.saturating_add(count).min(out.len());
            self.track.phasors(
                &self.probes[index].1,
                frame_hz,
                now_s,
                step_s,
                &mut out[done..until],
            );
            done = until;
        }
        out.iter_mut()
            .for_each(|sample| *sample *= self.listening.scale);
    }

    /// Largest magnitude over the capture, looked at every second field cycle.
    pub fn peak_v(&self, duration_s: f64) -> f64 {
        let frame_hz = self.stations[0].circuit.frequency_hz;
        let step_s = 2.0 / frame_hz;
        let mut block = vec![Complex64::ZERO; 4096];
        let (mut at_s, mut peak) = (0.0, 0.0f64);
        while at_s < duration_s {
            self.fill_in_frame(frame_hz, at_s, step_s, &mut block);
            peak = block.iter().map(|z| z.norm_sqr()).fold(peak, f64::max);
            at_s += step_s * block.len() as f64;
        }
        peak.sqrt()
    }
}

/// Times at which a tag has moved on.
fn moves(tags: &[TagKeys], duration_s: f64) -> Vec<f64> {
    let moving = |at_s: f64| {
        tags.iter().any(|tag| {
            tag.place_at(at_s - MOVE_STEP_S / 2.0) != tag.place_at(at_s + MOVE_STEP_S / 2.0)
        })
    };
    (0..(duration_s / MOVE_STEP_S) as usize)
        .map(|step| step as f64 * MOVE_STEP_S)
        .filter(|&at_s| moving(at_s))
        .collect()
}

struct Coils<'a> {
    stations: &'a [Station],
    second: Option<Place>,
    transponders: &'a [Transponder],
}

impl Coils<'_> {
    /// Mutual inductances of all coils, readers first.
    fn mutual_h(&self, places: &[PlaceKeys]) -> Vec<Vec<f64>> {
        let readers = self.stations.len();
        let coils = readers + self.transponders.len();
        let mut matrix = vec![vec![0.0; coils]; coils];
        let mut put = |row: usize, column: usize, mutual: f64| {
            matrix[row][column] = mutual;
            matrix[column][row] = mutual;
        };
        if let Some(second) = &self.second {
            put(
                0,
                1,
                mutual_inductance_h(&self.stations[0].coil, &self.stations[1].coil, second),
            );
        }
        for (index, (transponder, place)) in self.transponders.iter().zip(places).enumerate() {
            let place = place.place();
            let coil = &transponder.coil;
            put(
                0,
                readers + index,
                coil.mutual_inductance_h(&self.stations[0].coil, &place),
            );
            if let Some(second) = &self.second {
                let seen = place.seen_from(second);
                put(
                    1,
                    readers + index,
                    coil.mutual_inductance_h(&self.stations[1].coil, &seen),
                );
            }
            for (other, (earlier, there)) in
                self.transponders.iter().zip(places).enumerate().take(index)
            {
                let mutual = between_tags_h(&earlier.coil, &there.place(), coil, &place);
                put(readers + other, readers + index, mutual);
            }
        }
        matrix
    }

    fn probe(&self, listening: &Listening, places: &[PlaceKeys]) -> Probe {
        let Tap::PickUp(coil, at) = &listening.tap else {
            return Probe::AntennaVoltage { reader: 0 };
        };
        let mut mutual_h = vec![mutual_inductance_h(&self.stations[0].coil, coil, at)];
        if let Some(second) = &self.second {
            mutual_h.push(mutual_inductance_h(
                &self.stations[1].coil,
                coil,
                &at.seen_from(second),
            ));
        }
        for (transponder, place) in self.transponders.iter().zip(places) {
            let seen = place.place().seen_from(at);
            mutual_h.push(transponder.coil.mutual_inductance_h(coil, &seen));
        }
        Probe::PickUp { mutual_h }
    }
}

/// Two tags as point dipoles of their effective areas: M = µ0·A₁A₂·(3(n₁·r)(n₂·r) − n₁·n₂)/(4πr³). No nearer than a rod's length, where
/// that no longer holds.
fn between_tags_h(first: &TagCoil, at: &Place, second: &TagCoil, there: &Place) -> f64 {
    let way = there.centre_m() - at.centre_m();
    let distance = way.norm();
    let least = first.rod_length_m.max(second.rod_length_m).max(1e-3);
    let toward = if distance > 0.0 {
        way / distance
    } else {
        at.axis()
    };
    let (one, two) = (at.axis(), there.axis());
    let shape = 3.0 * one.dot(&toward) * two.dot(&toward) - one.dot(&two);
    // The core's gain is in the area a flux goes through once, not twice: the dipole moment of a coil on a rod has it, too.
    let mutual = MU_0 * first.effective_area_m2 * second.effective_area_m2 * shape
        / (4.0 * std::f64::consts::PI * distance.max(least).powi(3));
    // Two real coils cannot couple more than fully; half is beyond any pair of rods.
    let most = 0.5 * (first.inductance_h * second.inductance_h).sqrt();
    mutual.clamp(-most, most)
}
