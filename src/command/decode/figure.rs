//! `--figure`: what is drawn of a capture.

use std::path::PathBuf;

use anyhow::ensure;
use fieldripple::capture::Unit;
use fieldripple::draw::{About, FIGURE_SIZE, View, figure_png, figure_svg};

use super::super::figure_file::FigureFile;
use super::Report;
use super::load::Window;

/// The window that the receiver kept its view of.
pub struct Material {
    /// Where it begins, seconds from the first sample of the file.
    pub from_s: f64,
    /// Its samples.
    pub window: Window,
}

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
pub fn draw(file: &FigureFile, report: &Report) -> anyhow::Result<()> {
    let view = view(report);
    file.write(
        || figure_png(&view, FIGURE_SIZE),
        || figure_svg(&view, FIGURE_SIZE),
    )
}

/// What is drawn of a capture.
pub fn view(report: &Report) -> View<'_> {
    let unit = match report.loaded.layout().channels.first().map(|c| c.unit) {
        Some(Unit::Volt) => "V",
        Some(Unit::FullScale) => "of full scale",
        _ => "",
    };
    let material = report.drawn.as_ref();
    let about = About {
        name: &report.path,
        unit,
        from_s: material.map_or(0.0, |material| material.from_s),
        samples: material.map(|material| report.loaded.signal(&material.window).samples),
        reason: report.findings.first().map(|finding| finding.text.as_str()),
    };
    View::new(&report.reception, about)
}
