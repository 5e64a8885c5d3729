//! What is soldered together: a reader's and a tag's components.

use super::Clamp;
use std::f64::consts::PI;

/// How a reader's capacitor and antenna coil are connected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Topology {
    /// Driver, source resistance, capacitor and coil in one loop.
    Series,
    /// Capacitor across the coil, driven through the source resistance.
    Parallel,
}

/// A reader's driver and antenna.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reader {
    /// Frequency of its field.
    pub frequency_hz: f64,
    /// Peak of the driver's fundamental; a square wave between 0 and V has 2V/π.
    pub drive_v: f64,
    /// Phase of the driver at time zero, for a cosine.
    pub drive_phase_deg: f64,
    /// Driver and series resistance in Ω. The driver keeps this resistance while it is off.
    pub source_ohm: f64,
    /// Series or parallel resonance.
    pub topology: Topology,
    /// Antenna inductance, a cable's included: the voltage across the antenna is that at the cable's near end.
    pub inductance_h: f64,
    /// Tuning capacitance.
    pub capacitance_f: f64,
    /// Series resistance of the antenna coil at the field frequency.
    pub coil_ohm: f64,
    /// Capacitance across the antenna coil beside the tuning: a cable's and the coil's own. 0 for none.
    pub shunt_f: f64,
}

/// What the tag switches across its coil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Modulator {
    /// A resistor, switch included.
    Resistor {
        /// Resistance while closed.
        ohm: f64,
    },
    /// A capacitor with the switch's resistance in series. While open it keeps its charge.
    Capacitor {
        /// Added capacitance while closed.
        farad: f64,
        /// Series resistance while closed.
        ohm: f64,
    },
}

/// A tag: coil, tuning capacitor, chip.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tag {
    /// Coil inductance on its core.
    pub inductance_h: f64,
    /// Capacitance across the coil.
    pub capacitance_f: f64,
    /// Series resistance of the coil.
    pub coil_ohm: f64,
    /// What the chip draws, as a resistance across the coil.
    pub chip_ohm: f64,
    /// What is switched to send.
    pub modulator: Modulator,
    /// Voltage limiter, if any.
    pub clamp: Option<Clamp>,
    /// Peak coil voltage the chip needs to run.
    pub minimum_v: f64,
    /// How long the chip lives on its supply capacitor below that voltage.
    pub hold_up_s: f64,
    /// From sufficient voltage to the first bit.
    pub start_up_s: f64,
}

impl Reader {
    /// Where the antenna resonates.
    pub fn resonance_hz(&self) -> f64 {
        resonance_hz(self.inductance_h, self.capacitance_f + self.shunt_f)
    }

    /// Loaded quality factor at the field frequency: ωL over all series resistance, or the parallel equivalent. Of a current that rings in a
    /// series circuit only what goes through the tuning capacitor passes the source.
    pub fn q(&self) -> f64 {
        let reactance = 2.0 * PI * self.frequency_hz * self.inductance_h;
        match self.topology {
            Topology::Series => {
                let passing = self.capacitance_f / (self.capacitance_f + self.shunt_f);
                reactance / (self.coil_ohm + self.source_ohm * passing * passing)
            }
            Topology::Parallel => 1.0 / (self.coil_ohm / reactance + reactance / self.source_ohm),
        }
    }
}

impl Tag {
    /// Where the tag resonates.
    pub fn resonance_hz(&self) -> f64 {
        resonance_hz(self.inductance_h, self.capacitance_f)
    }

    /// Quality factor at its resonance with the chip's load, modulator open, clamp not reached.
    pub fn q(&self) -> f64 {
        let reactance = (self.inductance_h / self.capacitance_f).sqrt();
        1.0 / (self.coil_ohm / reactance + reactance / self.chip_ohm)
    }

    /// Conductance across the tank that stands for all its loss at resonance.
    pub(super) fn loss_s(&self) -> f64 {
        self.coil_ohm * self.capacitance_f / self.inductance_h + 1.0 / self.chip_ohm
    }
}

/// f = 1/(2π√(LC)).
pub fn resonance_hz(inductance_h: f64, capacitance_f: f64) -> f64 {
    1.0 / (2.0 * PI * (inductance_h * capacitance_f).sqrt())
}

/// The capacitance that tunes this inductance to this frequency.
pub fn resonance_capacitance_f(inductance_h: f64, frequency_hz: f64) -> f64 {
    1.0 / ((2.0 * PI * frequency_hz).powi(2) * inductance_h)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 0.5 mH ↔ 2812.97 pF, 1 mH ↔ 1406.49 pF, 2.4 mH ↔ 586.04 pF, 7.2 mH ↔ 195.35 pF at 134.2 kHz (derived).
    #[test]
    fn resonance_pairs() {
        for (mh, pf) in [(0.5, 2812.97), (1.0, 1406.49), (2.4, 586.04), (7.2, 195.35)] {
            let got = resonance_capacitance_f(mh * 1e-3, 134_200.0) * 1e12;
            assert!((got - pf).abs() <= 0.00501, "{mh} mH: {got}");
            let back = resonance_hz(mh * 1e-3, got * 1e-12);
            assert!((back - 134_200.0).abs() < 1e-6, "{back}");
        }
    }
}
