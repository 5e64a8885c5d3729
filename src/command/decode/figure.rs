//! `--figure`: what is drawn of a capture.

use std::path::PathBuf;

use anyhow::ensure;
use fieldripple::draw::{FIGURE_SIZE, figure_png, figure_svg};
use fieldripple::page::view;

use super::super::figure_file::FigureFile;
use fieldripple::decode::Decoded;

/// One figure shows one capture, and does not replace it.
pub fn check(file: &FigureFile, captures: &[PathBuf]) -> anyhow::Result<()> {
    ensure!(
        captures.len() <= 1,
        "--figure shows one capture, and {} were given; draw them one by one",
        captures.len()
    );
    ensure!(
        !captures.iter().any(|path| file.replaces(path)),
        "{}: --figure would replace the capture itself; give another name",
        file.path().display()
    );
    Ok(())
}

/// Draws and writes.
pub fn draw(file: &FigureFile, decoded: &Decoded) -> anyhow::Result<()> {
    let view = view(decoded);
    file.write(
        || figure_png(&view, FIGURE_SIZE),
        || figure_svg(&view, FIGURE_SIZE),
    )
}
