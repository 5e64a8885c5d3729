//! Several driven antennas, and antennas of several windings: what each of them has, and what they do to each other.

use fieldripple::world::circuit::Reader;
use fieldripple::world::link::Station;
use serde_json::{Value, json};

use super::setup::Setup;
use super::wording::DANGEROUS_V;

/// From here on (k times the Q of both) antennas that were tuned alone miss each other's tuning by half a bandwidth or more, and current is lost.
const TOLD_KQ: f64 = 0.5;

/// An antenna with no tag near.
pub struct One {
    circuit: Reader,
    pub antenna_v: f64,
    pub antenna_a: f64,
    /// Of its current against the first one's.
    phase_deg: f64,
    windings: usize,
    reversed: usize,
    /// What its windings add to each other's inductance.
    between_h: f64,
}

/// All antennas of a bench.
pub struct Driven {
    list: Vec<One>,
    mutual_h: f64,
}

impl Driven {
    pub fn new(setup: &Setup) -> anyhow::Result<Self> {
        let idle = setup.idle()?;
        let second = setup.neighbour.iter().map(|neighbour| &neighbour.station);
        let stations = std::iter::once(&setup.station).chain(second);
        let first_a = idle.currents_a[0];
        let list = stations
            .zip(idle.voltages_v.iter().zip(&idle.currents_a))
            .map(|(Station { coil, circuit }, (&antenna_v, current))| One {
                circuit: *circuit,
                antenna_v,
                antenna_a: current.norm(),
                phase_deg: half_turn((current / first_a).arg().to_degrees()),
                windings: coil.loops().len().max(1),
                reversed: coil.loops().iter().filter(|one| one.reversed).count(),
                between_h: coil.between_windings_h(),
            })
            .collect();
        Ok(Driven {
            list,
            mutual_h: idle.mutual_h,
        })
    }

    /// The reader's.
    pub fn first(&self) -> &One {
        &self.list[0]
    }

    /// Coupling factor of the two antennas.
    fn coupling(&self) -> Option<f64> {
        let [first, second] = self.list.as_slice() else {
            return None;
        };
        let both = first.circuit.inductance_h * second.circuit.inductance_h;
        Some(self.mutual_h / both.sqrt())
    }

    /// Whether a second antenna drives at the frequency of the first.
    fn together(&self) -> bool {
        let first_hz = self.first().circuit.frequency_hz;
        let mut others = self.list[1..].iter();
        others.any(|one| one.circuit.frequency_hz == first_hz)
    }

    /// Lines of the page.
    pub fn page(&self) -> String {
        let first = self.first();
        let mut page = format!(
            "Antenna: {:.0} V and {:.3} A peak with no tag near. {}\n",
            first.antenna_v,
            first.antenna_a,
            caution(first.antenna_v)
        );
        page += &first.page();
        let ([_, second], Some(coupling)) = (self.list.as_slice(), self.coupling()) else {
            return page;
        };
        let what = if self.together() {
            "drives at the same frequency; field and voltages are those of both"
        } else {
            "takes part as a tuned circuit; its own field is another carrier and not in these numbers"
        };
        page += &format!(
            "Second antenna: {what}. {:.0} V and {:.3} A peak, the current {:.0}° from the first's; coupled to the first by {coupling:.2e}. {}\n",
            second.antenna_v,
            second.antenna_a,
            second.phase_deg,
            caution(second.antenna_v)
        );
        page + &second.page()
    }

    /// What a builder should know of it.
    pub fn remark(&self) -> Option<String> {
        let [first, second] = self.list.as_slice() else {
            return None;
        };
        let kq = self.coupling()?.abs() * (first.circuit.q() * second.circuit.q()).sqrt();
        if !self.together() || kq < TOLD_KQ {
            return None;
        }
        let apart_deg = second.circuit.drive_phase_deg - first.circuit.drive_phase_deg;
        let shared = self.mutual_h * libm::cos(apart_deg.to_radians());
        let tuned_hz = |one: &One| {
            one.circuit.frequency_hz * (1.0 + shared / one.circuit.inductance_h).max(0.0).sqrt()
        };
        Some(format!(
            "the two antennas detune each other (coupling times Q is {kq:.1}): tune them in place and driven as they will be. With equal currents \
             that is reader.tuned_hz = {:.0} and second_reader.tuned_hz = {:.0}, each measured alone.",
            tuned_hz(first),
            tuned_hz(second)
        ))
    }

    /// One object an antenna.
    pub fn json(&self) -> Value {
        let first = |index: usize| index == 0;
        let list = self.list.iter().enumerate().map(|(index, one)| {
            json!({
                "antenna_v": one.antenna_v,
                "antenna_a": one.antenna_a,
                "phase_deg": one.phase_deg,
                "inductance_h": one.circuit.inductance_h,
                "resonance_hz": one.circuit.resonance_hz(),
                "windings": one.windings,
                "between_windings_h": one.between_h,
                "drives": first(index) || self.together(),
                "mutual_h": (!first(index)).then_some(self.mutual_h),
                "coupling": if first(index) { None } else { self.coupling() },
            })
        });
        list.collect()
    }
}

impl One {
    /// A line about its windings, where they are several.
    fn page(&self) -> String {
        if self.windings == 1 {
            return String::new();
        }
        let own_uh = 1e6 * (self.circuit.inductance_h - self.between_h) / self.windings as f64;
        format!(
            "  {} windings in series, {} of them reversed: {own_uh:.1} µH each, and {:+.1} µH by what they share.\n",
            self.windings,
            self.reversed,
            1e6 * self.between_h
        )
    }
}

/// Half a turn is 180°, whatever rounding makes of it; no phase is −0.
fn half_turn(degrees: f64) -> f64 {
    if degrees < -180.0 + 1e-6 {
        degrees + 360.0
    } else if degrees.abs() < 1e-9 {
        0.0
    } else {
        degrees
    }
}

fn caution(antenna_v: f64) -> &'static str {
    if antenna_v > DANGEROUS_V {
        "DANGEROUS TO TOUCH: rated probe or divider, keep fingers off."
    } else {
        "Use a rated probe or a divider."
    }
}
