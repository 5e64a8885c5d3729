//! Folders among the captures → the files in them.

use std::path::{Path, PathBuf};

use anyhow::Context;
use fieldripple::capture::CaptureError;
use fieldripple::decode::DecodeError;

/// Files that lie beside captures and are none, by their ending.
const NEVER: [&str; 12] = [
    "json", "toml", "md", "html", "htm", "png", "svg", "jpg", "jpeg", "pdf", "py", "sh",
];

/// Files of these endings are meant to be captures: one that cannot be read is an error.
const ALWAYS: [&str; 7] = ["wav", "npy", "csv", "txt", "tsv", "raw", "bin"];

fn ending(path: &Path) -> String {
    path.extension().map_or(String::new(), |ending| {
        ending.to_string_lossy().to_ascii_lowercase()
    })
}

/// Whether a file found in a folder may be a capture: none that is hidden, as unfinished ones are, or that says by its ending what else
/// it is. As bare samples (`raw`) nothing is read that has a header or is text.
pub fn may_be_capture(path: &Path, raw: bool) -> bool {
    let name = path.file_name().unwrap_or_default().to_string_lossy();
    let ending = ending(path);
    let headed = ["wav", "npy", "csv", "txt", "tsv"].contains(&ending.as_str());
    let otherwise = NEVER.contains(&ending.as_str()) || (raw && headed);
    !name.starts_with('.') && !otherwise
}

/// Whether a file found in a folder is passed over as something else: it has no capture's ending, and nothing a capture begins with.
pub fn is_no_capture(path: &Path, error: &DecodeError) -> bool {
    let unknown = matches!(
        error,
        DecodeError::Capture(CaptureError::Unsupported { .. } | CaptureError::Malformed { .. })
    );
    unknown && !ALWAYS.contains(&ending(path).as_str())
}

/// A capture to read, and whether it was found in a folder.
#[derive(Clone, Debug)]
pub struct Given {
    pub path: PathBuf,
    pub found: bool,
}

/// The captures given, and those in folders given, by name; folders in folders are left alone.
pub fn all(given: &[PathBuf], raw: bool) -> anyhow::Result<Vec<Given>> {
    let mut captures = Vec::new();
    for path in given {
        if !path.is_dir() {
            captures.push(Given {
                path: path.clone(),
                found: false,
            });
            continue;
        }
        let entries = std::fs::read_dir(path)
            .with_context(|| format!("{}: the folder cannot be read", path.display()))?;
        let mut files: Vec<PathBuf> = entries
            .flatten()
            .map(|entry| entry.path())
            .filter(|file| file.is_file() && may_be_capture(file, raw))
            .collect();
        files.sort();
        anyhow::ensure!(
            !files.is_empty(),
            "{}: no captures in this folder; WAV, NPY, text and (with --raw) bare samples are",
            path.display()
        );
        captures.extend(files.into_iter().map(|path| Given { path, found: true }));
    }
    Ok(captures)
}
