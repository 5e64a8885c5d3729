//! Named arrays → one NPZ file, or a table.

use std::io::{Cursor, Write};
use std::path::Path;

use num_complex::Complex32;
use zip::write::SimpleFileOptions;
use zip::{CompressionMethod, ZipWriter};

use super::WriteError;
use super::write::npy_header;
use super::write_atomically;

/// The values of one array.
#[derive(Clone, Debug, PartialEq)]
pub enum ArrayValues {
    /// `<f8`.
    Reals(Vec<f64>),
    /// `<c8`.
    Complex(Vec<Complex32>),
    /// `|i1`.
    Small(Vec<i8>),
}

/// An array of one dimension.
#[derive(Clone, Debug, PartialEq)]
pub struct NamedArray {
    /// Its name, with the unit at the end where it has one.
    pub name: &'static str,
    /// What is in it.
    pub values: ArrayValues,
}

impl ArrayValues {
    fn len(&self) -> usize {
        match self {
            Self::Reals(values) => values.len(),
            Self::Complex(values) => values.len(),
            Self::Small(values) => values.len(),
        }
    }

    fn npy(&self) -> Vec<u8> {
        let kind = match self {
            Self::Reals(_) => "<f8",
            Self::Complex(_) => "<c8",
            Self::Small(_) => "|i1",
        };
        let mut bytes = npy_header(kind, &format!("({},)", self.len()));
        match self {
            Self::Reals(values) => bytes.extend(values.iter().flat_map(|v| v.to_le_bytes())),
            Self::Complex(values) => {
                let parts = values.iter().flat_map(|v| [v.re, v.im]);
                bytes.extend(parts.flat_map(f32::to_le_bytes));
            }
            Self::Small(values) => bytes.extend(values.iter().flat_map(|v| v.to_le_bytes())),
        }
        bytes
    }

    /// One cell a column; empty behind the end.
    fn cells(&self, row: usize) -> Vec<String> {
        let cell = |value: Option<String>| value.unwrap_or_default();
        match self {
            Self::Reals(values) => vec![cell(values.get(row).map(f64::to_string))],
            Self::Small(values) => vec![cell(values.get(row).map(i8::to_string))],
            Self::Complex(values) => {
                let value = values.get(row);
                vec![
                    cell(value.map(|v| v.re.to_string())),
                    cell(value.map(|v| v.im.to_string())),
                ]
            }
        }
    }
}

/// Writes arrays as an NPZ file: a zip of one NPY file each. The file appears whole or not at all, and the same arrays give the same bytes.
///
/// # Errors
/// [`WriteError`]: what the operating system says.
pub fn write_npz(path: &Path, arrays: &[NamedArray]) -> Result<(), WriteError> {
    let mut archive = ZipWriter::new(Cursor::new(Vec::new()));
    let options = SimpleFileOptions::default()
        .compression_method(CompressionMethod::Stored)
        .last_modified_time(zip::DateTime::default());
    for array in arrays {
        archive
            .start_file(format!("{}.npy", array.name), options)
            .map_err(std::io::Error::from)?;
        archive.write_all(&array.values.npy())?;
    }
    let bytes = archive.finish().map_err(std::io::Error::from)?.into_inner();
    Ok(write_atomically(path, |file| file.write_all(&bytes))?)
}

/// Writes arrays as a table with a column each, complex ones with one for either part; cells behind an array's end are empty. The
/// file appears whole or not at all.
///
/// # Errors
/// [`WriteError`]: what the operating system says.
pub fn write_columns(path: &Path, arrays: &[NamedArray]) -> Result<(), WriteError> {
    let titles: Vec<String> = arrays
        .iter()
        .flat_map(|array| match array.values {
            ArrayValues::Complex(_) => {
                vec![format!("{}_re", array.name), format!("{}_im", array.name)]
            }
            _ => vec![array.name.to_string()],
        })
        .collect();
    let rows = arrays.iter().map(|array| array.values.len()).max();
    write_atomically(path, |file| -> Result<(), WriteError> {
        writeln!(file, "{}", titles.join(","))?;
        for row in 0..rows.unwrap_or(0) {
            let cells: Vec<String> = arrays
                .iter()
                .flat_map(|array| array.values.cells(row))
                .collect();
            writeln!(file, "{}", cells.join(","))?;
        }
        Ok(())
    })
}
