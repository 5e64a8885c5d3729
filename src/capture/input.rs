//! A file or standard input with a look ahead.

use super::CaptureError;
use super::again::Again;
use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// Memory that reading a file of so many bytes may take: 64 MiB and twenty times its size.
pub(super) fn memory_limit(bytes: u64) -> u64 {
    (64 << 20) + 20 * bytes
}

/// Bytes of a capture in order, with the possibility to look at the next ones without consuming them.
pub(super) struct Input {
    path: PathBuf,
    reader: Box<dyn Read + Send>,
    /// Bytes looked at but not consumed: `ahead[taken..]`.
    ahead: Vec<u8>,
    taken: usize,
    /// Size of the whole file where it is a regular one.
    size: Option<u64>,
    consumed: u64,
    /// Where its bytes can be read once more; not a stream's.
    again: Option<Again>,
    /// Of what comes out of an archive: packed bytes taken so far.
    packed: Option<Arc<AtomicU64>>,
    /// The one file beside it, where both are in memory.
    neighbour: Option<(String, Arc<[u8]>)>,
}

impl Input {
    /// Opens `path`; `-` is standard input.
    pub(super) fn open(path: &Path) -> Result<Self, CaptureError> {
        if path == Path::new("-") {
            return Ok(Self::new(path, Box::new(io::stdin()), None));
        }
        let fail = |source| CaptureError::Io {
            path: path.to_owned(),
            source,
        };
        // Asked before opening: opening some devices has side effects, and endless ones would never end.
        let metadata = std::fs::metadata(path).map_err(fail)?;
        if metadata.is_dir() {
            return Err(fail(io::ErrorKind::IsADirectory.into()));
        }
        if is_device(&metadata) {
            return Err(CaptureError::Unsupported {
                path: path.to_owned(),
                what: "a device".into(),
                allowed: "give a file, a pipe or - for standard input".into(),
            });
        }
        let file = File::open(path).map_err(fail)?;
        let size = metadata.is_file().then_some(metadata.len());
        Ok(Self {
            again: size.map(|_| Again::File(path.to_owned())),
            ..Self::new(path, Box::new(file), size)
        })
    }

    pub(super) fn new(path: &Path, reader: Box<dyn Read + Send>, size: Option<u64>) -> Self {
        Self {
            path: path.to_owned(),
            reader,
            ahead: Vec::new(),
            taken: 0,
            size,
            consumed: 0,
            again: None,
            packed: None,
            neighbour: None,
        }
    }

    /// The bytes of a file that is in memory.
    pub(super) fn in_memory(path: &Path, bytes: Arc<[u8]>) -> Self {
        let size = bytes.len() as u64;
        Self {
            again: Some(Again::Memory(Arc::clone(&bytes))),
            ..Self::new(path, Box::new(io::Cursor::new(bytes)), Some(size))
        }
    }

    /// With a file beside it that is in memory, too.
    pub(super) fn beside(mut self, name: &str, bytes: Arc<[u8]>) -> Self {
        self.neighbour = Some((name.into(), bytes));
        self
    }

    /// Opens the file of this path, which stands beside it; nothing stands beside a stream.
    pub(super) fn neighbour(&self, path: &Path) -> Result<Self, CaptureError> {
        match &self.neighbour {
            Some((name, bytes)) if path.file_name() == Some(name.as_ref()) => {
                Ok(Self::in_memory(path, Arc::clone(bytes)))
            }
            Some(_) => Err(CaptureError::Io {
                path: path.to_owned(),
                source: io::ErrorKind::NotFound.into(),
            }),
            None => Self::open(path),
        }
    }

    /// What comes out of an archive, with the count of what went in.
    #[cfg(feature = "formats")]
    pub(super) fn unpacked(
        path: &Path,
        reader: Box<dyn Read + Send>,
        packed: Arc<AtomicU64>,
    ) -> Self {
        Self {
            packed: Some(packed),
            ..Self::new(path, reader, None)
        }
    }

    /// Sums up all bytes of it from here on, whoever reads them; to be called before anyone has.
    #[cfg(feature = "page")]
    pub(super) fn tallied(&mut self) -> super::Tally {
        let reader = std::mem::replace(&mut self.reader, Box::new(io::empty()));
        let tally = super::Tally::of(reader);
        self.reader = Box::new(tally.clone());
        tally
    }

    /// May what stands beside it be opened? Not beside a stream or bytes in memory, whatever their name, but for what was given with them.
    pub(super) fn is_file(&self) -> bool {
        matches!(self.again, Some(Again::File(_))) || self.neighbour.is_some()
    }

    /// Where its bytes can be read once more; nowhere for a stream.
    pub(super) fn again(&self) -> Option<&Again> {
        self.again.as_ref()
    }

    /// Memory that reading it may take so far, where little may become a lot: of what comes out of an archive.
    pub(super) fn memory_limit(&self) -> Option<u64> {
        let packed = self.packed.as_ref()?;
        Some(memory_limit(packed.load(Ordering::Relaxed)))
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Bytes consumed so far.
    pub(super) fn consumed(&self) -> u64 {
        self.consumed
    }

    /// Bytes left, where the size of the file is known.
    pub(super) fn left(&self) -> Option<u64> {
        self.size.map(|size| size.saturating_sub(self.consumed))
    }

    /// The next `count` bytes, fewer only at the end of the file. Nothing is consumed.
    pub(super) fn peek(&mut self, count: usize) -> Result<&[u8], CaptureError> {
        if self.ahead.len() - self.taken < count {
            self.ahead.drain(..self.taken);
            self.taken = 0;
            let missing = (count - self.ahead.len()) as u64;
            // `take` + `read_to_end` grows with what really arrives, whatever `count` a header asked for.
            let result = (&mut self.reader)
                .take(missing)
                .read_to_end(&mut self.ahead);
            result.map_err(|source| self.io_error(source))?;
        }
        let end = self.ahead.len().min(self.taken + count);
        Ok(&self.ahead[self.taken..end])
    }

    /// Appends the next `count` bytes to `buffer`, fewer only at the end of the file; returns how many.
    pub(super) fn append(
        &mut self,
        buffer: &mut Vec<u8>,
        count: usize,
    ) -> Result<usize, CaptureError> {
        // Not into bytes that are cleared first: of a long text that is a tenth of the work.
        let result = self.by_ref().take(count as u64).read_to_end(buffer);
        result.map_err(|source| self.io_error(source))
    }

    /// Reads until `buffer` is full or the file ends; returns the number of bytes read.
    pub(super) fn fill(&mut self, buffer: &mut [u8]) -> Result<usize, CaptureError> {
        let mut filled = 0;
        while filled < buffer.len() {
            match self.read(&mut buffer[filled..]) {
                Ok(0) => break,
                Ok(count) => filled += count,
                Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                Err(error) => return Err(self.io_error(error)),
            }
        }
        Ok(filled)
    }

    /// Consumes `count` bytes without keeping them; returns how many there were.
    pub(super) fn skip(&mut self, count: u64) -> Result<u64, CaptureError> {
        let mut scratch = [0_u8; 4096];
        let mut skipped = 0;
        while skipped < count {
            let want = (count - skipped).min(scratch.len() as u64) as usize;
            let got = self.fill(&mut scratch[..want])?;
            skipped += got as u64;
            if got < want {
                break;
            }
        }
        Ok(skipped)
    }

    pub(super) fn io_error(&self, source: io::Error) -> CaptureError {
        CaptureError::Io {
            path: self.path.clone(),
            source,
        }
    }

    pub(super) fn malformed(
        &self,
        place: impl Into<String>,
        found: impl Into<String>,
        allowed: impl Into<String>,
    ) -> CaptureError {
        CaptureError::Malformed {
            path: self.path.clone(),
            place: place.into(),
            found: found.into(),
            allowed: allowed.into(),
        }
    }

    pub(super) fn unsupported(
        &self,
        what: impl Into<String>,
        allowed: impl Into<String>,
    ) -> CaptureError {
        CaptureError::Unsupported {
            path: self.path.clone(),
            what: what.into(),
            allowed: allowed.into(),
        }
    }
}

impl Read for Input {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        let waiting = &self.ahead[self.taken..];
        let count = if waiting.is_empty() {
            self.reader.read(buffer)?
        } else {
            let count = waiting.len().min(buffer.len());
            buffer[..count].copy_from_slice(&waiting[..count]);
            self.taken += count;
            count
        };
        self.consumed += count as u64;
        Ok(count)
    }
}

#[cfg(unix)]
fn is_device(metadata: &std::fs::Metadata) -> bool {
    use std::os::unix::fs::FileTypeExt;
    let kind = metadata.file_type();
    kind.is_char_device() || kind.is_block_device() || kind.is_socket()
}

#[cfg(not(unix))]
fn is_device(_: &std::fs::Metadata) -> bool {
    false
}
