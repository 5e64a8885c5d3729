//! Scenario files: a whole bench as TOML.
//!
//! Every key carries its unit in its name and is listed in [`KEYS`] with default and range; what is missing takes the default, what is
//! unknown is refused with the line and the nearest known name. Readers and tags are coils and circuits (`[reader]`, `[[tag]]`), or
//! field and ripple are given outright (`[direct]`, `[[direct.tag]]`); probe, interferers, noise and digitiser go with either.

mod build;
mod check;
mod defaults;
mod interference;
mod keys;
mod loop_keys;
mod metal;
mod other_side;
mod other_tag;
mod parts;
mod presets;
mod read;
mod receiving;
mod rod_keys;
mod surroundings;

pub use build::half_bits;
pub use check::{At, ScenarioError};
pub use interference::{BandNoise, Fsk, Hum, Impulses, Noise, PhaseNoise, Supply, Tone};
pub use keys::{Allowed, KEYS, Key, TABLES, TableKind, key_list};
pub use loop_keys::LoopKeys;
pub use other_tag::{FieldPulses, OtherTag};
pub use parts::{
    CoilKeys, DirectField, DirectTag, PlaceKeys, ReaderKeys, SecondReader, Sends, TagKeys, Waypoint,
};
pub use presets::{PRESETS, Preset, preset_list};
pub use receiving::{Detector, DigitiserKeys, ProbeAt, ProbeKeys};
pub use rod_keys::RodKeys;
pub use surroundings::{CableKeys, SheetKeys};

use serde::{Deserialize, Serialize};

/// A bench as it is described in a file, defaults filled in.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Scenario {
    /// One line that says what this is.
    pub name: String,
    /// Seed of everything random.
    pub seed: Seed,
    /// Length of the capture.
    pub duration_s: Duration,
    /// The reader, unless `direct` is given.
    pub reader: ReaderKeys,
    /// A second reader, coupled to antenna and tags.
    pub second_reader: Option<SecondReader>,
    /// Tags before the reader.
    pub tag: Vec<TagKeys>,
    /// Field and ripple given outright instead of reader and tags.
    pub direct: Option<DirectField>,
    /// Tags of other kinds, in either field.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub other_tag: Vec<OtherTag>,
    /// Where the signal is taken from.
    pub probe: ProbeKeys,
    /// Sampling.
    pub digitiser: DigitiserKeys,
    /// Noise of the receiving side.
    pub noise: Noise,
    /// Noise in a band.
    pub band_noise: Vec<BandNoise>,
    /// Phase noise of the field.
    pub phase_noise: Option<PhaseNoise>,
    /// Steady or pulsed carriers.
    pub tone: Vec<Tone>,
    /// Switching supplies.
    pub supply: Vec<Supply>,
    /// FSK transmitters.
    pub fsk: Vec<Fsk>,
    /// Mains hum.
    pub hum: Option<Hum>,
    /// Ringing impulses.
    pub impulses: Vec<Impulses>,
}

/// A seed; 1 if none is given.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Seed(pub u64);

/// A length in seconds; half a second if none is given.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Duration(pub f64);

impl Default for Seed {
    fn default() -> Self {
        Seed(1)
    }
}

impl Default for Duration {
    fn default() -> Self {
        Duration(0.5)
    }
}
