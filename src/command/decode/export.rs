//! `--export`: what the figures show, as arrays for notebooks.

use std::path::{Path, PathBuf};

use anyhow::{Context, ensure};
use fieldripple::capture::{write_columns, write_npz};
use fieldripple::decode::Decoded;

use super::super::figure_file::replaces;

/// A file of arrays.
#[derive(Clone, Debug)]
pub enum ExportFile {
    /// Named arrays in one file.
    Npz(PathBuf),
    /// A column each.
    Csv(PathBuf),
}

/// Reads the value of `--export`.
pub fn file(value: &str) -> Result<ExportFile, String> {
    let path = PathBuf::from(value);
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase());
    match ending.as_deref() {
        Some("npz") => Ok(ExportFile::Npz(path)),
        Some("csv") => Ok(ExportFile::Csv(path)),
        _ => Err("the name must end in .npz or .csv".into()),
    }
}

impl ExportFile {
    pub fn path(&self) -> &Path {
        match self {
            Self::Npz(path) | Self::Csv(path) => path,
        }
    }

    /// One file holds one capture, and does not replace it.
    pub fn check(&self, captures: &[PathBuf]) -> anyhow::Result<()> {
        ensure!(
            captures.len() <= 1,
            "--export holds one capture, and {} were given; export them one by one",
            captures.len()
        );
        ensure!(
            !captures.iter().any(|path| replaces(self.path(), path)),
            "{}: --export would replace the capture itself; give another name",
            self.path().display()
        );
        Ok(())
    }

    /// Writes what there is.
    pub fn write(&self, decoded: &Decoded) -> anyhow::Result<()> {
        let arrays = fieldripple::page::view(decoded).arrays();
        ensure!(
            !arrays.is_empty(),
            "{}: not written: no field was found in the capture, so there is nothing to export",
            self.path().display()
        );
        match self {
            Self::Npz(path) => write_npz(path, &arrays),
            Self::Csv(path) => write_columns(path, &arrays),
        }
        .with_context(|| self.path().display().to_string())
    }
}
