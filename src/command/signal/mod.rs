//! The flags that say what is in a capture, shared by the commands that make captures, and what they come to.

mod plan;
mod scenario;

pub use plan::{SignalPlan, telegrams};
pub use scenario::scenario;

use std::path::PathBuf;

use clap::ValueEnum;
use fieldripple::telegram::Identity;
use fieldripple::world::Pulses;
use serde::{Serialize, Serializer};
use serde_json::{Map, Value};

use super::telegram_fields::Fields;
use fieldripple::number::within;

/// What the samples show.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Kind {
    /// The field itself; folded where it is above half the rate
    Direct,
    /// Rectified: amplitude only, no carrier
    Envelope,
    /// Complex samples around --centre
    Iq,
    /// Two levels: is the envelope above the bare field's?
    Logic,
    /// No capture: the load of a tag, to drive a switch across a coil
    Load,
    /// No capture: interference from a scenario, to drive an amplifier
    Jam,
}

impl Kind {
    /// Whether it goes to an instrument instead of coming from one.
    pub fn drives(self) -> bool {
        matches!(self, Self::Load | Self::Jam)
    }
}

/// What is in a capture: field, tags, noise and how they are sampled.
#[derive(Clone, Debug, Default, clap::Args, Serialize)]
pub struct SignalArguments {
    /// Number of a tag as CCC:N; repeat for several tags [default: one tag, 999 and a number drawn from the seed]
    #[arg(long = "id", value_name = "CCC:N")]
    #[serde(rename = "id", serialize_with = "as_written")]
    pub ids: Vec<Identity>,
    #[command(flatten)]
    #[serde(flatten)]
    pub fields: Fields,
    /// A bare field; --ebn0 then sets the noise a tag of --depth and --angle would have it with
    #[arg(long, conflicts_with_all = ["ids", "start", "sign", "level_db"])]
    pub no_tag: bool,
    /// What the samples show [default: direct]
    #[arg(long, value_enum)]
    pub kind: Option<Kind>,
    /// Samples a second, as 1M, 500k or a plain number [default: 1000000; envelope and I/Q 48000, logic 100000]
    #[arg(long, value_name = "HZ", value_parser = within(8e3..=1e8, "Hz"))]
    pub rate: Option<f64>,
    /// Length, seconds [default: 0.5]
    #[arg(long, value_name = "S", value_parser = within(1e-3..=3600.0, "s"))]
    pub seconds: Option<f64>,
    /// Frequency of the field, Hz [default: 134200]
    #[arg(long, value_name = "HZ", value_parser = within(100e3..=200e3, "Hz"))]
    pub field_hz: Option<f64>,
    /// Centre frequency of I/Q samples, Hz [default: 134200]
    #[arg(long, value_name = "HZ", value_parser = within(0.0..=1e7, "Hz"))]
    pub centre: Option<f64>,
    /// Ripple depth of a tag: half the change between the load states over the field [default: 0.01]
    #[arg(long, value_name = "X", value_parser = within(0.0..=0.9, ""))]
    pub depth: Vec<f64>,
    /// Ripple angle of a tag, degrees: 0 changes the amplitude only, 90 the phase only [default: 30]
    #[arg(long, value_name = "DEG", allow_negative_numbers = true, value_parser = within(-180.0..=180.0, "degrees"))]
    pub angle: Vec<f64>,
    /// Ripple of every further tag relative to the first, dB [default: -6]
    #[arg(long, value_name = "DB", allow_negative_numbers = true, value_parser = within(-80.0..=0.0, "dB"))]
    pub level_db: Option<f64>,
    /// Field cycles (32 a bit, 4096 a telegram) before a telegram of the tag starts [default: from the seed]
    #[arg(long, value_name = "CYCLES", value_parser = within(0.0..=4096.0, "field cycles"))]
    pub start: Vec<f64>,
    /// Load state after that start, 1 or -1 [default: from the seed]
    #[arg(long, value_name = "SIGN", allow_negative_numbers = true, value_parser = sign)]
    pub sign: Vec<i8>,
    /// Eb/N0 of the first tag, dB [default: no noise]
    #[arg(long, value_name = "DB", allow_negative_numbers = true, value_parser = within(-60.0..=100.0, "dB"))]
    pub ebn0: Option<f64>,
    /// Seed of everything random, 0 to 18446744073709551615 [default: 1]
    #[arg(long, value_name = "N")]
    pub seed: Option<u64>,
    /// Peak amplitude of the field, V [default: 1]
    #[arg(long, value_name = "V", value_parser = within(1e-6..=1e4, "V"))]
    pub amplitude: Option<f64>,
    /// Constant added to every sample, V [default: 0]
    #[arg(long, value_name = "V", allow_negative_numbers = true, value_parser = within(-1e4..=1e4, "V"))]
    pub offset: Option<f64>,
    /// Phase of the field at the first sample, degrees [default: from the seed]
    #[arg(long, value_name = "DEG", allow_negative_numbers = true, value_parser = within(-360.0..=360.0, "degrees"))]
    pub phase: Option<f64>,
    /// Resolution, 2 to 24 bits, or 32 for floats without steps [default: 16, logic 8]
    #[arg(long, value_name = "N", value_parser = bits)]
    pub bits: Option<u32>,
    /// Full scale ±V of the digitiser [default: the next of 1, 2, 5, 10 … that holds the signal]
    #[arg(long, value_name = "V", value_parser = within(1e-6..=1e6, "V"))]
    pub range: Option<f64>,
    /// How much faster than stated the sampling clock runs, parts per million [default: 0]
    #[arg(long, value_name = "PPM", allow_negative_numbers = true, value_parser = within(-1e4..=1e4, "ppm"))]
    pub clock_ppm: Option<f64>,
    /// Switch the field: milliseconds on and off, 1 to 10000 each; every time the telegram starts anew
    #[arg(long, value_name = "ON_MS:OFF_MS", value_parser = pulses)]
    #[serde(serialize_with = "milliseconds")]
    pub pulse: Option<Pulses>,
    /// Take everything from a scenario file (TOML): coils, circuits, interferers, probe, digitiser
    #[arg(long, value_name = "FILE")]
    pub scenario: Option<PathBuf>,
    /// Change a key of the scenario, for example reader.drive_v=12 or tag.1.tilt_deg=45; repeat for more
    #[arg(long, value_name = "KEY=VALUE")]
    pub set: Vec<String>,
}

fn as_written<S: Serializer>(ids: &[Identity], to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(
        ids.iter()
            .map(|id| format!("{}:{}", id.country, id.national)),
    )
}

fn milliseconds<S: Serializer>(pulse: &Option<Pulses>, to: S) -> Result<S::Ok, S::Error> {
    let written = |pulse: &Pulses| format!("{}:{}", 1e3 * pulse.on_s, 1e3 * pulse.off_s);
    pulse.as_ref().map(written).serialize(to)
}

fn sign(text: &str) -> Result<i8, String> {
    match text {
        "1" | "+1" => Ok(1),
        "-1" => Ok(-1),
        _ => Err("allowed are 1 and -1".into()),
    }
}

fn bits(text: &str) -> Result<u32, String> {
    text.parse()
        .ok()
        .filter(|bits| (2..=24).contains(bits) || *bits == 32)
        .ok_or_else(|| "allowed are 2 to 24, and 32 for floats".into())
}

fn pulses(text: &str) -> Result<Pulses, String> {
    let shortest_ms = Pulses::SHORTEST_S * 1e3;
    let milliseconds = within(shortest_ms..=10_000.0, "ms");
    let (on, off) = text
        .split_once(':')
        .ok_or("write ON_MS:OFF_MS, for example 50:3")?;
    Ok(Pulses {
        on_s: milliseconds(on)? / 1e3,
        off_s: milliseconds(off)? / 1e3,
    })
}

impl SignalArguments {
    pub fn kind(&self) -> Kind {
        self.kind.unwrap_or(Kind::Direct)
    }

    pub fn seconds(&self) -> f64 {
        self.seconds.unwrap_or(0.5)
    }

    pub fn field_hz(&self) -> f64 {
        self.field_hz.unwrap_or(134_200.0)
    }

    pub fn seed(&self) -> u64 {
        self.seed.unwrap_or(1)
    }

    pub fn amplitude(&self) -> f64 {
        self.amplitude.unwrap_or(1.0)
    }

    pub fn offset(&self) -> f64 {
        self.offset.unwrap_or(0.0)
    }

    pub fn clock_ppm(&self) -> f64 {
        self.clock_ppm.unwrap_or(0.0)
    }

    /// The flags that were given, by name, with their values.
    pub fn given(&self) -> Map<String, Value> {
        let Ok(Value::Object(mut given)) = serde_json::to_value(self) else {
            unreachable!("flags are numbers, texts and lists of them");
        };
        let is_given = |value: &Value| match value {
            Value::Null | Value::Bool(false) => false,
            Value::Array(values) => !values.is_empty(),
            _ => true,
        };
        given.retain(|_, value| is_given(value));
        given
            .into_iter()
            .map(|(name, value)| (name.replace('_', "-"), value))
            .collect()
    }

    /// Whether coils, circuits or anything else of a scenario is in it.
    pub fn is_scenario(&self) -> bool {
        self.scenario.is_some() || !self.set.is_empty()
    }
}
