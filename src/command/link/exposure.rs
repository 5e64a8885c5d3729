//! Field at a distance, and the limits it is named beside.

use std::fmt::Write;

use fieldripple::world::coil::Vector;
use fieldripple::world::link::{FieldAt, Idle, Limit, LimitKind, WAVE_OHM, limits, range_m};
use serde_json::{Value, json};

use super::setup::Setup;

/// Farther than this nobody looks for the end of a field, m.
const FARTHEST_M: f64 = 10.0;

/// Field at a distance.
struct At {
    at_m: f64,
    on_axis: FieldAt,
    /// In whichever direction, of several windings.
    strongest: Option<FieldAt>,
}

/// What is computed for a limit.
enum Computed {
    Field(Option<FieldAt>),
    MicrovoltPerMetre(f64),
    /// How far the field is above it, from the middle of one winding or of all; the field there, or beyond all windings; and the strongest on
    /// their axes.
    AboveWithin(Option<f64>, FieldAt, FieldAt),
}

/// With no tag near.
pub struct Exposure {
    several: bool,
    metal: bool,
    reach_m: f64,
    fields: Vec<At>,
    limits: Vec<(Limit, Computed)>,
}

impl Exposure {
    pub fn new(setup: &Setup, distances_m: &[f64]) -> anyhow::Result<Self> {
        let idle = setup.idle()?;
        let several = !idle.is_one_winding();
        let reach_m = idle.extent_m().1;
        let fields = distances_m.iter().map(|&at_m| At {
            at_m,
            on_axis: idle.field_of_turns_at(Vector::new(0.0, 0.0, at_m)),
            strongest: several.then(|| idle.strongest_at(at_m)).flatten(),
        });
        let limits = limits(setup.station.circuit.frequency_hz).into_iter();
        Ok(Exposure {
            several,
            metal: setup.scenario.reader.metal_sheet.is_some(),
            reach_m,
            fields: fields.collect(),
            limits: limits
                .map(|limit| (limit, computed(&idle, limit, several, reach_m)))
                .collect(),
        })
    }

    /// As text.
    pub fn page(&self) -> String {
        let mut page = String::from("\n");
        let metal = if self.metal {
            "; of its turns alone, since how far the metal sheet reaches is not known"
        } else {
            ""
        };
        page += &if self.several {
            "Strongest field at a distance from the middle of all windings, in whichever direction (rms, no tag near, computed, no measurement):\n"
                .to_string()
        } else {
            format!(
                "Field on the axis of the antenna (rms, no tag near, computed, no measurement{metal}):\n"
            )
        };
        for At {
            at_m,
            on_axis,
            strongest,
        } in &self.fields
        {
            let field = if self.several {
                *strongest
            } else {
                Some(*on_axis)
            };
            page += &match field {
                None => format!("{at_m:>8} m  within reach of the windings\n"),
                Some(field) => format!(
                    "{at_m:>8} m {:>10.3e} A/m {:>10.3e} µT {:>8.1} dBµA/m\n",
                    field.a_per_m, field.ut, field.db_ua_per_m
                ),
            };
        }
        page += "Named for comparison; conditions differ by country, local law decides:\n";
        for (limit, computed) in &self.limits {
            let _ = writeln!(page, "  {}: {}", limit.name, self.beside(limit, computed));
        }
        page += "  EN 50364 covers exposure by such readers. Keep strong fields away from active implants.\n";
        page
    }

    fn beside(&self, limit: &Limit, computed: &Computed) -> String {
        let value = limit.value;
        match (limit.kind, computed) {
            (LimitKind::MagneticField { at_m }, Computed::Field(field)) => {
                let field = field.map_or("within reach of the windings".into(), |field| {
                    format!("computed {:.1}", field.db_ua_per_m)
                });
                format!("{value:.1} dBµA/m at {at_m} m; {field}")
            }
            (LimitKind::ElectricField { at_m }, Computed::MicrovoltPerMetre(volts)) => format!(
                "{value:.1} µV/m at {at_m} m; computed {volts:.3} (377 Ω times the field a loop measures)"
            ),
            (_, Computed::AboveWithin(Some(at_m), ..)) => {
                let of = if self.several {
                    "of the middle of all windings"
                } else {
                    "on the axis"
                };
                format!(
                    "{value} µT rms; computed field is above it within {:.0} mm {of}",
                    at_m * 1e3
                )
            }
            (_, Computed::AboveWithin(None, outside, on_axes)) if self.several => format!(
                "{value} µT rms; computed up to {:.1} µT on the windings' axes, and at most {:.1} µT beyond {:.0} mm from the middle of all, where they end",
                on_axes.ut,
                outside.ut,
                self.reach_m * 1e3
            ),
            (_, Computed::AboveWithin(None, field, _)) => format!(
                "{value} µT rms; computed {:.2} µT in the middle of the antenna",
                field.ut
            ),
            // A limit is compared with what it is about.
            _ => format!("{value}"),
        }
    }

    /// The fields as JSON.
    pub fn fields_json(&self) -> Value {
        let fields = self.fields.iter().map(|at| {
            let strongest = at.strongest;
            json!({
                "at_m": at.at_m,
                "a_per_m_rms": at.on_axis.a_per_m,
                "ut_rms": at.on_axis.ut,
                "db_ua_per_m": at.on_axis.db_ua_per_m,
                "strongest_a_per_m_rms": strongest.map(|field| field.a_per_m),
                "strongest_ut_rms": strongest.map(|field| field.ut),
                "strongest_db_ua_per_m": strongest.map(|field| field.db_ua_per_m),
            })
        });
        fields.collect()
    }

    /// The limits as JSON.
    pub fn limits_json(&self) -> Value {
        let limits = self.limits.iter().map(|(limit, computed)| {
            let (name, value) = (limit.name, limit.value);
            match (limit.kind, computed) {
                (LimitKind::MagneticField { at_m }, Computed::Field(field)) => json!({
                    "name": name, "at_m": at_m, "db_ua_per_m": value,
                    "computed_db_ua_per_m": field.map(|field| field.db_ua_per_m),
                }),
                (LimitKind::ElectricField { at_m }, Computed::MicrovoltPerMetre(volts)) => json!({
                    "name": name, "at_m": at_m, "uv_per_m": value, "computed_uv_per_m": volts,
                }),
                (_, Computed::AboveWithin(at_m, _, on_axes)) => json!({
                    "name": name, "ut_rms": value, "above_within_m": at_m, "computed_on_axes_ut": on_axes.ut,
                }),
                _ => json!({"name": name}),
            }
        });
        limits.collect()
    }
}

fn computed(idle: &Idle<'_>, limit: Limit, several: bool, reach_m: f64) -> Computed {
    match limit.kind {
        LimitKind::MagneticField { at_m } => Computed::Field(idle.judged_at(at_m)),
        LimitKind::ElectricField { at_m } => {
            Computed::MicrovoltPerMetre(1e6 * WAVE_OHM * idle.travelling_a_per_m(at_m))
        }
        LimitKind::FluxDensity => {
            // A hair beyond the farthest turn, if there are several.
            let nearest_m = if several { 1.001 * reach_m } else { 0.0 };
            let field = |at_m: f64| idle.judged_at(at_m).unwrap_or_default();
            let within = range_m(nearest_m, FARTHEST_M, |at_m| field(at_m).ut >= limit.value);
            let on_axes = if several {
                idle.strongest_on_axes()
            } else {
                field(nearest_m)
            };
            Computed::AboveWithin(within, field(nearest_m), on_axes)
        }
    }
}
