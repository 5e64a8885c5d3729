//! What every capture format turns into: a stream of sample blocks with a description.

use std::path::PathBuf;

/// Where the sample rate comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RateOrigin {
    /// The user gave it.
    Given,
    /// The file states it (a WAV header, a sample interval in a preamble).
    File,
    /// Worked out from the time column.
    TimeColumn,
}

/// Unit of the sample values.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Unit {
    /// Volts: the file says so, scaled by its prefix and the probe factor.
    Volt,
    /// Fractions of the digitiser's full scale (±1).
    FullScale,
    /// Numbers without a stated unit.
    #[default]
    Unknown,
}

/// One column or track of a capture.
#[derive(Clone, Debug, PartialEq)]
pub struct ChannelInfo {
    /// Name as the file gives it, or its number counted from 1.
    pub name: String,
    /// Unit after scaling.
    pub unit: Unit,
}

/// What is known about a capture before its samples are read.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Layout {
    /// Channels in file order. Complex captures have two: in-phase and quadrature.
    pub channels: Vec<ChannelInfo>,
    /// The two channels are the real and imaginary part of one complex signal.
    pub complex: bool,
    /// Two-level data (an edge list or a logic track).
    pub logic: bool,
    /// Samples per second, if anything says so.
    pub rate_hz: Option<f64>,
    /// Where `rate_hz` comes from.
    pub rate_origin: Option<RateOrigin>,
    /// Time of the first sample, seconds (negative before a trigger); 0 where unknown.
    pub start_s: f64,
    /// Samples a channel, if known in advance. A hint: streamed files may hold more or fewer.
    pub length: Option<u64>,
    /// Frequency that complex samples are centred on, where the file says so.
    pub centre_hz: Option<f64>,
    /// First samples of further pieces: the capture does not go on there, but begins anew at another moment.
    pub pieces: Vec<u64>,
    /// When the capture was made, as the file itself says it.
    pub made: Option<String>,
    /// Which columns of a text file were taken.
    pub columns: Option<Columns>,
    /// Remarks for the user, one sentence each (a rate overridden, values replaced, a wrong length field).
    pub notes: Vec<String>,
}

/// Columns of a text file, counted from 1.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Columns {
    /// How many there are.
    pub count: usize,
    /// The column of each channel.
    pub of_channels: Vec<usize>,
    /// The column of the time.
    pub time: Option<TimeColumn>,
}

/// The column that the time was taken from.
#[derive(Clone, Debug, PartialEq)]
pub struct TimeColumn {
    /// Its place, counted from 1.
    pub column: usize,
    /// Seconds in one of its unit.
    pub unit_s: f64,
    /// Nothing states the unit: seconds were a guess.
    pub unit_guessed: bool,
}

impl TimeColumn {
    /// Its unit in words.
    pub fn unit(&self) -> String {
        let known = [
            (1.0, "s"),
            (1e-3, "ms"),
            (1e-6, "µs"),
            (1e-9, "ns"),
            (1e-12, "ps"),
        ];
        let near = |unit_s: f64| (self.unit_s / unit_s - 1.0).abs() < 1e-9;
        match known.iter().find(|known| near(known.0)) {
            Some((_, name)) => (*name).into(),
            None => format!("{:e} s", self.unit_s),
        }
    }
}

/// A capture being read, block by block.
pub trait SampleSource: Send {
    /// What is known so far. `notes` may grow while reading.
    fn layout(&self) -> &Layout;

    /// Appends up to `frames` further samples to each of `channels` (one vector a channel, in file order) and returns
    /// how many it appended; 0 at the end.
    ///
    /// # Errors
    /// [`CaptureError`] naming file and place.
    fn read(&mut self, frames: usize, channels: &mut [Vec<f32>]) -> Result<usize, CaptureError>;
}

/// Why a capture cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum CaptureError {
    /// The operating system refused.
    #[error("{}: {source}", path.display())]
    Io {
        /// The file.
        path: PathBuf,
        /// The reason.
        source: std::io::Error,
    },
    /// The content is not what the format allows. `place` is a line or byte; `found` and `allowed` say what.
    #[error("{}: {place}: {found}; {allowed}", path.display())]
    Malformed {
        /// The file.
        path: PathBuf,
        /// Line or byte, as text ("line 12", "byte 40").
        place: String,
        /// What stands there.
        found: String,
        /// What is allowed.
        allowed: String,
    },
    /// A sound card that cannot be listened to.
    #[error("{name}: {what}")]
    Device {
        /// The device as it was asked for.
        name: String,
        /// The reason, and what is allowed.
        what: String,
    },
    /// A format or variant that is not read.
    #[error("{}: {what} is not supported; {allowed}", path.display())]
    Unsupported {
        /// The file.
        path: PathBuf,
        /// What was found.
        what: String,
        /// What is allowed instead.
        allowed: String,
    },
}
