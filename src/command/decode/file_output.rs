//! A file that `decode` writes, whatever is in it.

use fieldripple::decode::Decoded;

/// A file that is written of captures.
pub trait FileOutput {
    /// Adds a capture.
    fn add(&mut self, decoded: &Decoded) -> anyhow::Result<()>;

    /// Adds a capture that could not be read.
    fn add_unreadable(&mut self, _name: &str, _error: &anyhow::Error) -> anyhow::Result<()> {
        Ok(())
    }

    /// Writes what was gathered; after an error nothing is left behind.
    fn write(&mut self) -> anyhow::Result<()> {
        Ok(())
    }
}
