//! The result of `link` as one JSON object.

use serde_json::{Value, json};

use super::{Position, Report};

/// A ripple of nothing has no decibels: null, not −∞.
fn number(value: f64) -> Value {
    if value.is_finite() {
        json!(value)
    } else {
        Value::Null
    }
}

pub fn object(report: &Report) -> String {
    let circuit = &report.setup.station.circuit;
    let tag = &report.setup.transponder;
    let object = json!({
        "schema": "fieldripple.link/1",
        "reader": {
            "field_hz": circuit.frequency_hz,
            "inductance_h": circuit.inductance_h,
            "coil_ohm": circuit.coil_ohm,
            "capacitance_f": circuit.capacitance_f,
            "across_f": circuit.shunt_f,
            "own_capacitance_f": report.setup.station.coil.own_capacitance_f(),
            "resonance_hz": circuit.resonance_hz(),
            "q": circuit.q(),
            "antenna_v": report.driven.first().antenna_v,
            "antenna_a": report.driven.first().antenna_a,
        },
        "antennas": report.driven.json(),
        "tag": {
            "inductance_h": tag.coil.inductance_h,
            "effective_area_m2": tag.coil.effective_area_m2,
            "rod": report.setup.tag.rod.and_then(|keys| keys.rod().work_out().ok()).map(|on_rod| json!({
                "apparent_permeability": on_rod.apparent_permeability,
            })),
            "capacitance_f": tag.circuit.capacitance_f,
            "resonance_hz": tag.circuit.resonance_hz(),
            "minimum_v": tag.circuit.minimum_v,
        },
        "metal_sheet": report.metal.as_ref().map(super::metal::Metal::json),
        "seconds": report.setup.seconds,
        "odds": report.setup.odds,
        "needed_folded_ebn0_db": report.setup.needed_db,
        "remarks": super::text::remarks(report),
        "positions": report.positions.iter().map(position).collect::<Vec<_>>(),
        "field": report.exposure.fields_json(),
        "limits_for_comparison": report.exposure.limits_json(),
        "design": report.chosen.as_ref().map(super::design::Chosen::json),
        "tolerance": report.tolerances.as_ref().map(super::tolerance::Tolerances::json),
        "capacitor_for": report.sums.capacitor.map(|(uh, farad)| json!({"inductance_uh": uh, "capacitance_pf": farad * 1e12})),
        "turns_for": report.sums.turns.map(|(uh, turns, got)| json!({"inductance_uh": uh, "turns": turns, "makes_uh": got * 1e6})),
        "wrong_coil": report.sums.wrong.map(|(uh, wrong)| json!({
            "inductance_uh": uh,
            "resonance_hz": wrong.resonance_hz,
            "current_ratio": wrong.current_ratio,
            "field_ratio": wrong.field_ratio,
            "supply_ratio": wrong.supply_ratio,
        })),
    });
    format!("{object}\n")
}

fn position(position: &Position) -> Value {
    let link = &position.link;
    json!({
        "distance_mm": position.place.distance_mm,
        "offset_mm": position.place.offset_mm,
        "offset_y_mm": position.place.offset_y_mm,
        "bearing_deg": position.place.bearing_deg,
        "telegrams": position.telegrams,
        "tilt_deg": position.place.tilt_deg,
        "mutual_h": link.mutual_h,
        "coupling": link.coupling,
        "tag_v": link.tag_v,
        "powered": link.powered,
        "depth": link.sent.depth,
        "angle_deg": link.sent.angle_deg,
        "settled_depth": link.settled.depth,
        "settled_angle_deg": link.settled.angle_deg,
        "antenna_v": link.antenna_v,
        "antenna_a": link.antenna_a,
        "signal_v": link.signal_v,
        "ripple_v_rms": link.ripple_v,
        "field_a_per_m_rms": position.field.a_per_m,
        "field_ut_rms": position.field.ut,
        "ebn0_db": number(position.ebn0_db),
        "folded_ebn0_db": number(position.folded_ebn0_db),
        "reads": position.reads,
    })
}
