//! What is followed: a stream, a file that grows, or a sound card's input.

use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use fieldripple::decode::{DecodeError, Settings, Stream};

/// What is followed.
#[derive(Clone, Debug)]
pub enum Followed {
    /// A file, a pipe, or `-`.
    Path(PathBuf),
    /// An input of a sound card.
    #[cfg(feature = "sound")]
    Device(String),
}

impl Followed {
    /// The name that events are told under.
    pub fn name(&self) -> String {
        match self {
            Self::Path(path) => path.display().to_string(),
            #[cfg(feature = "sound")]
            Self::Device(name) => name.clone(),
        }
    }

    /// What can be said against it at once.
    pub fn check(&self) -> anyhow::Result<()> {
        match self {
            Self::Path(path) if path != Path::new("-") => {
                std::fs::metadata(path)
                    .map_err(|error| anyhow::anyhow!("{}: {error}", path.display()))?;
            }
            _ => {}
        }
        Ok(())
    }

    /// Waits for the first samples.
    pub fn open(&self, settings: &Settings, stop: Arc<AtomicBool>) -> Result<Stream, DecodeError> {
        match self {
            Self::Path(path) => Stream::follow(path, settings, stop),
            #[cfg(feature = "sound")]
            Self::Device(name) => Stream::device(name, settings, stop),
        }
    }
}
