//! Files and streams → samples, and samples → files. The only place that opens captures.
//!
//! [`open`] recognises the format by its content, never by the file name:
//!
//! | content | read as |
//! |---|---|
//! | `RIFF…WAVE`, `RF64`, `BW64` | WAV; the length fields are not believed, the file is read to its real end |
//! | `\x93NUMPY` | NPY |
//! | printable text | delimited text: columns of numbers with or without header and settings |
//! | anything else | only with [`OpenOptions::raw`] |
//!
//! Integers become fractions of full scale (±1), volts stay volts, and every sample handed out is finite: a value that
//! is not (nan, over range) is replaced by the last good one and counted in a note.

mod atomic;
mod description;
mod folder;
mod input;
mod npy;
mod npy_header;
mod number;
mod open;
mod packed;
mod pick;
mod planes;
mod raw;
mod stream;
mod text;
mod types;
mod wav;
mod write;
mod write_types;

pub use atomic::{remove_unfinished, write_atomically};
pub use description::{read_description, read_whole};
pub use folder::{FolderError, Scratch, write_folder};
pub use open::{OpenOptions, open, open_reader};
pub use pick::{ChannelChoice, PickError, Picked};
pub use raw::{RawKind, RawKindError};
pub use stream::{open_growing, open_stream};
pub use types::{CaptureError, ChannelInfo, Layout, RateOrigin, SampleSource, Unit};
pub use write::{write, write_blocks, write_blocks_then};
pub use write_types::{Heading, Recording, WriteError, WriteKind, Written};
