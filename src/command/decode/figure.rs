//! `--figure`: what is drawn of a capture.

use std::path::PathBuf;

use anyhow::ensure;
use fieldripple::draw::{FIGURE_SIZE, figure_png, figure_svg};
use fieldripple::page::view;

use super::super::figure_file::{FigureFile, keeps_captures};
use super::file_output::FileOutput;
use fieldripple::decode::Decoded;

/// The file of a figure.
pub struct FigureOutput<'a>(&'a FigureFile);

impl<'a> FigureOutput<'a> {
    /// One figure shows one capture, and does not replace it.
    pub fn new(file: &'a FigureFile, captures: &[PathBuf]) -> anyhow::Result<Self> {
        ensure!(
            captures.len() <= 1,
            "--figure shows one capture, and {} were given; draw them one by one",
            captures.len()
        );
        keeps_captures(file.path(), "--figure", captures)?;
        Ok(Self(file))
    }
}

impl FileOutput for FigureOutput<'_> {
    fn add(&mut self, decoded: &Decoded) -> anyhow::Result<()> {
        let view = view(decoded);
        self.0.write(
            || figure_png(&view, FIGURE_SIZE),
            || figure_svg(&view, FIGURE_SIZE),
        )
    }
}
