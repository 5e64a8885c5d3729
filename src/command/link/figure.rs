//! `--figure`: the range map.

use fieldripple::draw::{FIGURE_SIZE, RangeMap, RangePoint};
use fieldripple::world::scenario::PlaceKeys;
use rayon::prelude::*;

use super::super::figure_file::FigureFile;
use super::setup::Setup;

/// Distances and tilts that are worked out; lines between them are interpolated.
const DISTANCES: usize = 49;
const TILTS: usize = 37;
/// Distances of the map if the table has only one, mm.
const USUAL_MM: (f64, f64) = (10.0, 200.0);

/// Draws the range between the nearest and the farthest of these distances at one offset, at every tilt that makes a difference.
pub fn draw(
    file: &FigureFile,
    setup: &Setup,
    distances_mm: &[f64],
    offset_mm: f64,
) -> anyhow::Result<()> {
    let nearest = distances_mm.iter().copied().fold(f64::INFINITY, f64::min);
    let farthest = distances_mm.iter().copied().fold(0.0, f64::max);
    let (nearest, farthest) = if nearest < farthest {
        (nearest, farthest)
    } else {
        USUAL_MM
    };
    // On the axis it does not matter to which side the tag is turned.
    let even_sided = offset_mm == 0.0 && setup.neighbour.is_none();
    let least_deg = if even_sided { 0.0 } else { -90.0 };
    let distances_mm = even(nearest, farthest, DISTANCES);
    let tilts_deg = even(least_deg, 90.0, TILTS);
    let usual = setup.tag.place_at(0.0);
    let places: Vec<PlaceKeys> = tilts_deg
        .iter()
        .flat_map(|&tilt_deg| {
            distances_mm.iter().map(move |&distance_mm| PlaceKeys {
                distance_mm,
                offset_mm,
                tilt_deg,
                ..usual
            })
        })
        .collect();
    let minimum_v = setup.transponder.circuit.minimum_v;
    let points = places
        .into_par_iter()
        .map(|place| {
            let position = setup.at(place)?;
            Ok(RangePoint {
                power_db: 20.0 * (position.link.tag_v / minimum_v).log10(),
                folded_ebn0_db: position.folded_ebn0_db,
            })
        })
        .collect::<anyhow::Result<Vec<RangePoint>>>()?;
    let circuit = &setup.station.circuit;
    let remark = format!(
        "{:.0} V across the antenna's {:.0} µH, offset {offset_mm} mm; tag needs {minimum_v} V; all telegrams of {} s, \
         {:.1} dB needed for odds of {:.0e}",
        setup.idle()?.antenna_v,
        circuit.inductance_h * 1e6,
        setup.seconds,
        setup.needed_db,
        setup.odds
    );
    let map = RangeMap {
        name: &setup.scenario.name,
        remark: &remark,
        distances_mm: &distances_mm,
        tilts_deg: &tilts_deg,
        points: &points,
        needed_db: setup.needed_db,
    };
    file.write(|| map.png(FIGURE_SIZE), || map.svg(FIGURE_SIZE))
}

fn even(from: f64, to: f64, count: usize) -> Vec<f64> {
    let step = (to - from) / (count - 1) as f64;
    (0..count).map(|n| from + n as f64 * step).collect()
}
