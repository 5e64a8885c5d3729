//! Where a figure goes.

use std::io::Write;
use std::path::PathBuf;

use anyhow::Context;
use ripplemark::capture::write_atomically;

/// A file for a figure, its kind known by the ending.
#[derive(Clone, Debug)]
pub struct FigureFile {
    pub path: PathBuf,
    pub kind: FigureKind,
}

/// How it is drawn.
#[derive(Clone, Copy, Debug)]
pub enum FigureKind {
    Png,
    Svg,
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
    /// Writes the file; after an error nothing is left behind.
    pub fn save(&self, bytes: Vec<u8>) -> anyhow::Result<()> {
        write_atomically(&self.path, |writer| writer.write_all(&bytes))
            .with_context(|| format!("{}: the figure cannot be written", self.path.display()))
    }
}
