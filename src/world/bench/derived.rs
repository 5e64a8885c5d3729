//! What follows from a scenario: couplings, voltages, ripple, Eb/N0.

use super::super::direct::{DirectSignal, SampleForm};
use super::super::link::{Antennas, Link, Station, Transponder, folded_ebn0_db, link};
use super::super::noise_level::ripple_rms;
use super::super::other_tag::OtherSent;
use super::super::scenario::{PlaceKeys, Scenario, ScenarioError, TagKeys, half_bits};
use super::{Detector, Digitiser, Field, Moving};

/// Values worked out before the first sample.
#[derive(Clone, Debug, PartialEq)]
pub struct Derived {
    /// Peak of the first reader's field at the digitiser, V.
    pub field_v: f64,
    /// White noise density at the digitiser, one-sided, V²/Hz.
    pub noise_v2_per_hz: f64,
    /// One a tag.
    pub tags: Vec<DerivedTag>,
    /// One a tag of another kind.
    pub others: Vec<OtherSent>,
}

/// A tag alone before the antennas, at the nearest place of its way. A second antenna takes part, its own field does not.
#[derive(Clone, Debug, PartialEq)]
pub struct DerivedTag {
    /// Where, for a tag that is coils and circuits.
    pub place: Option<PlaceKeys>,
    /// Its link.
    pub link: Option<Link>,
    /// Depth as received.
    pub depth: f64,
    /// Angle as received, degrees.
    pub angle_deg: f64,
    /// Rms of the ripple in the samples, V.
    pub ripple_v: f64,
    /// Eb/N0 by the white noise alone; `None` without noise or ripple.
    pub ebn0_db: Option<f64>,
}

impl Derived {
    pub(super) fn new(scenario: &Scenario, field: &Field) -> Result<Self, ScenarioError> {
        let (field_v, mut tags) = match field {
            Field::Direct(signal) => (signal.amplitude, given(scenario, signal)),
            Field::Circuits(moving) => linked(scenario, moving)?,
        };
        let others: Vec<OtherSent> = scenario
            .other_tag
            .iter()
            .map(|tag| OtherSent::new(tag, scenario, field_v))
            .collect();
        let noise_v2_per_hz = noise_density(scenario, field_v, tags.first(), others.first())?;
        for tag in &mut tags {
            tag.ebn0_db = (noise_v2_per_hz > 0.0 && tag.ripple_v > 0.0).then(|| {
                let energy = bit_energy(scenario, tag.ripple_v);
                10.0 * libm::log10(energy / noise_v2_per_hz)
            });
        }
        Ok(Self {
            field_v,
            noise_v2_per_hz,
            tags,
            others,
        })
    }

    /// Eb/N0 of a tag with the digitiser's steps counted as noise.
    pub fn with_steps_db(
        &self,
        tag: usize,
        digitiser: Option<Digitiser>,
        scenario: &Scenario,
    ) -> Option<f64> {
        let steps = digitiser.map_or(0.0, |digitiser| {
            digitiser.density_v2_per_hz(scenario.rate_hz())
        });
        let ebn0_db = self.tags[tag].ebn0_db?;
        Some(ebn0_db - 10.0 * libm::log10(1.0 + steps / self.noise_v2_per_hz))
    }

    /// The same with all telegrams of the capture folded.
    pub fn folded_db(
        &self,
        tag: usize,
        digitiser: Option<Digitiser>,
        scenario: &Scenario,
    ) -> Option<f64> {
        self.with_steps_db(tag, digitiser, scenario)
            .map(|db| {
                let sending = scenario.sending(tag, self.tags[tag].link.as_ref());
                let telegrams = sending.telegrams(scenario.duration_s.0, scenario.field_hz());
                folded_ebn0_db(db, telegrams)
            })
            .filter(|db| db.is_finite())
    }
}

/// Tags whose ripple is given outright.
fn given(scenario: &Scenario, signal: &DirectSignal) -> Vec<DerivedTag> {
    let view = match scenario.probe.detector {
        Detector::None => SampleForm::Real,
        Detector::Diode => SampleForm::Envelope,
    };
    let tags = signal.tags.iter().map(|tag| DerivedTag {
        place: None,
        link: None,
        depth: tag.depth,
        angle_deg: tag.angle_deg,
        ripple_v: ripple_rms(view, signal.amplitude, tag.depth, tag.angle_deg),
        ebn0_db: None,
    });
    tags.collect()
}

/// The field's amplitude, V, and the tags, each where it is coupled best.
fn linked(scenario: &Scenario, moving: &Moving) -> Result<(f64, Vec<DerivedTag>), ScenarioError> {
    let antennas = Antennas {
        station: &moving.stations[0],
        neighbour: moving.neighbour.as_ref(),
    };
    let mut field_v = None;
    let mut tags = Vec::new();
    for (index, keys) in scenario.tag.iter().enumerate() {
        let transponder = &moving.transponders[index];
        let place = best_place(keys, transponder, antennas.station);
        let half_bits = half_bits(&keys.sends.telegram(scenario.seed.0, index));
        let link = link(
            &antennas,
            transponder,
            &place.place(),
            &moving.listening,
            &half_bits,
        )?;
        field_v = Some(link.signal_v);
        tags.push(DerivedTag {
            place: Some(place),
            depth: link.sent.depth,
            angle_deg: link.sent.angle_deg,
            ripple_v: link.ripple_v,
            link: Some(link),
            ebn0_db: None,
        });
    }
    let field_v = field_v.unwrap_or_else(|| moving.peak_v(scenario.duration_s.0));
    Ok((field_v, tags))
}

/// Twenty places between two waypoints find the best one within a fortieth of the way.
const PLACES_A_LEG: usize = 20;

/// Where on its way a tag is coupled best to the antenna.
fn best_place(keys: &TagKeys, transponder: &Transponder, station: &Station) -> PlaceKeys {
    let legs = keys.track.len().max(1) - 1;
    let place_at = |step: usize| {
        if legs == 0 {
            return keys.place_at(0.0);
        }
        let leg = (step / PLACES_A_LEG).min(legs - 1);
        let (a, b) = (keys.track[leg].at_ms, keys.track[leg + 1].at_ms);
        let part = (step - PLACES_A_LEG * leg) as f64 / PLACES_A_LEG as f64;
        keys.place_at((a + part * (b - a)) * 1e-3)
    };
    let mut best: Option<(PlaceKeys, f64)> = None;
    for place in (0..=PLACES_A_LEG * legs).map(place_at) {
        let coil = &transponder.coil;
        let mutual_h = coil.mutual_inductance_h(&station.coil, &place.place());
        if best.is_none_or(|best| mutual_h.abs() > best.1) {
            best = Some((place, mutual_h.abs()));
        }
    }
    best.map_or(keys.place, |best| best.0)
}

/// Energy of a bit in V²s, of a ripple of this rms voltage in the samples.
fn bit_energy(scenario: &Scenario, ripple_v: f64) -> f64 {
    let seen = match scenario.probe.detector {
        Detector::None => 0.5,
        Detector::Diode => 1.0,
    };
    let bit_s = 32.0 / scenario.field_hz();
    seen * ripple_v * ripple_v * bit_s
}

/// V²/Hz, one-sided: stated, or from the Eb/N0 of the first tag.
fn noise_density(
    scenario: &Scenario,
    field_v: f64,
    tag: Option<&DerivedTag>,
    other: Option<&OtherSent>,
) -> Result<f64, ScenarioError> {
    let Some(ebn0_db) = scenario.noise.ebn0_db else {
        return Ok((scenario.noise.white_nv_per_rthz * 1e-9).powi(2));
    };
    let energy = match (tag, other) {
        (None, Some(other)) => other.bit_energy(),
        (tag, _) => {
            let ripple_v = tag.map_or(0.0, |tag| tag.ripple_v);
            // Of a ripple at 90° an envelope keeps rounding errors.
            if ripple_v <= 1e-12 * field_v {
                return Err(ScenarioError::Together(
                    "noise.ebn0_db needs a first tag whose ripple the probe sees; give noise.white_nv_per_rthz instead".into(),
                ));
            }
            bit_energy(scenario, ripple_v)
        }
    };
    Ok(energy / libm::pow(10.0, ebn0_db / 10.0))
}
