//! The bench in numbers, for circuits that the page works out on its own where it does not hold the program's code.

use serde_json::{Value, json};

use super::super::LessonError;
use super::super::settings::{Settings, typed};
use crate::play::halves;
use crate::world::circuit::Modulator;
use crate::world::scenario::{PlaceKeys, Scenario};

/// Stops of the distance slider, mm.
const DISTANCES_MM: std::ops::RangeInclusive<u32> = 2..=30;
/// From one to the next.
const DISTANCE_STEP_MM: f64 = 5.0;
/// Stops of the tilt slider.
const TILTS: std::ops::RangeInclusive<u32> = 0..=18;
/// From one to the next.
const TILT_STEP_DEG: f64 = 5.0;

/// Parts of the default bench, and the mutual inductance at every place that the sliders reach.
pub(super) fn data(settings: &Settings) -> Result<Value, LessonError> {
    let scenario = Scenario::read("[[tag]]\n", &[])?;
    let station = scenario.reader.station(false)?;
    let transponder = scenario.tag[0].transponder(scenario.field_hz());
    let reader = station.circuit;
    let modulation_ohm = match transponder.circuit.modulator {
        Modulator::Resistor { ohm } | Modulator::Capacitor { ohm, .. } => ohm,
    };
    let mutual_nh: Vec<Vec<f64>> = DISTANCES_MM
        .map(|distance| {
            TILTS
                .map(|tilt| {
                    let place = PlaceKeys {
                        distance_mm: DISTANCE_STEP_MM * f64::from(distance),
                        offset_mm: 0.0,
                        tilt_deg: TILT_STEP_DEG * f64::from(tilt),
                        ..PlaceKeys::default()
                    };
                    let mutual_h = transponder
                        .coil
                        .mutual_inductance_h(&station.coil, &place.place());
                    // A millionth of the largest is far below what can be seen.
                    (1e12 * mutual_h).round() / 1e3
                })
                .collect()
        })
        .collect();
    Ok(json!({
        "field_hz": reader.frequency_hz,
        "drive_v": reader.drive_v,
        "source_ohm": reader.source_ohm,
        "reader_h": reader.inductance_h,
        "reader_ohm": reader.coil_ohm,
        "tag_h": transponder.coil.inductance_h,
        "tag_q": transponder.coil.q,
        "chip_ohm": transponder.circuit.chip_ohm,
        "load_ohm": modulation_ohm,
        "minimum_v": transponder.circuit.minimum_v,
        "distance_from_mm": DISTANCE_STEP_MM * f64::from(*DISTANCES_MM.start()),
        "distance_step_mm": DISTANCE_STEP_MM,
        "tilt_step_deg": TILT_STEP_DEG,
        "mutual_nh": mutual_nh,
        "number": typed(&settings.identity),
        "halves": halves(&settings.telegram()),
    }))
}
