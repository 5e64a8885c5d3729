//! What tells a file from others: its date and the SHA-256 of its bytes.

use std::path::Path;
#[cfg(feature = "page")]
use std::time::SystemTime;

use super::Settings;
use crate::capture::{CaptureError, SampleSource, open};

/// Where a capture came from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Origin {
    /// Name of the file without folders; `-` for standard input.
    pub name: String,
    /// When the file was last changed, seconds since 1970 (UTC); `None` for a stream.
    pub changed_s: Option<i64>,
    /// When the capture was made, as the file itself says it.
    pub made: Option<String>,
    /// SHA-256 of its bytes in hexadecimal; `None` where the end of a stream was not waited for.
    pub sha256: Option<String>,
}

/// What is known of an origin while its file is being read.
#[derive(Default)]
pub(super) struct Watch {
    origin: Option<Origin>,
    #[cfg(feature = "page")]
    tally: Option<crate::capture::Tally>,
}

impl Watch {
    /// Opens a file; `-` is standard input.
    pub fn open(
        path: &Path,
        settings: &Settings,
    ) -> Result<(Box<dyn SampleSource>, Self), CaptureError> {
        let options = settings.open_options();
        #[cfg(feature = "page")]
        if settings.origin {
            let (source, tally) = crate::capture::open_tallied(path, &options)?;
            let file = std::fs::metadata(path).ok().filter(|file| file.is_file());
            // Whoever asks for the beginning of a stream does not wait for its end.
            let ends = file.is_some() || settings.to_s.is_none();
            let changed = file.and_then(|file| file.modified().ok());
            let watch = Self {
                origin: Some(Origin {
                    name: file_name(&path.display().to_string()).into(),
                    changed_s: changed.map(unix_s),
                    ..Origin::default()
                }),
                tally: ends.then_some(tally),
            };
            return Ok((source, watch));
        }
        Ok((open(path, &options)?, Self::default()))
    }

    /// Of bytes that are all there.
    #[cfg(feature = "page")]
    pub fn bytes(name: &str, bytes: &[u8], settings: &Settings) -> Self {
        Self {
            origin: settings.origin.then(|| Origin {
                name: file_name(name).into(),
                sha256: Some(crate::capture::sha256(bytes)),
                ..Origin::default()
            }),
            tally: None,
        }
    }

    /// The origin, when no more samples are wanted; `made` is what the file says of its date.
    pub fn finish(self, made: Option<&str>) -> Option<Origin> {
        let mut origin = self.origin?;
        origin.made = made.map(str::to_owned);
        #[cfg(feature = "page")]
        if let Some(tally) = self.tally {
            origin.sha256 = tally.finish();
        }
        Some(origin)
    }
}

/// The name of a file without folders.
pub fn file_name(path: &str) -> &str {
    Path::new(path)
        .file_name()
        .and_then(|name| name.to_str())
        .unwrap_or(path)
}

#[cfg(feature = "page")]
fn unix_s(time: SystemTime) -> i64 {
    match time.duration_since(SystemTime::UNIX_EPOCH) {
        Ok(after) => after.as_secs() as i64,
        Err(before) => -(before.duration().as_secs_f64().ceil() as i64),
    }
}
