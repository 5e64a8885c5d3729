//! Bytes that can be read once more, from any place.

use std::fs::File;
use std::io::{self, Cursor, Read, Seek};
use std::path::PathBuf;
use std::sync::Arc;

/// Where the bytes of an input are to be had again.
#[derive(Clone)]
pub(super) enum Again {
    /// In a file as it stands.
    File(PathBuf),
    /// In memory.
    Memory(Arc<[u8]>),
}

pub(super) trait ReadSeek: Read + Seek + Send {}
impl<T: Read + Seek + Send> ReadSeek for T {}

impl Again {
    /// From the first byte on.
    pub(super) fn open(&self) -> io::Result<Box<dyn ReadSeek>> {
        Ok(match self {
            Self::File(path) => Box::new(File::open(path)?),
            Self::Memory(all) => Box::new(Cursor::new(Arc::clone(all))),
        })
    }
}
