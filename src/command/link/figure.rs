//! `--figure`: the range map.

use fieldripple::draw::{FIGURE_SIZE, RangeMap, RangePoint, Rows};
use fieldripple::world::scenario::PlaceKeys;
use rayon::prelude::*;

use super::super::figure_file::FigureFile;
use super::setup::Setup;

/// Distances, tilts and offsets that are worked out; lines between them are interpolated.
const DISTANCES: usize = 49;
const TILTS: usize = 37;
const OFFSETS: usize = 41;
/// Distances of the map if the table has only one, mm.
const USUAL_MM: (f64, f64) = (10.0, 200.0);

/// The lists of positions that were asked for.
pub struct Asked<'a> {
    pub distances_mm: &'a [f64],
    pub offsets_mm: &'a [f64],
    pub tilts_deg: &'a [f64],
    pub offset_y_mm: f64,
    pub bearing_deg: f64,
}

/// Draws the range between the nearest and the farthest distance: over the offsets if there are several and one tilt, else at the first offset at
/// every tilt that makes a difference.
pub fn draw(file: &FigureFile, setup: &Setup, asked: &Asked<'_>) -> anyhow::Result<()> {
    let ends = |list: &[f64]| {
        let least = list.iter().copied().fold(f64::INFINITY, f64::min);
        let most = list.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (least < most).then_some((least, most))
    };
    let distances_mm = even(ends(asked.distances_mm).unwrap_or(USUAL_MM), DISTANCES);
    let (offset_mm, tilt_deg) = (asked.offsets_mm[0], asked.tilts_deg[0]);
    let at = |distance_mm, offset_mm, tilt_deg| PlaceKeys {
        distance_mm,
        offset_mm,
        tilt_deg,
        offset_y_mm: asked.offset_y_mm,
        bearing_deg: asked.bearing_deg,
    };
    let (over, rows, where_) = match (ends(asked.offsets_mm), asked.tilts_deg) {
        (Some(offsets), [_]) => (
            Rows::Offsets,
            even(offsets, OFFSETS),
            format!("tilt {tilt_deg}°"),
        ),
        _ => {
            // On the axis of one winding it does not matter to which side the tag is turned.
            let even_sided = offset_mm == 0.0 && setup.idle()?.is_one_winding();
            let least_deg = if even_sided { 0.0 } else { -90.0 };
            (
                Rows::Tilts,
                even((least_deg, 90.0), TILTS),
                format!("offset {offset_mm} mm"),
            )
        }
    };
    let places: Vec<PlaceKeys> = rows
        .iter()
        .flat_map(|&row| {
            distances_mm.iter().map(move |&distance_mm| match over {
                Rows::Tilts => at(distance_mm, offset_mm, row),
                Rows::Offsets => at(distance_mm, row, tilt_deg),
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
        "{:.0} V across the antenna's {:.0} µH, {where_}; tag needs {minimum_v} V; all telegrams of {} s, \
         {:.1} dB needed for odds of {:.0e}",
        setup.idle()?.antenna_v(),
        circuit.inductance_h * 1e6,
        setup.seconds,
        setup.needed_db,
        setup.odds
    );
    let map = RangeMap {
        name: &setup.scenario.name,
        remark: &remark,
        distances_mm: &distances_mm,
        over,
        rows: &rows,
        points: &points,
        needed_db: setup.needed_db,
    };
    file.write(|| map.png(FIGURE_SIZE), || map.svg(FIGURE_SIZE))
}

fn even((from, to): (f64, f64), count: usize) -> Vec<f64> {
    let step = (to - from) / (count - 1) as f64;
    (0..count).map(|n| from + n as f64 * step).collect()
}
