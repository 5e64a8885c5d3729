//! Scenario files and other short texts that describe a capture.

use std::fs::File;
use std::io::{self, Read};
use std::path::Path;

/// A description is written by hand: a mebibyte is a thousand times more than it takes.
const LONGEST: u64 = 1 << 20;

/// The whole text of a description.
///
/// # Errors
/// Whatever the operating system reports, no UTF-8, or a file of more than 1 MiB.
pub fn read_description(path: &Path) -> io::Result<String> {
    let mut text = String::new();
    File::open(path)?
        .take(LONGEST + 1)
        .read_to_string(&mut text)?;
    if text.len() as u64 > LONGEST {
        return Err(io::Error::new(
            io::ErrorKind::InvalidData,
            "longer than 1 MiB, which no description is",
        ));
    }
    Ok(text)
}

/// All bytes of a file, as they are handed to another program.
///
/// # Errors
/// Whatever the operating system reports, or a file of more than `longest` bytes.
pub fn read_whole(path: &Path, longest: u64) -> io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?
        .take(longest.saturating_add(1))
        .read_to_end(&mut bytes)?;
    if bytes.len() as u64 > longest {
        return Err(io::Error::new(
            io::ErrorKind::InvalidData,
            format!("longer than {longest} bytes"),
        ));
    }
    Ok(bytes)
}
