//! Captures that are still coming: pipes, and files that grow.

use std::fs::File;
use std::io::{self, Read};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

use super::input::Input;
use super::open::recognise;
use super::options::OpenOptions;
use super::{CaptureError, SampleSource, text};

/// How often a file is asked whether it has grown.
const POLL: Duration = Duration::from_millis(50);

/// Bytes looked at to tell text.
const SNIFF_BYTES: usize = 64;

/// Opens the bytes of a capture that is still coming; `name` is what messages call it. Reading waits for samples.
///
/// # Errors
/// As [`open`](super::open); text too, as its rate is known at its end only.
pub fn open_stream(
    name: &str,
    reader: impl Read + Send + 'static,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let path = Path::new(name);
    options.check(path)?;
    let mut input = Input::new(path, Box::new(reader), None);
    if options.raw.is_none() && text::looks_like_text(input.peek(SNIFF_BYTES)?) {
        return Err(input.unsupported(
            "text as a stream",
            "its rate is known at its end only: stream WAV, NPY or bare samples with --raw",
        ));
    }
    recognise(input, options, 0)
}

/// Opens what is to be followed: standard input (`-`), a pipe, or a file that grows. A file is read on as it grows until `stop` is set,
/// it is removed, or it becomes shorter.
///
/// # Errors
/// Whatever the operating system reports.
pub fn open_growing(
    path: &Path,
    stop: Arc<AtomicBool>,
) -> Result<Box<dyn Read + Send>, CaptureError> {
    if path == Path::new("-") {
        return Ok(Box::new(io::stdin()));
    }
    let fail = |source| CaptureError::Io {
        path: path.to_owned(),
        source,
    };
    let metadata = std::fs::metadata(path).map_err(fail)?;
    let file = File::open(path).map_err(fail)?;
    if !metadata.is_file() {
        return Ok(Box::new(file));
    }
    Ok(Box::new(Growing {
        path: path.to_owned(),
        file,
        place: 0,
        stop,
    }))
}

/// A file that is read on as it grows.
struct Growing {
    path: PathBuf,
    file: File,
    place: u64,
    stop: Arc<AtomicBool>,
}

impl Read for Growing {
    fn read(&mut self, buffer: &mut [u8]) -> io::Result<usize> {
        loop {
            let count = self.file.read(buffer)?;
            self.place += count as u64;
            if count > 0 || buffer.is_empty() {
                return Ok(count);
            }
            let shorter = self.file.metadata()?.len() < self.place;
            if shorter || self.stop.load(Ordering::Relaxed) || !self.path.exists() {
                return Ok(0);
            }
            std::thread::sleep(POLL);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::io::Write;

    #[test]
    fn a_file_is_read_on_as_it_grows() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("growing");
        let mut file = File::create(&path).unwrap();
        file.write_all(b"abc").unwrap();
        let stop = Arc::new(AtomicBool::new(false));
        let mut reader = open_growing(&path, Arc::clone(&stop)).unwrap();
        let writer = std::thread::spawn(move || {
            std::thread::sleep(3 * POLL);
            file.write_all(b"def").unwrap();
        });
        let mut six = [0; 6];
        reader.read_exact(&mut six).unwrap();
        assert_eq!(&six, b"abcdef");
        writer.join().unwrap();
        stop.store(true, Ordering::Relaxed);
        assert_eq!(reader.read(&mut six).unwrap(), 0);
    }

    #[test]
    fn text_is_no_stream() {
        let options = OpenOptions::default();
        let refused = open_stream("-", &b"time,volt\n0,1\n"[..], &options)
            .err()
            .unwrap();
        assert!(refused.to_string().contains("--raw"), "{refused}");
    }
}
