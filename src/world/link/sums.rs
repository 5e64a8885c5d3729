//! The sums people do by hand: turns for an inductance, and what a coil of the wrong inductance does.

use super::super::circuit::{CircuitError, Network};
use super::super::circuit::{Probe, Reader, resonance_hz, settle};
use super::super::coil::{Coil, CoilError, Outline, Winding, Wire};

/// The number of turns, other things equal, whose inductance is nearest to the target, and the coil. Layers, pitches and wire are taken
/// from `winding`; its own number of turns is not used.
pub fn turns_for_inductance(
    outline: Outline,
    winding: Winding,
    wire: Wire,
    target_h: f64,
    frequency_hz: f64,
) -> Result<(u32, Coil), CoilError> {
    if !(target_h.is_finite() && target_h > 0.0) {
        return Err(CoilError::Size {
            what: "the target inductance (H)",
            value: target_h,
        });
    }
    let wind = |turns: u32| -> Result<(Coil, f64), CoilError> {
        let coil = Coil::new(outline, Winding { turns, ..winding }, wire)?;
        let inductance_h = coil.inductance_h(frequency_hz);
        Ok((coil, inductance_h))
    };
    turns_for(target_h, (winding.layers.max(1), u32::MAX), wind)
}

/// The same for a coil and its inductance as `wind` makes them from a number of turns; no more turns than the second of `within` are tried.
pub(super) fn turns_for(
    target_h: f64,
    within: (u32, u32),
    wind: impl Fn(u32) -> Result<(Coil, f64), CoilError>,
) -> Result<(u32, Coil), CoilError> {
    let wind = |turns: u32| wind(turns).map(|(coil, inductance_h)| (turns, coil, inductance_h));
    let (least, most) = within;
    // Inductance grows with every turn: double until above the target, then narrow.
    let mut low = wind(least)?;
    if low.2 >= target_h {
        return Ok((low.0, low.1));
    }
    let mut high = loop {
        let high = wind(low.0.saturating_mul(2).min(most))?;
        if high.2 >= target_h {
            break high;
        }
        if high.0 == most {
            return Ok((high.0, high.1));
        }
        low = high;
    };
    // The root of it grows nearly evenly, so a straight line mostly finds the place at once; the middle serves where it does not.
    let mut straight = true;
    while high.0 - low.0 > 1 {
        let share = (target_h.sqrt() - low.2.sqrt()) / (high.2.sqrt() - low.2.sqrt());
        let share = if straight { share } else { 0.5 };
        let steps = (share * f64::from(high.0 - low.0)).round() as u32;
        let between = wind(low.0 + steps.clamp(1, high.0 - low.0 - 1))?;
        if between.2 >= target_h {
            high = between
        } else {
            low = between
        }
        straight = !straight || high.0 - low.0 <= 2;
    }
    let nearest = if target_h - low.2 < high.2 - target_h {
        low
    } else {
        high
    };
    Ok((nearest.0, nearest.1))
}

/// What happens with another antenna on the same electronics.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct WrongCoil {
    /// Where it resonates now.
    pub resonance_hz: f64,
    /// Antenna current against the right coil's.
    pub current_ratio: f64,
    /// Field at a tag against the right coil's, same shape with turns as √L.
    pub field_ratio: f64,
    /// Current drawn from the driver against the right coil's.
    pub supply_ratio: f64,
}

/// Puts a coil of this inductance and the same Q on a reader made for another one.
pub fn wrong_coil(reader: &Reader, inductance_h: f64) -> Result<WrongCoil, CircuitError> {
    let other = Reader {
        inductance_h,
        coil_ohm: reader.coil_ohm * inductance_h / reader.inductance_h,
        ..*reader
    };
    let currents = |parts: &Reader| -> Result<(f64, f64), CircuitError> {
        let settled = settle(&Network::new(vec![*parts], vec![], &[vec![0.0]])?, &[]);
        let antenna_a = settled.phasor(&Probe::AntennaCurrent { reader: 0 }, 0);
        let antenna_v = settled.phasor(&Probe::AntennaVoltage { reader: 0 }, 0);
        let supply_a = match parts.topology {
            super::super::circuit::Topology::Series => {
                let omega = 2.0 * std::f64::consts::PI * parts.frequency_hz;
                antenna_a + antenna_v * num_complex::Complex64::new(0.0, omega * parts.shunt_f)
            }
            super::super::circuit::Topology::Parallel => {
                let drive = num_complex::Complex64::from_polar(
                    parts.drive_v,
                    parts.drive_phase_deg.to_radians(),
                );
                (drive - antenna_v) / parts.source_ohm
            }
        };
        Ok((antenna_a.norm(), supply_a.norm()))
    };
    let ((right_a, right_supply_a), (wrong_a, wrong_supply_a)) =
        (currents(reader)?, currents(&other)?);
    let current_ratio = wrong_a / right_a;
    Ok(WrongCoil {
        resonance_hz: resonance_hz(inductance_h, reader.capacitance_f),
        current_ratio,
        field_ratio: current_ratio * (inductance_h / reader.inductance_h).sqrt(),
        supply_ratio: wrong_supply_a / right_supply_a,
    })
}

#[cfg(test)]
mod tests {
    use super::super::super::circuit::{Topology, resonance_capacitance_f};
    use super::*;
    use std::f64::consts::PI;

    const FIELD_HZ: f64 = 134_200.0;

    /// Common practice, no source: a 0.82 mH coil on electronics made for 0.55 mH draws little current and reads nothing, removing
    /// turns brings it back. Derived: it resonates near 110 kHz.
    #[test]
    fn the_wrong_coil() {
        let resistance = 2.0 * PI * FIELD_HZ * 0.55e-3 / 20.0;
        let reader = Reader {
            frequency_hz: FIELD_HZ,
            drive_v: 5.0,
            drive_phase_deg: 0.0,
            source_ohm: resistance / 2.0,
            topology: Topology::Series,
            inductance_h: 0.55e-3,
            capacitance_f: resonance_capacitance_f(0.55e-3, FIELD_HZ),
            coil_ohm: resistance / 2.0,
            shunt_f: 0.0,
        };
        let wrong = wrong_coil(&reader, 0.82e-3).unwrap();
        assert!((wrong.resonance_hz - 109_900.0).abs() < 100.0, "{wrong:?}");
        // |Z| = √(R² + X²) with X = ωL·(0.27/0.55) at Q 20: a tenth of the current.
        assert!(
            wrong.current_ratio > 0.09 && wrong.current_ratio < 0.11,
            "{wrong:?}"
        );
        assert!(
            wrong.field_ratio < 0.13 && wrong.supply_ratio < 0.11,
            "{wrong:?}"
        );
        let mut last = wrong.field_ratio;
        for inductance_h in [0.75e-3, 0.65e-3, 0.6e-3, 0.55e-3] {
            let better = wrong_coil(&reader, inductance_h).unwrap().field_ratio;
            assert!(
                better > last,
                "removing turns brings it back: {better} {last}"
            );
            last = better;
        }
        assert!((last - 1.0).abs() < 1e-12);
        let parallel = Reader {
            topology: Topology::Parallel,
            source_ohm: 5e3,
            ..reader
        };
        let loud = wrong_coil(&parallel, 0.82e-3).unwrap();
        assert!(loud.current_ratio < 0.3, "{loud:?}");
    }

    /// The coil found is the best of its neighbours, and inductance goes about with N² (textbook).
    #[test]
    fn turns_for_a_target() {
        let winding = Winding {
            turns: 0,
            layers: 2,
            pitch_m: 0.4e-3,
            layer_pitch_m: 0.4e-3,
        };
        for outline in [
            Outline::Circle { radius_m: 0.05 },
            Outline::Rectangle {
                width_m: 0.2,
                height_m: 0.1,
            },
        ] {
            let wire = Wire::copper(0.3e-3);
            let (turns, coil) =
                turns_for_inductance(outline, winding, wire, 0.55e-3, FIELD_HZ).unwrap();
            let error = (coil.inductance_h(FIELD_HZ) - 0.55e-3).abs();
            for other in [turns - 1, turns + 1] {
                let other = Coil::new(
                    outline,
                    Winding {
                        turns: other,
                        ..winding
                    },
                    wire,
                )
                .unwrap();
                assert!(
                    (other.inductance_h(FIELD_HZ) - 0.55e-3).abs() >= error,
                    "{turns}"
                );
            }
            let (more, _) = turns_for_inductance(outline, winding, wire, 1.1e-3, FIELD_HZ).unwrap();
            let growth = f64::from(more) / f64::from(turns);
            assert!(growth > 1.35 && growth < 1.6, "{turns} {more}");
        }
        let small = Outline::Circle { radius_m: 0.002 };
        let wide = Winding {
            turns: 0,
            layers: 1,
            pitch_m: 0.4e-3,
            layer_pitch_m: 0.4e-3,
        };
        assert!(turns_for_inductance(small, wide, Wire::copper(0.3e-3), 1.0, FIELD_HZ).is_err());
    }
}
