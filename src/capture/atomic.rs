//! Files that appear whole or not at all.

use std::fs::{self, File, OpenOptions};
use std::io::{self, BufWriter, Write};
use std::path::{Path, PathBuf};

/// Writes `path` through a temporary file beside it, which takes its name when everything is on the disk; after an
/// error nothing is left behind and what stood there before still stands. A link is followed. What is no regular file
/// (a pipe, a device) is written to directly.
///
/// # Errors
/// Whatever `content` or the operating system reports.
pub fn write_atomically<T, E: From<io::Error>>(
    path: &Path,
    content: impl FnOnce(&mut BufWriter<File>) -> Result<T, E>,
) -> Result<T, E> {
    // A link that leads nowhere cannot be resolved: it is replaced.
    let path = fs::canonicalize(path).unwrap_or_else(|_| path.to_owned());
    if let Ok(metadata) = fs::metadata(&path)
        && !metadata.is_file()
    {
        if metadata.is_dir() {
            return Err(io::Error::from(io::ErrorKind::IsADirectory).into());
        }
        let mut writer = BufWriter::new(OpenOptions::new().write(true).open(&path)?);
        let value = content(&mut writer)?;
        writer.flush()?;
        return Ok(value);
    }
    let (file, temporary) = create_beside(&path)?;
    let mut writer = BufWriter::with_capacity(1 << 16, file);
    let result = content(&mut writer).and_then(|value| {
        writer.flush()?;
        fs::rename(&temporary, &path)?;
        Ok(value)
    });
    if result.is_err() {
        // The first error is the one to report.
        let _ = fs::remove_file(&temporary);
    }
    result
}

/// Removes from a folder what this process has begun to write there and not finished: for a program that is told to stop at once.
pub fn remove_unfinished(folder: &Path) {
    let own = format!(".{}-", std::process::id());
    let Ok(entries) = fs::read_dir(folder) else {
        return;
    };
    for entry in entries.flatten() {
        let name = entry.file_name();
        let name = name.to_string_lossy();
        let unfinished = name
            .strip_suffix(".part")
            .and_then(|rest| rest.rsplit_once(&own))
            .is_some_and(|(name, count)| name.starts_with('.') && count.parse::<u32>().is_ok());
        if unfinished {
            // There is nobody left to tell of a failure.
            let _ = match entry.file_type() {
                Ok(kind) if kind.is_dir() => fs::remove_dir_all(entry.path()),
                _ => fs::remove_file(entry.path()),
            };
        }
    }
}

/// A new file in the folder of `path`, under a name nobody has.
fn create_beside(path: &Path) -> io::Result<(File, PathBuf)> {
    let Some(name) = path.file_name() else {
        return Err(io::Error::new(io::ErrorKind::InvalidInput, "no file name"));
    };
    for attempt in 0..1000 {
        let mut hidden = std::ffi::OsString::from(".");
        hidden.push(name);
        hidden.push(format!(".{}-{attempt}.part", std::process::id()));
        let temporary = path.with_file_name(hidden);
        match OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(&temporary)
        {
            Ok(file) => return Ok((file, temporary)),
            Err(error) if error.kind() == io::ErrorKind::AlreadyExists => {}
            Err(error) => return Err(error),
        }
    }
    Err(io::ErrorKind::AlreadyExists.into())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_failed_write_leaves_the_old_file_and_no_other() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("truth.json");
        write_atomically(&path, |w| w.write_all(b"old")).unwrap();
        let failed: io::Result<()> = write_atomically(&path, |w| {
            w.write_all(b"new")?;
            Err(io::ErrorKind::Other.into())
        });
        assert!(failed.is_err());
        assert_eq!(fs::read(&path).unwrap(), b"old");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
    }

    #[test]
    fn only_what_this_process_left_unfinished_is_removed() {
        let folder = tempfile::tempdir().unwrap();
        let (_file, path) = create_beside(&folder.path().join("a.wav")).unwrap();
        let others = [
            "a.wav".to_string(),
            format!(".a.wav.{}1-0.part", std::process::id()),
            format!("a.{}-x.part", std::process::id()),
        ];
        for name in &others {
            fs::write(folder.path().join(name), "").unwrap();
        }
        remove_unfinished(folder.path());
        assert!(!path.exists());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), others.len());
    }

    #[test]
    fn a_folder_is_refused() {
        let folder = tempfile::tempdir().unwrap();
        assert!(write_atomically(folder.path(), |w| w.write_all(b"x")).is_err());
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 0);
    }
}
