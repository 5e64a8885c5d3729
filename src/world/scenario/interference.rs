//! Interferers and noise, as the keys of a scenario give them; see [`super::KEYS`]. Levels are at the digitiser's input;
//! `level_db` is relative to the field there and is used unless `amplitude_v` is given.
#![allow(missing_docs)]

use serde::{Deserialize, Serialize};

/// Structs of keys with their defaults.
macro_rules! keys {
    ($($(#[$doc:meta])* $name:ident { $($field:ident: $type:ty = $value:expr,)* })*) => {
        $(
            $(#[$doc])*
            #[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
            #[serde(default)]
            pub struct $name { $(pub $field: $type,)* }
            impl Default for $name {
                fn default() -> Self {
                    $name { $($field: $value,)* }
                }
            }
        )*
    };
}

keys!(
    /// Noise of the receiving side.
    Noise {
        white_nv_per_rthz: f64 = 1000.0,
        ebn0_db: Option<f64> = None,
        pink_nv_per_rthz_at_1khz: f64 = 0.0,
    }
    /// Noise around a frequency.
    BandNoise {
        centre_hz: f64 = 130_000.0,
        width_hz: f64 = 2_000.0,
        density_nv_per_rthz: f64 = 10_000.0,
    }
    /// Phase noise of the field's oscillator.
    PhaseNoise {
        dbc_per_hz_at_1khz: f64 = -100.0,
        floor_dbc_per_hz: Option<f64> = None,
    }
    /// A carrier, such as a second reader that only the probe hears.
    Tone {
        frequency_hz: f64 = 134_250.0,
        amplitude_v: Option<f64> = None,
        level_db: f64 = -20.0,
        phase_deg: Option<f64> = None,
        on_ms: Option<f64> = None,
        off_ms: Option<f64> = None,
    }
    /// A switching supply.
    Supply {
        fundamental_hz: f64 = 65_000.0,
        amplitude_v: Option<f64> = None,
        level_db: f64 = -40.0,
        harmonics: u32 = 10,
        rolloff_db_per_octave: f64 = 6.0,
        jitter_percent: f64 = 0.1,
        spread_percent: f64 = 0.0,
        spread_hz: f64 = 400.0,
        burst_hz: f64 = 0.0,
        burst_percent: f64 = 30.0,
    }
    /// An FSK transmitter, two tones with continuous phase and random data.
    Fsk {
        centre_hz: f64 = 129_100.0,
        shift_hz: f64 = 170.0,
        baud: f64 = 200.0,
        amplitude_v: Option<f64> = None,
        level_db: f64 = -60.0,
    }
    /// Mains hum, added after the detector.
    Hum {
        mains_hz: f64 = 50.0,
        amplitude_v: f64 = 0.01,
        harmonics: u32 = 3,
    }
    /// Ringing impulses at random times.
    Impulses {
        rate_per_s: f64 = 100.0,
        amplitude_v: Option<f64> = None,
        level_db: f64 = -20.0,
        ring_hz: f64 = 140_000.0,
        decay_us: f64 = 20.0,
    }
);
