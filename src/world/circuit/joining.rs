//! What circuits can be joined, and what the refusal says.

use super::parts::{Modulator, Reader, Tag};
use nalgebra::DMatrix;
use thiserror::Error;

/// More tags than this would need 2^n switched circuits in memory.
const MOST_TAGS: usize = 8;
/// More readers than this are refused.
const MOST_READERS: usize = 4;

/// Why circuits cannot be joined as described.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum CircuitError {
    /// A component value out of range.
    #[error("{part} {index}: {what} is {value}, {allowed} is needed")]
    Value {
        /// "reader" or "tag".
        part: &'static str,
        /// Which one, from 1.
        index: usize,
        /// Which quantity.
        what: &'static str,
        /// The value given.
        value: f64,
        /// What is allowed.
        allowed: &'static str,
    },
    /// Number of readers or tags.
    #[error("{readers} readers and {tags} tags: 1 to 4 readers and up to 8 tags are allowed")]
    Count {
        /// Readers given.
        readers: usize,
        /// Tags given.
        tags: usize,
    },
    /// The matrix has another size than the coils.
    #[error("mutual inductances are {rows} × {columns} for {coils} coils")]
    Shape {
        /// Rows given.
        rows: usize,
        /// Columns given.
        columns: usize,
        /// Coils there are.
        coils: usize,
    },
    /// Couplings no set of coils can have.
    #[error(
        "the mutual inductances are impossible for these coils: the coupling factor of every pair must be below 1 and together they must store positive energy"
    )]
    Coupling,
}

/// Checks number and values of all parts.
pub(super) fn check_parts(readers: &[Reader], tags: &[Tag]) -> Result<(), CircuitError> {
    if readers.is_empty() || readers.len() > MOST_READERS || tags.len() > MOST_TAGS {
        return Err(CircuitError::Count {
            readers: readers.len(),
            tags: tags.len(),
        });
    }
    for (index, reader) in readers.iter().enumerate() {
        check(
            "reader",
            index,
            &[
                ("field frequency (Hz)", reader.frequency_hz),
                ("inductance (H)", reader.inductance_h),
                ("capacitance (F)", reader.capacitance_f),
                ("source resistance (ohm)", reader.source_ohm),
            ],
            &[
                ("coil resistance (ohm)", reader.coil_ohm),
                ("drive voltage (V)", reader.drive_v),
                ("capacitance across the antenna (F)", reader.shunt_f),
            ],
        )?;
    }
    for (index, tag) in tags.iter().enumerate() {
        let mut positive = vec![
            ("inductance (H)", tag.inductance_h),
            ("capacitance (F)", tag.capacitance_f),
            ("chip resistance (ohm)", tag.chip_ohm),
        ];
        match tag.modulator {
            Modulator::Resistor { ohm } => positive.push(("modulation resistance (ohm)", ohm)),
            Modulator::Capacitor { farad, ohm } => positive.extend([
                ("modulation capacitance (F)", farad),
                (
                    "resistance in series with the modulation capacitor (ohm)",
                    ohm,
                ),
            ]),
        }
        if let Some(clamp) = tag.clamp {
            positive.extend([
                ("clamp voltage (V)", clamp.voltage_v),
                ("clamp slope resistance (ohm)", clamp.slope_ohm),
            ]);
        }
        check(
            "tag",
            index,
            &positive,
            &[
                ("coil resistance (ohm)", tag.coil_ohm),
                ("minimum voltage (V)", tag.minimum_v),
                ("hold-up time (s)", tag.hold_up_s),
                ("start-up time (s)", tag.start_up_s),
            ],
        )?;
    }
    Ok(())
}

/// Checks the couplings and returns the inductance matrix and its inverse.
pub(super) fn couple(
    readers: &[Reader],
    tags: &[Tag],
    mutual_h: &[Vec<f64>],
) -> Result<(DMatrix<f64>, DMatrix<f64>), CircuitError> {
    let coils = readers.len() + tags.len();
    if mutual_h.len() != coils || mutual_h.iter().any(|row| row.len() != coils) {
        let columns = mutual_h
            .iter()
            .map(Vec::len)
            .find(|&n| n != coils)
            .unwrap_or(coils);
        return Err(CircuitError::Shape {
            rows: mutual_h.len(),
            columns,
            coils,
        });
    }
    let own: Vec<f64> = readers
        .iter()
        .map(|reader| reader.inductance_h)
        .chain(tags.iter().map(|tag| tag.inductance_h))
        .collect();
    let mutual_h = DMatrix::from_fn(coils, coils, |row, column| {
        if row == column {
            own[row]
        } else {
            mutual_h[row][column]
        }
    });
    let symmetric = mutual_h
        .iter()
        .zip(mutual_h.transpose().iter())
        .all(|(a, b)| (a - b).abs() <= 1e-12 * a.abs().max(b.abs()));
    let inverse = mutual_h
        .clone()
        .cholesky()
        .filter(|_| symmetric && mutual_h.iter().all(|value| value.is_finite()))
        .ok_or(CircuitError::Coupling)?
        .inverse();
    Ok((mutual_h, inverse))
}

fn check(
    part: &'static str,
    index: usize,
    positive: &[(&'static str, f64)],
    not_negative: &[(&'static str, f64)],
) -> Result<(), CircuitError> {
    let refuse = |what, value, allowed| {
        Err(CircuitError::Value {
            part,
            index: index + 1,
            what,
            value,
            allowed,
        })
    };
    for &(what, value) in positive {
        if !(value.is_finite() && value > 0.0) {
            return refuse(what, value, "a positive number");
        }
    }
    for &(what, value) in not_negative {
        if !(value.is_finite() && value >= 0.0) {
            return refuse(what, value, "zero or a positive number");
        }
    }
    Ok(())
}
