//! An antenna worked out from what is wanted of it: turns, capacitors that can be bought, resistor, voltages and currents.

use super::super::circuit::{Reader, Topology, resonance_capacitance_f};
use super::super::coil::{Coil, CoilError, Outline, Sheet, Winding, Wire};
use super::sums::turns_for;
use super::{Antennas, LinkError, Station};
use num_complex::Complex64;
use std::f64::consts::PI;
use thiserror::Error;

/// What drives the antenna from a supply.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bridge {
    /// A square wave between 0 and the supply.
    Half,
    /// Two of them against each other.
    Full,
}

impl Bridge {
    /// Peak of the square wave's fundamental: 2V/π, or 4V/π (Fourier, textbook).
    pub fn drive_v(self, supply_v: f64) -> f64 {
        match self {
            Bridge::Half => 2.0 * supply_v / PI,
            Bridge::Full => 4.0 * supply_v / PI,
        }
    }
}

/// What is near an antenna, and what is across it beside its tuning capacitor.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Near {
    /// A metal sheet.
    pub sheet: Option<Sheet>,
    /// Inductance in series with the coil, H: a cable's.
    pub series_h: f64,
    /// Capacitance across the antenna, F: a cable's, the turns' own.
    pub across_f: f64,
}

/// What is asked of an antenna in series resonance.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// Inductance of the antenna in its place, with what is near it.
    pub inductance_h: f64,
    /// What is near it.
    pub near: Near,
    /// Shape and size of the mean turn.
    pub outline: Outline,
    /// Room along the axis for one layer, m.
    pub room_m: f64,
    /// Frequency of the field.
    pub field_hz: f64,
    /// Supply of the driver, V.
    pub supply_v: f64,
    /// Kind of driver.
    pub bridge: Bridge,
    /// Resistance of the driver's switches, Ω.
    pub driver_ohm: f64,
    /// Most peak current from the driver, A.
    pub limit_a: f64,
    /// Highest loaded Q: the higher, the less of the ripple is left.
    pub highest_q: f64,
}

/// An antenna with parts that can be bought.
#[derive(Clone, Debug, PartialEq)]
pub struct Design {
    /// The coil and the circuit with the parts below.
    pub station: Station,
    /// Capacitors in parallel, F.
    pub capacitors_f: Vec<f64>,
    /// Resistor in series with the driver, Ω; 0 where none is needed.
    pub series_ohm: f64,
    /// Peak voltage across the antenna, with no tag near.
    pub antenna_v: f64,
    /// Peak voltage across the capacitors.
    pub capacitor_v: f64,
    /// Peak current of the antenna.
    pub current_a: f64,
    /// Peak current of capacitors and driver: the same, unless something is across the antenna.
    pub driver_a: f64,
    /// Mean power from the supply, W.
    pub power_w: f64,
    /// Of it in the coil's wire, W.
    pub coil_w: f64,
    /// Of it in the resistor, W.
    pub series_w: f64,
}

impl Design {
    /// Quality of the coil alone, in its place.
    pub fn coil_q(&self) -> f64 {
        let circuit = &self.station.circuit;
        2.0 * PI * circuit.frequency_hz * circuit.inductance_h / circuit.coil_ohm
    }
}

/// Why there is no such antenna.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum DesignError {
    /// The coil cannot be wound.
    #[error(transparent)]
    Coil(#[from] CoilError),
    /// Its turns do not fit.
    #[error(
        "{layers} layers of {wire_mm} mm wire, {room_mm} mm long, are not enough turns: it needs more room, thinner wire or less inductance"
    )]
    Room {
        /// Layers tried.
        layers: u32,
        /// Wire.
        wire_mm: f64,
        /// Room along the axis.
        room_mm: f64,
    },
    /// More across the antenna than tunes it.
    #[error(
        "cable and turns have {across_pf:.0} pF across the antenna, but {whole_pf:.0} pF in all tune it: less inductance, or a shorter cable, is needed"
    )]
    Across {
        /// What is there.
        across_pf: f64,
        /// What tunes it.
        whole_pf: f64,
    },
    /// The circuits cannot be joined.
    #[error(transparent)]
    Link(#[from] LinkError),
}

/// More layers than this are no antenna any more but a bobbin.
const MOST_LAYERS: u32 = 12;
/// From turn to turn over the diameter of the copper (common practice, no source).
const PITCH: f64 = 1.1;

/// Winds the wanted inductance of this wire in as few layers as have room, tunes it with parts in parallel and takes as much
/// resistance in series as limits of current and Q ask for. All results are those with the chosen parts, not the wanted ones.
///
/// # Errors
/// [`DesignError`]: no such coil.
pub fn design(wanted: &Wanted, wire_m: f64) -> Result<Design, DesignError> {
    let coil = wind(wanted, wire_m)?;
    let inductance_h = wanted.in_place_h(&coil);
    let coil_ohm = coil.resistance_ohm(wanted.field_hz) + coil.sheet_ohm(wanted.field_hz).re;
    let omega = 2.0 * PI * wanted.field_hz;
    let (whole_f, across_f) = (
        resonance_capacitance_f(inductance_h, wanted.field_hz),
        wanted.near.across_f,
    );
    if across_f >= whole_f {
        return Err(DesignError::Across {
            across_pf: across_f * 1e12,
            whole_pf: whole_f * 1e12,
        });
    }
    let capacitors_f = parallel_values(whole_f - across_f);
    let capacitance_f: f64 = capacitors_f.iter().sum();
    let drive_v = wanted.bridge.drive_v(wanted.supply_v);
    // Of the antenna's current this share comes through the driver, and its square of the driver's loss counts (a tapped capacitor, textbook).
    let share = capacitance_f / (capacitance_f + across_f);
    let least_ohm =
        (drive_v / wanted.limit_a).max(omega * inductance_h / wanted.highest_q / (share * share));
    let missing_ohm = least_ohm - coil_ohm / (share * share) - wanted.driver_ohm;
    let series_ohm = if missing_ohm > 0.0 {
        preferred_above(missing_ohm)
    } else {
        0.0
    };
    let circuit = Reader {
        frequency_hz: wanted.field_hz,
        drive_v,
        drive_phase_deg: 0.0,
        source_ohm: wanted.driver_ohm + series_ohm,
        topology: Topology::Series,
        inductance_h,
        capacitance_f,
        coil_ohm,
        shunt_f: across_f,
    };
    let station = Station { coil, circuit };
    let idle = Antennas::alone(&station).idle().map_err(LinkError::from)?;
    let (antenna_v, current_a) = (idle.antenna_v(), idle.antenna_a());
    let own_ohm = Complex64::new(coil_ohm, omega * inductance_h);
    let beside = Complex64::new(0.0, omega * across_f) * own_ohm;
    let driver_a = current_a * (1.0 + beside).norm();
    let (coil_w, per_ohm) = (
        current_a * current_a / 2.0 * coil_ohm,
        driver_a * driver_a / 2.0,
    );
    Ok(Design {
        capacitor_v: driver_a / (omega * capacitance_f),
        power_w: coil_w + per_ohm * circuit.source_ohm,
        coil_w,
        series_w: per_ohm * series_ohm,
        antenna_v,
        current_a,
        driver_a,
        station,
        capacitors_f,
        series_ohm,
    })
}

impl Wanted {
    /// A coil where it is to be.
    fn placed(&self, coil: Coil) -> Result<Coil, CoilError> {
        match &self.near.sheet {
            Some(sheet) => coil.beside(sheet, self.field_hz),
            None => Ok(coil),
        }
    }

    /// Inductance that a coil beside its sheet has with all that is in series.
    fn in_place_h(&self, coil: &Coil) -> f64 {
        let by_sheet_h = coil.sheet_ohm(self.field_hz).im / (2.0 * PI * self.field_hz);
        coil.inductance_h(self.field_hz) + by_sheet_h + self.near.series_h
    }
}

/// As few layers as have room.
fn wind(wanted: &Wanted, wire_m: f64) -> Result<Coil, DesignError> {
    let (wire, pitch_m) = (Wire::copper(wire_m), PITCH * wire_m);
    let fits = (wanted.room_m / pitch_m).floor() as u32;
    let mut refused = None;
    for layers in 1..=MOST_LAYERS {
        let winding = |turns: u32| Winding {
            turns,
            layers,
            pitch_m,
            layer_pitch_m: pitch_m,
        };
        // Full layers that make too little need no counting of turns.
        let made = |turns: u32| -> Result<(Coil, f64), CoilError> {
            let coil = wanted.placed(Coil::new(wanted.outline, winding(turns), wire)?)?;
            let inductance_h = wanted.in_place_h(&coil);
            Ok((coil, inductance_h))
        };
        match made(fits * layers) {
            Ok((_, inductance_h)) if inductance_h >= wanted.inductance_h => {}
            Ok(_) => continue,
            Err(error) => {
                refused = Some(error);
                continue;
            }
        }
        let (turns, coil) = turns_for(wanted.inductance_h, (layers, fits * layers), made)?;
        if turns.div_ceil(layers) <= fits {
            return Ok(coil);
        }
    }
    Err(match refused {
        Some(error) if fits > 0 => error.into(),
        _ => DesignError::Room {
            layers: MOST_LAYERS,
            wire_mm: wire_m * 1e3,
            room_mm: wanted.room_m * 1e3,
        },
    })
}

/// Preferred numbers E24 (IEC 60063); every second one is E12.
const E24: [f64; 24] = [
    1.0, 1.1, 1.2, 1.3, 1.5, 1.6, 1.8, 2.0, 2.2, 2.4, 2.7, 3.0, 3.3, 3.6, 3.9, 4.3, 4.7, 5.1, 5.6,
    6.2, 6.8, 7.5, 8.2, 9.1,
];
/// This near is near enough: a tenth of the tolerance of good capacitors (1 %).
const NEAR: f64 = 1e-3;

/// The largest value of E24 (or with step 2 of E12) not above this one.
fn preferred_below(value: f64, step: usize) -> f64 {
    let decade = 10f64.powf(value.log10().floor());
    let below = |decade: f64| {
        E24.iter()
            .step_by(step)
            .rev()
            .map(|number| number * decade)
            .find(|preferred| *preferred <= value * (1.0 + 1e-12))
    };
    below(decade)
        .or_else(|| below(decade / 10.0))
        .unwrap_or(value)
}

/// The smallest value of E24 not below this one.
fn preferred_above(value: f64) -> f64 {
    let decade = 10f64.powf(value.log10().floor());
    E24.iter()
        .chain(&[10.0])
        .map(|number| number * decade)
        .find(|preferred| *preferred >= value * (1.0 - 1e-12))
        .unwrap_or(value)
}

/// Up to three capacitors in parallel that come near this value: of E12 if two or three of them are within 0.1 %, else of E24, else
/// the nearest there is. The fewest that do; largest first.
pub fn parallel_values(total_f: f64) -> Vec<f64> {
    let mut best = vec![preferred_below(total_f, 1)];
    let off = |values: &[f64]| (values.iter().sum::<f64>() / total_f - 1.0).abs();
    for (parts, step) in [(1, 2), (1, 1), (2, 2), (2, 1), (3, 2), (3, 1)] {
        let values = nearest(total_f, total_f, parts, step);
        if off(&values) < off(&best) {
            best = values;
        }
        if off(&best) <= NEAR {
            break;
        }
    }
    best
}

/// The combination of so many values whose sum is nearest. The first goes through the values of two decades below, the last one
/// fills up from either side.
fn nearest(total_f: f64, left_f: f64, parts: usize, step: usize) -> Vec<f64> {
    // Ten pF is the smallest that stays what it is beside the stray capacitance of leads (common practice, no source).
    const LEAST_F: f64 = 10e-12;
    if left_f < LEAST_F {
        return Vec::new();
    }
    let below = preferred_below(left_f, step);
    let above = next_above(below, step);
    if parts == 1 {
        let nearer = if above - left_f < left_f - below {
            above
        } else {
            below
        };
        return vec![nearer];
    }
    let mut best: Vec<f64> = vec![below];
    let mut first = below;
    while first > left_f / 100.0 && first >= LEAST_F {
        let mut values = vec![first];
        values.extend(nearest(total_f, left_f - first, parts - 1, step));
        let off = |values: &[f64]| (values.iter().sum::<f64>() - left_f).abs();
        if off(&values) < off(&best) - 1e-9 * total_f {
            best = values;
        }
        first = preferred_below(first * (1.0 - 1e-6), step);
    }
    best.sort_by(|a, b| b.total_cmp(a));
    best
}

/// The value after this one.
fn next_above(value: f64, step: usize) -> f64 {
    let decade = 10f64.powf(value.log10().floor());
    E24.iter()
        .step_by(step)
        .chain(&[10.0])
        .map(|number| number * decade)
        .find(|preferred| *preferred > value * (1.0 + 1e-6))
        .unwrap_or(value)
}

#[cfg(test)]
mod tests {
    use super::*;

    const FIELD_HZ: f64 = 134_200.0;

    fn wanted() -> Wanted {
        Wanted {
            inductance_h: 550e-6,
            near: Near::default(),
            outline: Outline::Circle { radius_m: 0.06 },
            room_m: 0.02,
            field_hz: FIELD_HZ,
            supply_v: 12.0,
            bridge: Bridge::Half,
            driver_ohm: 2.0,
            limit_a: 0.3,
            highest_q: 30.0,
        }
    }

    /// Every value is of the series, no more than three, and the sum within 0.5 % of what is wanted anywhere between 100 pF and 100 nF.
    #[test]
    fn capacitors_that_can_be_bought() {
        let series = |value: f64| {
            let decade = 10f64.powf((value * (1.0 + 1e-9)).log10().floor());
            E24.iter()
                .any(|number| (number * decade / value - 1.0).abs() < 1e-6)
        };
        let mut value = 100e-12;
        while value < 100e-9 {
            let parts = parallel_values(value);
            let sum: f64 = parts.iter().sum();
            assert!(
                parts.len() <= 3 && parts.iter().all(|part| series(*part)),
                "{parts:?}"
            );
            assert!((sum / value - 1.0).abs() < 5e-3, "{value} {parts:?}");
            value *= 1.0137;
        }
        assert_eq!(parallel_values(2.2e-9).len(), 1);
    }

    /// By hand at resonance: I = V/R, antenna and capacitor have ωL·I, power is ½I²R (textbook). The parts are 0.1 % off, a fortieth of
    /// the bandwidth at Q 25.
    #[test]
    fn a_design_by_hand() {
        let got = design(&wanted(), 0.4e-3).unwrap();
        let circuit = got.station.circuit;
        assert!(
            (circuit.inductance_h / 550e-6 - 1.0).abs() < 0.05,
            "{circuit:?}"
        );
        let drive = 2.0 * 12.0 / PI;
        assert!((circuit.drive_v - drive).abs() < 1e-12);
        let ohm = circuit.coil_ohm + circuit.source_ohm;
        assert!(got.current_a <= 0.3 && circuit.q() <= 30.0, "{got:?}");
        assert!(
            (got.current_a / (drive / ohm) - 1.0).abs() < 0.01,
            "{got:?}"
        );
        let reactance = 2.0 * PI * FIELD_HZ * circuit.inductance_h;
        assert!((got.antenna_v / (reactance * got.current_a) - 1.0).abs() < 0.01);
        assert!((got.capacitor_v / got.antenna_v - 1.0).abs() < 0.01);
        assert!((got.power_w / (0.5 * got.current_a.powi(2) * ohm) - 1.0).abs() < 1e-9);
        assert!((circuit.resonance_hz() / FIELD_HZ - 1.0).abs() < 1e-3);
        // No less resistance than the next value down would have.
        assert!(
            drive / (ohm - 0.1 * got.series_ohm) > 0.29 || circuit.q() > 27.0,
            "{got:?}"
        );
    }

    #[test]
    fn what_does_not_fit_says_so() {
        let narrow = Wanted {
            room_m: 1.5e-3,
            ..wanted()
        };
        let refused = design(&narrow, 1e-3).unwrap_err();
        assert!(matches!(refused, DesignError::Room { .. }), "{refused}");
        let small = Wanted {
            outline: Outline::Circle { radius_m: 2e-3 },
            ..wanted()
        };
        assert!(matches!(design(&small, 1e-3), Err(DesignError::Coil(_))));
    }
}
