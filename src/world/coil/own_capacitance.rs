//! The capacitance of a coil's own turns, where a table has it.

use super::{Coil, Outline};

/// Medhurst, Wireless Engineer 24 (1947) 35 and 80, table of C/D in pF/cm over length/diameter (from memory): measured on single layers with
/// one end earthed, given to 5 %.
const MEDHURST: [(f64, f64); 22] = [
    (0.1, 0.96),
    (0.15, 0.79),
    (0.2, 0.7),
    (0.25, 0.64),
    (0.3, 0.6),
    (0.4, 0.54),
    (0.5, 0.5),
    (0.7, 0.47),
    (1.0, 0.46),
    (1.5, 0.47),
    (2.0, 0.5),
    (3.0, 0.61),
    (4.0, 0.72),
    (5.0, 0.81),
    (6.0, 0.92),
    (8.0, 1.12),
    (10.0, 1.32),
    (15.0, 1.86),
    (20.0, 2.36),
    (30.0, 3.4),
    (40.0, 4.6),
    (50.0, 5.8),
];

impl Coil {
    /// Capacitance as if across a single layer of round turns, F; nothing for other windings, several in series, and for layers shorter than a tenth of their
    /// diameter or longer than fifty, which the table has not. Several layers have many times as much, and it goes with how they are wound: it
    /// is measured (the coil alone resonates at 1/(2π√(LC))).
    pub fn own_capacitance_f(&self) -> Option<f64> {
        let (Outline::Circle { radius_m }, 1, []) =
            (self.outline(), self.winding().layers, self.loops())
        else {
            return None;
        };
        let diameter_m = 2.0 * radius_m;
        let ratio = f64::from(self.winding().turns) * self.winding().pitch_m / diameter_m;
        let next = MEDHURST.iter().position(|row| row.0 >= ratio)?;
        let (low, high) = (*MEDHURST.get(next.checked_sub(1)?)?, MEDHURST[next]);
        let share = (ratio - low.0) / (high.0 - low.0);
        Some((low.1 + share * (high.1 - low.1)) * diameter_m * 100.0 * 1e-12)
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Winding, Wire};
    use super::*;

    fn coil(turns: u32, layers: u32) -> Coil {
        let winding = Winding {
            turns,
            layers,
            pitch_m: 1e-3,
            layer_pitch_m: 1e-3,
        };
        Coil::new(
            Outline::Circle { radius_m: 0.02 },
            winding,
            Wire::copper(0.5e-3),
        )
        .unwrap()
    }

    /// Medhurst's formula, C/D = 0.1126·l/D + 0.08 + 0.27/√(l/D) (from memory), is said to hold his table to a few per cent.
    #[test]
    fn the_formula_that_goes_with_the_table() {
        for turns in [5, 12, 25, 40, 90, 300] {
            let ratio = f64::from(turns) * 1e-3 / 0.04;
            let want = (0.1126 * ratio + 0.08 + 0.27 / ratio.sqrt()) * 4e-12;
            let got = coil(turns, 1).own_capacitance_f().unwrap();
            assert!((got / want - 1.0).abs() < 0.06, "{turns}: {got} {want}");
        }
        assert!(
            coil(40, 2).own_capacitance_f().is_none() && coil(3, 1).own_capacitance_f().is_none()
        );
    }
}
