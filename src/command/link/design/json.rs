//! The chosen antenna as JSON.

use serde_json::{Value, json};

use super::{Chosen, Row};

impl Chosen {
    /// As JSON.
    pub fn json(&self) -> Value {
        let row = |row: &Row| {
            let (circuit, winding) = (
                &row.design.station.circuit,
                row.design.station.coil.winding(),
            );
            json!({
                "wire_mm": row.wire_mm,
                "turns": winding.turns,
                "layers": winding.layers,
                "wire_m": row.design.station.coil.wire_length_m(),
                "inductance_h": circuit.inductance_h,
                "coil_ohm": circuit.coil_ohm,
                "coil_q": row.design.coil_q(),
                "capacitors_f": row.design.capacitors_f,
                "capacitance_f": circuit.capacitance_f,
                "resonance_hz": circuit.resonance_hz(),
                "q": circuit.q(),
                "drive_v": circuit.drive_v,
                "series_ohm": row.design.series_ohm,
                "current_a": row.design.current_a,
                "driver_a": row.design.driver_a,
                "antenna_v": row.design.antenna_v,
                "capacitor_v": row.design.capacitor_v,
                "power_w": row.design.power_w,
                "coil_w": row.design.coil_w,
                "series_w": row.design.series_w,
                "range_mm": row.reach_mm,
            })
        };
        json!({
            "chosen": row(&self.best),
            "wires": self.rows.iter().map(row).collect::<Vec<_>>(),
            "refused": self.refused,
            "tag": self.tag,
            "ripple_left": self.ripple_left,
            "ripple_left_at_mm": self.half_reach_mm,
            "ranges": self.reaches.iter().map(|(name, _, reach_mm)| json!({"tag": name, "range_mm": reach_mm})).collect::<Vec<_>>(),
        })
    }
}
