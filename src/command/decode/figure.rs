//! `--figure`: drawing it.

use std::fs;
use std::path::{Path, PathBuf};

use ripplemark::capture::Unit;
use ripplemark::draw::{About, FIGURE_SIZE, View, figure_png, figure_svg};

use super::Report;
use super::load::Window;
use crate::command::figure_file::{FigureFile, FigureKind};

/// The window that the receiver kept its view of.
pub struct Material {
    /// Where it begins, seconds from the first sample of the file.
    pub from_s: f64,
    /// Its samples.
    pub window: Window,
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
        let real = |path: &Path| fs::canonicalize(path).ok();
        if let Some(figure) = real(&self.path)
            && captures
                .iter()
                .any(|path| real(path).as_ref() == Some(&figure))
        {
            anyhow::bail!(
                "{}: --figure would replace the capture itself; give another name",
                self.path.display()
            );
        }
        Ok(())
    }

    /// Draws and writes; after an error nothing is left behind.
    pub fn draw(&self, report: &Report) -> anyhow::Result<()> {
        let reason = report.findings.first().map(|finding| finding.text.as_str());
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
            reason,
        };
        let view = View::new(&report.reception, about);
        self.save(match self.kind {
            FigureKind::Png => figure_png(&view, FIGURE_SIZE)?,
            FigureKind::Svg => figure_svg(&view, FIGURE_SIZE)?.into_bytes(),
        })
    }
}
