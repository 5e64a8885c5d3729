//! Several named arrays (the members of an NPZ, the variables of a MAT-file) → one capture.

use super::memory_source::Kept;
use super::open::OpenOptions;
use super::text::{ArrayName, array_name};
use super::{
    CaptureError, ChannelInfo, Columns, Layout, RateOrigin, SampleSource, TimeColumn, Unit,
};
use std::path::Path;

/// Rows from which an even rise is told from a signal.
const LEAST_ROWS: usize = 16;

/// One array, a vector a channel.
pub(super) struct Named {
    pub(super) name: String,
    pub(super) channels: Vec<Vec<f32>>,
    pub(super) complex: bool,
}

/// Step of an evenly rising column, taken over all of it; `None` if it is none. Half a step is left for few digits.
pub(super) fn even_step(column: &[f32]) -> Option<f64> {
    if column.len() < LEAST_ROWS {
        return None;
    }
    let (first, last) = (f64::from(column[0]), f64::from(*column.last()?));
    let step = (last - first) / (column.len() - 1) as f64;
    let digits = 4.0 * f64::from(f32::EPSILON) * first.abs().max(last.abs());
    let even = column.iter().enumerate().all(|(row, &value)| {
        (f64::from(value) - first - step * row as f64).abs() <= 0.5 * step + digits
    });
    (step > 0.0 && step.is_finite() && even).then_some(step)
}

/// The longest arrays are the channels, an evenly rising one among them the time; single numbers are settings.
pub(super) fn assemble(
    path: &Path,
    arrays: Vec<Named>,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let rows = |array: &Named| array.channels.first().map_or(0, Vec::len);
    let longest = arrays.iter().map(rows).max().unwrap_or(0);
    let mut layout = Layout::default();
    let mut rate_hz = None;
    let (mut channels, mut columns) = (Vec::new(), Columns::default());
    let (mut left_out, mut place) = (Vec::new(), 0);
    let several = arrays
        .iter()
        .map(|array| array.channels.len())
        .sum::<usize>()
        > 1;
    for array in arrays {
        let count = rows(&array);
        if count == 1 && longest > 1 {
            match array_name(&array.name, f64::from(array.channels[0][0])) {
                ArrayName::Rate(rate) => rate_hz = Some((rate, RateOrigin::File)),
                ArrayName::Start(start_s) => layout.start_s = start_s,
                ArrayName::Other => left_out.push(array.name),
            }
            continue;
        }
        if count < longest || (array.complex && !channels.is_empty()) {
            left_out.push(array.name);
            continue;
        }
        let single = array.channels.len() == 1;
        layout.complex |= array.complex;
        for (index, samples) in array.channels.into_iter().enumerate() {
            place += 1;
            if several
                && !layout.complex
                && columns.time.is_none()
                && let Some(step) = even_step(&samples)
            {
                columns.time = Some(TimeColumn {
                    column: place,
                    unit_s: 1.0,
                    unit_guessed: true,
                });
                // Whole steps of one count samples.
                if step != 1.0 {
                    rate_hz.get_or_insert((1.0 / step, RateOrigin::TimeColumn));
                    layout.start_s = f64::from(samples[0]);
                }
                continue;
            }
            let name = if single {
                array.name.clone()
            } else {
                format!("{} {}", array.name, index + 1)
            };
            layout.channels.push(ChannelInfo {
                name,
                unit: Unit::Unknown,
            });
            columns.of_channels.push(place);
            channels.push(samples);
        }
    }
    if channels.is_empty() || longest == 0 {
        return Err(CaptureError::Malformed {
            path: path.to_owned(),
            place: "all arrays".into(),
            found: "no array of samples".into(),
            allowed: "one of numbers, a value a sample time, is needed".into(),
        });
    }
    if channels.len() > 256 {
        return Err(CaptureError::Unsupported {
            path: path.to_owned(),
            what: format!("{} channels", channels.len()),
            allowed: "at most 256 are".into(),
        });
    }
    if !left_out.is_empty() {
        left_out.truncate(5);
        layout.notes.push(format!(
            "Left out, as no channel of {longest} samples: {}.",
            left_out.join(", ")
        ));
    }
    columns.count = place;
    if several && !layout.complex {
        layout.columns = Some(columns);
    }
    options.settle_rate(&mut layout, rate_hz);
    layout.length = Some(longest as u64);
    let scale = options.scale as f32;
    if scale != 1.0 {
        for sample in channels.iter_mut().flatten() {
            *sample = (*sample * scale).clamp(f32::MIN, f32::MAX);
        }
    }
    Ok(Box::new(Kept::new(layout, channels)))
}
