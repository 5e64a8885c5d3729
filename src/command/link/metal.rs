//! What a metal sheet near the antenna does to it.

use std::f64::consts::PI;

use fieldripple::world::link::Station;
use fieldripple::world::scenario::SheetKeys;
use serde_json::{Value, json};

use super::setup::{Position, Setup};

/// A phase of M beyond this is told of: twice as much in the ripple's angle is what a tilt of the tag would not do.
const TOLD_DEG: f64 = 1.0;

/// The antenna beside its sheet against the same one without.
pub struct Metal {
    keys: SheetKeys,
    skin_depth_m: f64,
    alone: Station,
    beside: Station,
    resistance_ohm: f64,
    inductance_change_h: f64,
    current_ratio: f64,
    at_mm: f64,
    field_ratio: f64,
    field_ratio_tuned: f64,
    phase_left_out_deg: f64,
}

impl Metal {
    /// Nothing without a sheet. The field is compared at the first position, along the tag.
    pub fn new(setup: &Setup, positions: &[Position]) -> anyhow::Result<Option<Self>> {
        let (Some(keys), Some(first)) = (setup.scenario.reader.metal_sheet, positions.first())
        else {
            return Ok(None);
        };
        let with = |keys: Option<SheetKeys>| {
            let mut reader = setup.scenario.reader.clone();
            if keys.is_some_and(|keys| keys.tuned_beside) {
                reader.capacitance_pf = None;
            }
            reader.metal_sheet = keys;
            anyhow::Ok(setup.with(reader.station(false)?, setup.transponder))
        };
        let alone = with(None)?;
        let tuned = with(Some(SheetKeys {
            tuned_beside: true,
            ..keys
        }))?;
        let place = first.place.place();
        let coil = &setup.transponder.coil;
        let flux = |setup: &Setup| {
            let mutual_h = coil.mutual_inductance_h(&setup.station.coil, &place);
            anyhow::Ok((mutual_h * setup.idle()?.antenna_a()).abs())
        };
        let phases = positions.iter().map(|position| {
            let place = position.place.place();
            let own = coil.mutual_inductance_h(&setup.station.coil, &place);
            let turned = coil.mutual_quadrature_h(&setup.station.coil, &place);
            (turned / own).atan().to_degrees()
        });
        let field_hz = setup.station.circuit.frequency_hz;
        let added = setup.station.coil.sheet_ohm(field_hz);
        let without = flux(&alone)?;
        Ok(Some(Metal {
            keys,
            skin_depth_m: keys.sheet().skin_depth_m(field_hz),
            resistance_ohm: added.re,
            inductance_change_h: added.im / (2.0 * PI * field_hz),
            current_ratio: setup.idle()?.antenna_a() / alone.idle()?.antenna_a(),
            at_mm: first.place.distance_mm,
            field_ratio: flux(setup)? / without,
            field_ratio_tuned: flux(&tuned)? / without,
            phase_left_out_deg: phases.fold(0.0, |worst: f64, phase| {
                if phase.abs() > worst.abs() {
                    phase
                } else {
                    worst
                }
            }),
            alone: alone.station,
            beside: setup.station.clone(),
        }))
    }

    /// As text.
    pub fn page(&self) -> String {
        let (alone, beside) = (&self.alone.circuit, &self.beside.circuit);
        let side = if self.keys.at_mm < 0.0 {
            "behind the antenna"
        } else {
            "before the antenna"
        };
        let mut page = format!(
            "Metal sheet {} mm {side}, {} mm thick (skin depth {:.2} mm), taken as endless: inductance {:.1} µH instead of {:.1} \
             ({:+.1} %), {:.2} Ω more.\n",
            self.keys.at_mm.abs(),
            self.keys.thickness_mm,
            self.skin_depth_m * 1e3,
            beside.inductance_h * 1e6,
            alone.inductance_h * 1e6,
            100.0 * self.inductance_change_h / alone.inductance_h,
            self.resistance_ohm
        );
        let tuned = if self.keys.tuned_beside {
            "Tuned beside it".into()
        } else {
            format!(
                "It moves the resonance from {:.1} to {:.1} kHz",
                alone.resonance_hz() / 1e3,
                beside.resonance_hz() / 1e3
            )
        };
        page += &format!(
            "  {tuned}: current {:.2} and field along a tag at {} mm {:.2} of what they are without the sheet",
            self.current_ratio, self.at_mm, self.field_ratio
        );
        page += &if self.keys.tuned_beside {
            ".\n".to_string()
        } else {
            format!(
                "; tuned anew beside it, field {:.2}.\n",
                self.field_ratio_tuned
            )
        };
        if self.phase_left_out_deg.abs() > TOLD_DEG {
            page += &format!(
                "  Its loss turns M by up to {:.1}°, which is not in the table: the ripple's angle is off by up to {:.1}° more.\n",
                self.phase_left_out_deg.abs(),
                2.0 * self.phase_left_out_deg.abs()
            );
        }
        page
    }

    /// As JSON.
    pub fn json(&self) -> Value {
        json!({
            "at_mm": self.keys.at_mm,
            "skin_depth_m": self.skin_depth_m,
            "inductance_change_h": self.inductance_change_h,
            "resistance_ohm": self.resistance_ohm,
            "resonance_without_hz": self.alone.circuit.resonance_hz(),
            "current_ratio": self.current_ratio,
            "field_ratio": self.field_ratio,
            "field_ratio_tuned_beside": self.field_ratio_tuned,
            "phase_left_out_deg": self.phase_left_out_deg,
        })
    }
}
