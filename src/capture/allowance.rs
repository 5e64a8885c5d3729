//! How much may come out of a packed file.

use std::io::{self, Read};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// Unpacked bytes allowed for each packed one, and those that every file may have. Samples with noise in them pack to a
/// tenth at best, logic levels to a thirtieth; a bomb to a thousandth.
const RATIO: u64 = 40;
const ANYWAY: u64 = 4 << 20;
/// The same where all of it is kept: within the memory that a file may take.
const KEPT_RATIO: u64 = 8;
const KEPT_ANYWAY: u64 = 16 << 20;
/// What went in and what came out, of all members together: many small bombs are a large one.
#[derive(Clone)]
pub(super) struct Allowance {
    packed: Arc<AtomicU64>,
    given: Arc<AtomicU64>,
    anyway: u64,
    ratio: u64,
}

impl Allowance {
    pub(super) fn for_stream() -> Self {
        Self {
            packed: Arc::default(),
            given: Arc::default(),
            anyway: ANYWAY,
            ratio: RATIO,
        }
    }

    /// For what is kept whole.
    pub(super) fn for_memory() -> Self {
        Self {
            anyway: KEPT_ANYWAY,
            ratio: KEPT_RATIO,
            ..Self::for_stream()
        }
    }

    /// So many packed bytes more.
    pub(super) fn take(&self, bytes: u64) {
        self.packed.fetch_add(bytes, Ordering::Relaxed);
    }

    /// Packed bytes so far.
    pub(super) fn packed(&self) -> Arc<AtomicU64> {
        Arc::clone(&self.packed)
    }
}

/// Counts what is taken from a file.
pub(super) struct Counted<R> {
    inner: R,
    count: Arc<AtomicU64>,
}

impl<R> Counted<R> {
    pub(super) fn new(inner: R, count: Arc<AtomicU64>) -> Self {
        Self { inner, count }
    }
}

impl<R: Read> Read for Counted<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let got = self.inner.read(buffer)?;
        self.count.fetch_add(got as u64, Ordering::Relaxed);
        Ok(got)
    }
}

/// An error once more comes out than went in allows; errors name the kind of archive.
pub(super) struct Bounded<R> {
    inner: R,
    allowance: Allowance,
    what: &'static str,
}

impl<R> Bounded<R> {
    pub(super) fn new(inner: R, allowance: &Allowance, what: &'static str) -> Self {
        Self {
            inner,
            allowance: allowance.clone(),
            what,
        }
    }
}

impl<R: Read> Read for Bounded<R> {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let got = self.inner.read(buffer).map_err(|error| {
            io::Error::new(error.kind(), format!("damaged {}: {error}", self.what))
        })?;
        let own = &self.allowance;
        let given = own.given.fetch_add(got as u64, Ordering::Relaxed) + got as u64;
        if given > own.anyway + own.ratio * own.packed.load(Ordering::Relaxed) {
            let text = format!(
                "the {} unpacks to more than {} times its size, which no capture does; unpack it first",
                self.what, own.ratio
            );
            return Err(io::Error::new(io::ErrorKind::InvalidData, text));
        }
        Ok(got)
    }
}
