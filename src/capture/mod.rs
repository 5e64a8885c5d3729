//! Files and streams → samples, and samples → files. The only place that opens captures.
//!
//! [`open`] recognises the format by its content, never by the file name:
//!
//! | content | read as |
//! |---|---|
//! | `RIFF…WAVE`, `RF64`, `BW64` | WAV; the length fields are not believed, the file is read to its real end |
//! | `\x93NUMPY` | NPY |
//! | `fLaC` | FLAC |
//! | `MATLAB 5.0 MAT-file` | MAT-file of level 5 |
//! | `$timescale`, `$var` | value change dump |
//! | JSON with `core:datatype` | SigMF; the samples stand beside it |
//! | gzip, zip | any of these inside; NPY files in a zip are the channels of an NPZ |
//! | printable text | delimited text: columns of numbers with or without header and settings |
//! | anything else | only with [`OpenOptions::raw`] |
//!
//! Integers become fractions of full scale (±1), volts stay volts, and every sample handed out is finite: a value that
//! is not (nan, over range) is replaced by the last good one and counted in a note.

mod again;
#[cfg(feature = "formats")]
mod allowance;
mod arrays;
mod atomic;
mod description;
#[cfg(feature = "sound")]
mod device;
#[cfg(feature = "formats")]
mod flac;
mod folder;
mod foreign;
mod input;
#[cfg(feature = "formats")]
mod mat;
mod memory_source;
mod npy;
mod npy_header;
mod number;
mod open;
mod options;
mod packed;
mod pick;
mod planes;
mod raw;
mod sigmf;
mod stream;
#[cfg(feature = "page")]
mod tally;
mod text;
mod types;
#[cfg(feature = "formats")]
mod unpack;
#[cfg(feature = "formats")]
mod vcd;
mod wav;
mod write;
#[cfg(feature = "formats")]
mod write_arrays;
mod write_types;

pub use atomic::{remove_unfinished, write_atomically};
pub use description::{read_description, read_whole};
#[cfg(feature = "sound")]
pub use device::{InputDevice, input_devices, open_device};
pub use folder::{FolderError, Scratch, write_folder};
#[cfg(feature = "page")]
pub use open::open_tallied;
pub use open::{open, open_bytes, open_pair, open_reader};
pub use options::{OpenOptions, RawKind, RawKindError};
pub use pick::{ChannelChoice, PickError, Picked};
pub use stream::{open_growing, open_stream};
#[cfg(feature = "page")]
pub use tally::{Tally, sha256};
pub use types::{
    CaptureError, ChannelInfo, Columns, Layout, RateOrigin, SampleSource, TimeColumn, Unit,
};
pub use write::{wav_bytes, write, write_blocks, write_blocks_then};
#[cfg(feature = "formats")]
pub use write_arrays::{ArrayValues, NamedArray, write_columns, write_npz};
pub use write_types::{Heading, Recording, WriteError, WriteKind, Written};
