//! A capture that is still coming → blocks of one channel, for [`Live`].

use std::io::Read;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use super::opened::Opened;
use super::window::Window;
use super::{DecodeError, Live, Settings};
use crate::capture::{Layout, SampleSource, Unit, open_growing, open_stream};

/// Seconds of samples handed on at a time: a tenth of the time from one glance to the next.
const BLOCK_S: f64 = 0.02;

/// A capture that is still coming, of which one channel is read.
pub struct Stream {
    opened: Opened,
    settings: Settings,
    rate_hz: f64,
}

impl Stream {
    /// Follows standard input (`-`), a pipe, or a file that grows until `stop` is set. Waits for the first samples.
    ///
    /// # Errors
    /// As [`decode_file`](super::decode_file), and for text, and where no rate is known.
    pub fn follow(
        path: &Path,
        settings: &Settings,
        stop: Arc<AtomicBool>,
    ) -> Result<Self, DecodeError> {
        let reader = open_growing(path, stop)?;
        Self::reader(&path.display().to_string(), reader, settings)
    }

    /// Follows the bytes of a capture, as they come from a pipe or a socket; `name` is what messages call it.
    ///
    /// # Errors
    /// As [`Stream::follow`].
    pub fn reader(
        name: &str,
        reader: impl Read + Send + 'static,
        settings: &Settings,
    ) -> Result<Self, DecodeError> {
        let source = open_stream(name, reader, &settings.open_options())?;
        Self::of(source, name, settings)
    }

    fn of(
        source: Box<dyn SampleSource>,
        name: &str,
        settings: &Settings,
    ) -> Result<Self, DecodeError> {
        let mut opened = Opened::of(source, name.into(), settings)?;
        opened.stay();
        let rate_hz = opened.layout().rate_hz;
        Ok(Self {
            rate_hz: rate_hz.ok_or_else(|| DecodeError::StreamRate { name: name.into() })?,
            opened,
            settings: settings.clone(),
        })
    }

    /// Listens to a sound card's input until `stop` is set, see [`open_device`](crate::capture::open_device).
    ///
    /// # Errors
    /// As [`Stream::follow`], and for a device that cannot be had.
    #[cfg(feature = "sound")]
    pub fn device(
        name: &str,
        settings: &Settings,
        stop: Arc<AtomicBool>,
    ) -> Result<Self, DecodeError> {
        let source = crate::capture::open_device(name, settings.rate_hz, stop)?;
        Self::of(source, name, settings)
    }

    /// Samples per second.
    pub fn rate_hz(&self) -> f64 {
        self.rate_hz
    }

    /// Channels, unit, rate and whatever else the file says of itself.
    pub fn layout(&self) -> &Layout {
        self.opened.layout()
    }

    /// Unit of the channel that is read.
    pub fn unit(&self) -> Unit {
        self.opened.unit()
    }

    /// The receiver for its samples.
    ///
    /// # Errors
    /// As [`Live::new`].
    pub fn live(&self) -> Result<Live, DecodeError> {
        let live = Live::new(self.rate_hz, &self.settings)?;
        Ok(live.centred(self.opened.centre_hz(), self.layout().logic))
    }

    /// The next fiftieth of a second, less at the end; `None` after it. Waits for samples.
    ///
    /// # Errors
    /// What cannot be read.
    pub fn next_block(&mut self) -> Result<Option<Window>, DecodeError> {
        let most = (BLOCK_S * self.rate_hz).ceil().max(1.0) as usize;
        Ok(self.opened.next_stretch(most)?)
    }

    /// Remarks on the stream so far, one sentence each.
    pub fn remarks(&self) -> Vec<String> {
        self.opened.remarks().cloned().collect()
    }
}
