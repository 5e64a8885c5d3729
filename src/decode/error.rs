//! Why a capture gives no result.

use crate::capture::{CaptureError, PickError};

/// Why a capture gives no result. A capture in which nothing is read is a result; this is not.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DecodeError {
    /// The file cannot be read, or is no capture.
    #[error(transparent)]
    Capture(#[from] CaptureError),
    /// The channel asked for is not there.
    #[error("{name}: {source}")]
    Channel {
        /// The capture.
        name: String,
        /// What was asked for, and what is there.
        source: PickError,
    },
    /// A stretch in seconds was asked for, and nothing says how many samples a second has.
    #[error("{name}: --from and --to need a sample rate, and the file has none; give --rate")]
    RateUnknown {
        /// The capture.
        name: String,
    },
    /// A stream's samples come without a rate.
    #[error("{name}: a stream needs a sample rate, and this one has none; give --rate")]
    StreamRate {
        /// The stream.
        name: String,
    },
    /// No samples lie in the stretch asked for.
    #[error(
        "{name}: no samples left to read: the capture ends after {ends_s:.4} s; --from must lie before that"
    )]
    NothingLeft {
        /// The capture.
        name: String,
        /// Where it ends, seconds; 0 where the rate is not known.
        ends_s: f64,
    },
    /// Pieces were to be joined, and there are none.
    #[error("no captures; at least one is needed")]
    NoCapture,
    /// A sample rate that is none.
    #[error("a sample rate of {rate_hz} Hz; it must be finite and above 0")]
    Rate {
        /// The rate given.
        rate_hz: f64,
    },
    /// A sample rate that a stream cannot be looked at with.
    #[error("a sample rate of {rate_hz} Hz; a stream needs 1000 Hz or more, and a tag 16 kHz")]
    LiveRate {
        /// The rate given.
        rate_hz: f64,
    },
    /// A sample that is infinite or not a number.
    #[error("sample {index} is {value}; every sample must be finite")]
    NotFinite {
        /// Its place, counted from 0.
        index: usize,
        /// What stands there.
        value: f32,
    },
}
