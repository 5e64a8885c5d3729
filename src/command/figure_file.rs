//! A file for a figure, its kind known by the ending.

use std::fs;
#[cfg(feature = "cli")]
use std::io::Write;
use std::path::{Path, PathBuf};

#[cfg(feature = "cli")]
use anyhow::Context;
use anyhow::ensure;
#[cfg(feature = "cli")]
use fieldripple::{capture::write_atomically, draw::DrawError};

/// Where a figure goes.
#[derive(Clone, Debug)]
pub struct FigureFile {
    path: PathBuf,
    #[cfg_attr(
        not(feature = "cli"),
        expect(dead_code, reason = "the small program draws none")
    )]
    kind: FigureKind,
}

#[derive(Clone, Copy, Debug)]
enum FigureKind {
    Png,
    Svg,
}

/// Reads the value of `--figure`.
pub fn figure_file(value: &str) -> Result<FigureFile, String> {
    let path = PathBuf::from(value);
    let kind = match ending(&path).as_deref() {
        Some("png") => FigureKind::Png,
        Some("svg") => FigureKind::Svg,
        _ => return Err("a figure's name must end in .png or .svg".into()),
    };
    Ok(FigureFile { path, kind })
}

/// What a file's name ends in, in small letters.
pub fn ending(path: &Path) -> Option<String> {
    let ending = path.extension()?;
    Some(ending.to_string_lossy().to_ascii_lowercase())
}

/// Whether writing `output` would replace this file.
fn replaces(output: &Path, path: &Path) -> bool {
    let real = |path: &Path| fs::canonicalize(path).ok();
    real(output).is_some_and(|output| real(path) == Some(output))
}

/// Refuses a file that an option names where it would replace a capture.
pub fn keeps_captures(output: &Path, option: &str, captures: &[PathBuf]) -> anyhow::Result<()> {
    ensure!(
        !captures.iter().any(|capture| replaces(output, capture)),
        "{}: {option} would replace the capture itself; give another name",
        output.display()
    );
    Ok(())
}

impl FigureFile {
    /// The name as it was given.
    pub fn path(&self) -> &Path {
        &self.path
    }

    /// Draws in the kind asked for and writes; after an error nothing is left behind.
    #[cfg(feature = "cli")]
    pub fn write(
        &self,
        png: impl FnOnce() -> Result<Vec<u8>, DrawError>,
        svg: impl FnOnce() -> Result<String, DrawError>,
    ) -> anyhow::Result<()> {
        let bytes = match self.kind {
            FigureKind::Png => png()?,
            FigureKind::Svg => svg()?.into_bytes(),
        };
        write_atomically(&self.path, |writer| writer.write_all(&bytes))
            .with_context(|| format!("{}: the figure cannot be written", self.path.display()))
    }
}
