//! `--export`: what the figures show, as arrays for notebooks.

use std::path::PathBuf;

use anyhow::{Context, ensure};
use fieldripple::capture::{write_columns, write_npz};
use fieldripple::decode::Decoded;

use super::super::figure_file::keeps_captures;
use super::file_output::FileOutput;
use super::option_values::ExportFile;

/// The file of a capture's arrays.
pub struct ExportOutput<'a>(&'a ExportFile);

impl<'a> ExportOutput<'a> {
    /// One file holds one capture, and does not replace it.
    pub fn new(file: &'a ExportFile, captures: &[PathBuf]) -> anyhow::Result<Self> {
        ensure!(
            captures.len() <= 1,
            "--export holds one capture, and {} were given; export them one by one",
            captures.len()
        );
        keeps_captures(file.path(), "--export", captures)?;
        Ok(Self(file))
    }
}

impl FileOutput for ExportOutput<'_> {
    fn add(&mut self, decoded: &Decoded) -> anyhow::Result<()> {
        let arrays = fieldripple::page::view(decoded).arrays();
        ensure!(
            !arrays.is_empty(),
            "{}: not written: no field was found in the capture, so there is nothing to export",
            self.0.path().display()
        );
        match self.0 {
            ExportFile::Npz(path) => write_npz(path, &arrays),
            ExportFile::Csv(path) => write_columns(path, &arrays),
        }
        .with_context(|| self.0.path().display().to_string())
    }
}
