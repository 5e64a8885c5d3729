//! `--figure`: where it goes, and drawing it.

use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

use anyhow::Context;
use ripplemark::capture::{Unit, write_atomically};
use ripplemark::draw::{About, FIGURE_SIZE, View, figure_png, figure_svg};

use super::Report;
use super::load::Window;

/// A file for a figure, its kind known by the ending.
#[derive(Clone, Debug)]
pub struct FigureFile {
    path: PathBuf,
    kind: FigureKind,
}

#[derive(Clone, Copy, Debug)]
enum FigureKind {
    Png,
    Svg,
}

/// The window that the receiver kept its view of.
pub struct Material {
    /// Where it begins, seconds from the first sample of the file.
    pub from_s: f64,
    /// Its samples.
    pub window: Window,
}

/// Reads the value of `--figure`.
pub fn file(value: &str) -> Result<FigureFile, String> {
    let path = PathBuf::from(value);
    let ending = path
        .extension()
        .map(|ending| ending.to_string_lossy().to_ascii_lowercase());
    let kind = match ending.as_deref() {
        Some("png") => FigureKind::Png,
        Some("svg") => FigureKind::Svg,
        _ => return Err("a figure's name must end in .png or .svg".into()),
    };
    Ok(FigureFile { path, kind })
}

impl FigureFile {
    /// One figure shows one capture, and does not replace it.
    pub fn check(&self, captures: &[PathBuf]) -> anyhow::Result<()> {
        if captures.len() > 1 {
            anyhow::bail!(
                "--figure shows one capture, and {} were given; draw them one by one",
                captures.len()
            );
        }
        keep_captures(&self.path, "--figure", captures)
    }

    /// Draws and writes; after an error nothing is left behind.
    pub fn draw(&self, report: &Report) -> anyhow::Result<()> {
        let view = view(report);
        let bytes = match self.kind {
            FigureKind::Png => figure_png(&view, FIGURE_SIZE)?,
            FigureKind::Svg => figure_svg(&view, FIGURE_SIZE)?.into_bytes(),
        };
        write_atomically(&self.path, |writer| writer.write_all(&bytes))
            .with_context(|| format!("{}: the figure cannot be written", self.path.display()))
    }
}

/// Refuses an output that would replace one of the captures.
pub fn keep_captures(output: &Path, option: &str, captures: &[PathBuf]) -> anyhow::Result<()> {
    let real = |path: &Path| fs::canonicalize(path).ok();
    if let Some(file) = real(output)
        && captures
            .iter()
            .any(|path| real(path).as_ref() == Some(&file))
    {
        anyhow::bail!(
            "{}: {option} would replace the capture itself; give another name",
            output.display()
        );
    }
    Ok(())
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
