//! `--figure`: what is drawn of a capture.

use std::path::PathBuf;

use anyhow::ensure;
use fieldripple::draw::{About, FIGURE_SIZE, View, figure_png, figure_svg};

use super::super::figure_file::FigureFile;
use super::wording::of_level;
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

/// What is drawn of a capture.
pub fn view(decoded: &Decoded) -> View<'_> {
    let unit = of_level(decoded.unit()).trim_start();
    let kept = decoded.kept();
    let about = About {
        name: decoded.name(),
        unit,
        from_s: kept.map_or(0.0, |kept| kept.from_s),
        samples: kept.map(|kept| kept.window.samples()),
        reason: decoded
            .findings
            .first()
            .map(|finding| finding.text.as_str()),
    };
    View::new(&decoded.reception, about)
}
