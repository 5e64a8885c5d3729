//! An antenna of one inductance and wire, on the bench it is for.

use anyhow::Context;
use fieldripple::world::link::{Design, Near, Wanted, design, range_m};
use fieldripple::world::scenario::{PlaceKeys, Scenario};
use rayon::prelude::*;

use super::super::setup::Setup;
use super::{DesignArguments, Row};

/// What is asked, and of which bench.
pub struct Asked<'a> {
    pub arguments: &'a DesignArguments,
    pub scenario: &'a Scenario,
    pub seconds: Option<f64>,
    pub odds: f64,
}

/// An antenna and the bench with it.
pub struct Candidate {
    pub design: Design,
    pub setup: Setup,
}

/// Inductances tried for a wanted range: half an octave apart from 100 µH to 4.5 mH.
const TRIED: std::ops::RangeInclusive<i32> = 0..=11;
const LEAST_UH: f64 = 100.0;

impl Asked<'_> {
    /// Works out the antenna.
    pub fn candidate(&self, inductance_uh: f64, wire_mm: f64) -> anyhow::Result<Candidate> {
        let arguments = self.arguments;
        let mut scenario = self.scenario.clone();
        let reader = &scenario.reader;
        let cable = reader.cable;
        let wanted = Wanted {
            inductance_h: inductance_uh * 1e-6,
            near: Near {
                sheet: reader.metal_sheet.map(|keys| keys.sheet()),
                series_h: cable.map_or(0.0, |cable| cable.henry()),
                across_f: cable.map_or(0.0, |cable| cable.farad())
                    + reader.self_capacitance_pf * 1e-12,
            },
            outline: reader.coil.outline(),
            room_m: arguments.room * 1e-3,
            field_hz: scenario.field_hz(),
            supply_v: arguments.supply,
            bridge: arguments.bridge.bridge(),
            driver_ohm: arguments.driver_ohm,
            limit_a: arguments.limit_current,
            highest_q: arguments.highest_q,
        };
        let design = design(&wanted, wire_mm * 1e-3)?;
        let circuit = &design.station.circuit;
        let winding = design.station.coil.winding();
        let reader = &mut scenario.reader;
        reader.drive_v = rounded(circuit.drive_v);
        reader.source_ohm = rounded(circuit.source_ohm);
        reader.topology = circuit.topology;
        reader.capacitance_pf = Some(rounded(circuit.capacitance_f * 1e12));
        (reader.inductance_uh, reader.coil_ohm, reader.coil_q) = (None, None, None);
        reader.tuned_hz = None;
        reader.coil.turns = winding.turns;
        reader.coil.layers = winding.layers;
        reader.coil.wire_mm = wire_mm;
        (reader.coil.pitch_mm, reader.coil.layer_pitch_mm) = (None, None);
        let station = design.station.clone();
        let setup = Setup::of(scenario, station, self.seconds, self.odds)?;
        Ok(Candidate { design, setup })
    }

    /// The antenna and how far it reads.
    pub fn row(&self, inductance_uh: f64, wire_mm: f64) -> anyhow::Result<Row> {
        let Candidate { design, setup } = self.candidate(inductance_uh, wire_mm)?;
        Ok(Row {
            wire_mm,
            design,
            reach_mm: reach_mm(&setup),
            setup,
        })
    }

    /// The inductance of the antenna that reads at this distance with the least power.
    pub fn least_power(&self, reach_mm: f64) -> anyhow::Result<f64> {
        let tried: Vec<(f64, f64)> = TRIED
            .map(|step| (LEAST_UH * 2f64.powf(f64::from(step) / 2.0)).round())
            .flat_map(|uh| self.arguments.wires.0.iter().map(move |&wire| (uh, wire)))
            .collect();
        let best = tried
            .into_par_iter()
            .filter_map(|(inductance_uh, wire_mm)| {
                let candidate = self.candidate(inductance_uh, wire_mm).ok()?;
                let reads = candidate.setup.at(on_axis(reach_mm)).ok()?.reads;
                reads.then_some((inductance_uh, candidate.design.power_w))
            })
            // Of equal ones the first, whatever the number of threads.
            .min_by(|a, b| a.1.total_cmp(&b.1).then(a.0.total_cmp(&b.0)));
        best.map(|best| best.0).with_context(|| {
            format!(
                "no antenna of this size, supply and current from 100 to 4500 µH reads the tag at {reach_mm} mm: take a larger one, more \
                 current (--limit-current) or more supply (--supply)"
            )
        })
    }
}

/// As many digits as are printed, so that what is printed gives the same bench again.
fn rounded(value: f64) -> f64 {
    format!("{value:.6e}").parse().unwrap_or(value)
}

pub fn on_axis(distance_mm: f64) -> PlaceKeys {
    PlaceKeys {
        distance_mm,
        ..PlaceKeys::default()
    }
}

/// Distances over which a range is looked for, a tenth apart.
const NEAREST_M: f64 = 2e-3;
const FARTHEST_M: f64 = 3.0;
const STEP: f64 = 1.1;

/// How far on the axis the tag is read, 0 where it is not: the farthest place, also where one nearer is not read (a tag beside the winding
/// of a large antenna may hear less than one further out).
pub fn reach_mm(setup: &Setup) -> f64 {
    let reads = |at_m: f64| setup.at(on_axis(at_m * 1e3)).is_ok_and(|there| there.reads);
    let mut near_m = FARTHEST_M;
    while near_m > NEAREST_M && !reads(near_m) {
        near_m /= STEP;
    }
    range_m(near_m, (near_m * STEP).min(FARTHEST_M), reads).map_or(0.0, |at_m| at_m * 1e3)
}
