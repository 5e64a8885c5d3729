//! Values of options that are more than a number: which files are asked for, and a pick-up coil.

use std::path::{Path, PathBuf};

use super::super::figure_file::ending;
use fieldripple::decode::Pickup;
use fieldripple::number::within;

/// A file of arrays.
#[derive(Clone, Debug)]
pub enum ExportFile {
    /// Named arrays in one file.
    Npz(PathBuf),
    /// A column each.
    Csv(PathBuf),
}

/// Reads the value of `--export`.
pub fn export_file(value: &str) -> Result<ExportFile, String> {
    let path = PathBuf::from(value);
    match ending(&path).as_deref() {
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
}

/// Reads the value of `--report`.
pub fn report_file(value: &str) -> Result<PathBuf, String> {
    let path = PathBuf::from(value);
    match ending(&path).as_deref() {
        Some("html" | "htm") => Ok(path),
        _ => Err("a report's name must end in .html".into()),
    }
}

/// `TURNS,DIAMETER_MM`. A distance is refused: 20 cm before the middle of a coil of 5 cm the field falls with the cube of the distance, before one of
/// 50 cm hardly, and a capture says nothing of the antenna's size.
pub fn pickup(text: &str) -> Result<Pickup, String> {
    let (turns, diameter) = text
        .split_once(',')
        .ok_or("expected turns and diameter, as 10,50 for ten turns of 50 mm")?;
    if diameter.contains(',') {
        return Err("a distance does not tell the field elsewhere: how fast it falls is set by the antenna's size. Measure where the tag is, along its axis, and write TURNS,DIAMETER_MM; link works out the field at any place (field_ut_rms in --json)".into());
    }
    let turns = within(1.0..=10_000.0, "")(turns).map_err(|why| format!("turns: {why}"))?;
    let diameter_mm =
        within(1.0..=5000.0, "mm")(diameter).map_err(|why| format!("diameter: {why}"))?;
    Ok(Pickup {
        turns,
        diameter_m: 1e-3 * diameter_mm,
        full_scale_v: None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn coils_are_read_and_refused() {
        let coil = pickup("10, 50").unwrap();
        assert_eq!((coil.turns, coil.diameter_m), (10.0, 0.05));
        for bad in ["10", "0,50", "10,0.1", "x,50", "10,50,3", ""] {
            assert!(pickup(bad).is_err(), "{bad}");
        }
        assert!(pickup("10,50,300").unwrap_err().contains("antenna's size"));
    }
}
