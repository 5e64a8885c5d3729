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
/// As [`open`](super::open). Of text the rate is the one that its first rows tell.
pub fn open_stream(
    name: &str,
    reader: impl Read + Send + 'static,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let path = Path::new(name);
    options.check(path)?;
    let mut input = Input::new(path, Box::new(reader), None);
    if options.raw.is_none() && text::looks_like_text(input.peek(SNIFF_BYTES)?) {
        return text::open_stream(input, options);
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

    /// Rows come one by one, and the writer waits in the middle: what was written before is there.
    #[test]
    fn text_is_read_as_it_comes() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("growing.csv");
        let mut file = File::create(&path).unwrap();
        let row = |n: u32| format!("{:.6},{}\n", f64::from(n) * 2e-6, f64::from(n % 7) / 4.0);
        let rows = |range: std::ops::Range<u32>| range.map(row).collect::<String>();
        file.write_all(b"time (s),coil (V)\n").unwrap();
        file.write_all(rows(0..20_000).as_bytes()).unwrap();
        let stop = Arc::new(AtomicBool::new(false));
        let reader = open_growing(&path, Arc::clone(&stop)).unwrap();
        let mut source = open_stream("-", reader, &OpenOptions::default()).unwrap();
        let rate_hz = source.layout().rate_hz.unwrap();
        assert!((rate_hz / 5e5 - 1.0).abs() < 1e-3, "{rate_hz}");
        let mut channels = [Vec::new()];
        while channels[0].len() < 19_000 {
            assert!(source.read(1000, &mut channels).unwrap() > 0);
        }
        // The last row is not complete.
        file.write_all(rows(20_000..30_000).as_bytes()).unwrap();
        file.write_all(b"0.06").unwrap();
        stop.store(true, Ordering::Relaxed);
        while source.read(1000, &mut channels).unwrap() > 0 {}
        assert_eq!(channels[0].len(), 30_000);
        let wanted = |n: usize| f64::from(n as u32 % 7) / 4.0;
        let all = channels[0].iter().enumerate();
        assert!(all.clone().all(|(n, x)| f64::from(*x) == wanted(n)));
    }

    /// A row that is none ends a stream with its line, be it among the first, which tell how the text is read, or far behind.
    #[test]
    fn a_row_that_is_none_ends_a_stream_of_text() {
        for bad in [50, 9000] {
            let row = |n| match n {
                _ if n == bad => format!("{n},half\n"),
                _ => format!("{n},0.5\n"),
            };
            let text: String = (0..9500).map(row).collect();
            let options = OpenOptions {
                rate_hz: Some(5e5),
                ..OpenOptions::default()
            };
            let error = match open_stream("-", io::Cursor::new(text), &options) {
                Ok(mut source) => loop {
                    match source.read(1000, &mut [Vec::new()]) {
                        Ok(0) => panic!("read to the end"),
                        Ok(_) => {}
                        Err(error) => break error,
                    }
                },
                Err(error) => error,
            };
            let said = error.to_string();
            let place = format!("line {}", bad + 1);
            assert!(said.contains(&place) && said.contains("half"), "{said}");
        }
    }
}
