//! The coil sums people do by hand.

use fieldripple::world::circuit::resonance_capacitance_f;
use fieldripple::world::link::{Station, WrongCoil, turns_for_inductance, wrong_coil};
use fieldripple::world::scenario::Scenario;

use super::Arguments;

/// Results of the sums that were asked for, each with the inductance in µH it is for.
pub struct Sums {
    /// Capacitor in F.
    pub capacitor: Option<(f64, f64)>,
    /// Turns and the inductance in H they make.
    pub turns: Option<(f64, u32, f64)>,
    pub wrong: Option<(f64, WrongCoil)>,
}

impl Sums {
    pub fn new(
        arguments: &Arguments,
        scenario: &Scenario,
        station: &Station,
    ) -> anyhow::Result<Self> {
        let field_hz = scenario.field_hz();
        let capacitor = arguments
            .capacitor_for
            .map(|uh| (uh, resonance_capacitance_f(uh * 1e-6, field_hz)));
        let turns = match arguments.turns_for {
            None => None,
            Some(uh) => {
                let coil = &station.coil;
                let (turns, coil) = turns_for_inductance(
                    coil.outline(),
                    coil.winding(),
                    coil.wire(),
                    uh * 1e-6,
                    field_hz,
                )?;
                Some((uh, turns, coil.inductance_h(field_hz)))
            }
        };
        let wrong = match arguments.wrong_coil {
            None => None,
            Some(uh) => Some((uh, wrong_coil(&station.circuit, uh * 1e-6)?)),
        };
        Ok(Self {
            capacitor,
            turns,
            wrong,
        })
    }
}
