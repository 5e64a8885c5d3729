//! What is to be written, in which format, and what came of it.

use super::ChannelInfo;
use std::io;
use std::path::Path;

/// A capture in memory, ready to be written.
#[derive(Clone, Debug, PartialEq)]
pub struct Recording {
    /// Samples per second.
    pub rate_hz: f64,
    /// Name and unit of each channel; used by text only.
    pub channels: Vec<ChannelInfo>,
    /// One vector a channel, equally long.
    pub samples: Vec<Vec<f32>>,
    /// The two channels are the real and imaginary part of one signal.
    pub complex: bool,
}

/// A capture about to be written, without its samples.
#[derive(Clone, Debug, PartialEq)]
pub struct Heading {
    /// Samples per second.
    pub rate_hz: f64,
    /// Name and unit of each channel; used by text only.
    pub channels: Vec<ChannelInfo>,
    /// The two channels are the real and imaginary part of one signal.
    pub complex: bool,
    /// Samples a channel.
    pub length: u64,
    /// Lines written before the column names; used by text only.
    pub settings: Vec<String>,
}

/// Format of a file.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum WriteKind {
    /// WAV with integers of 8, 16 or 24 bits; ±1 is full scale.
    WavInteger(u16),
    /// WAV with 32-bit floats.
    WavFloat,
    /// Text: time in seconds and one column a channel.
    Csv,
    /// NPY, 32-bit floats (complex: pairs of them). Holds no rate.
    Npy,
    /// Headerless 16-bit integers, little endian; ±1 is full scale.
    RawI16,
    /// Headerless 32-bit floats, little endian.
    RawF32,
}

impl WriteKind {
    /// By the file extension: `.wav` (16 bit), `.csv`, `.npy`, `.raw` (16 bit).
    pub fn from_path(path: &Path) -> Option<Self> {
        let extension = path.extension()?.to_str()?.to_ascii_lowercase();
        Some(match extension.as_str() {
            "wav" => Self::WavInteger(16),
            "csv" => Self::Csv,
            "npy" => Self::Npy,
            "raw" => Self::RawI16,
            _ => return None,
        })
    }
}

/// What happened on the way to the file.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Written {
    /// Values beyond full scale, limited to it.
    pub clipped: u64,
}

/// Why a capture cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum WriteError {
    /// The operating system refused.
    #[error("{0}")]
    Io(#[from] io::Error),
    /// The format cannot hold this.
    #[error("{0}")]
    Unfit(String),
}
