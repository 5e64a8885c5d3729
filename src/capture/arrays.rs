//! Several named arrays (the members of an NPZ, the variables of a MAT-file, the fields of a structured NPY) → one capture.

use super::memory_source::Kept;
use super::options::OpenOptions;
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
    /// Of its values as they stand.
    pub(super) unit: Unit,
    /// The first channel's first rows, where they rise evenly: single precision would say the step too roughly.
    pub(super) rise: Option<Rise>,
    /// Remarks about it.
    pub(super) notes: Vec<String>,
}

impl Named {
    /// Holds the last good value where one is not finite.
    pub(super) fn mend(&mut self) {
        let missing = (self.channels.iter().flatten())
            .filter(|sample| !sample.is_finite())
            .count();
        if missing == 0 {
            return;
        }
        self.notes.push(format!(
            "{missing} values of \"{}\" are no numbers: the last good value was held.",
            self.name
        ));
        for channel in &mut self.channels {
            let mut last = channel
                .iter()
                .copied()
                .find(|s| s.is_finite())
                .unwrap_or(0.0);
            for sample in channel {
                if sample.is_finite() {
                    last = *sample;
                }
                *sample = last;
            }
        }
    }
}

/// An even rise: step and first value.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Rise {
    pub(super) step: f64,
    pub(super) start: f64,
}

impl Rise {
    /// Of a column that rises evenly all the way. Half a step is left for times of few digits.
    pub(super) fn of(column: &[f64]) -> Option<Self> {
        let (start, last) = (*column.first()?, *column.last()?);
        let step = (last - start) / (column.len() - 1) as f64;
        let even = column
            .iter()
            .enumerate()
            .all(|(row, value)| (value - start - step * row as f64).abs() <= 0.5 * step);
        (column.len() >= LEAST_ROWS && step > 0.0 && step.is_finite() && even)
            .then_some(Self { step, start })
    }

    /// Does a whole column go on like that? It is known to single precision only.
    fn holds(self, column: &[f32]) -> bool {
        let last = column.last().copied().unwrap_or(0.0);
        let digits = 4.0 * f64::from(f32::EPSILON) * self.start.abs().max(f64::from(last).abs());
        column.iter().enumerate().all(|(row, &value)| {
            // The step is known to half of one over the first rows.
            let wanted = self.start + self.step * row as f64;
            (f64::from(value) - wanted).abs() <= (1.0 + 1e-3 * row as f64) * self.step + digits
        })
    }
}

/// The longest arrays are the channels, an evenly rising one among them the time; single numbers are settings.
pub(super) fn assemble(
    path: &Path,
    arrays: Vec<Named>,
    mut left_out: Vec<String>,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let rows = |array: &Named| array.channels.first().map_or(0, Vec::len);
    let longest = arrays.iter().map(rows).max().unwrap_or(0);
    let mut layout = Layout::default();
    let mut rate_hz = None;
    let (mut channels, mut columns) = (Vec::new(), Columns::default());
    let mut place = 0;
    let several = arrays
        .iter()
        .map(|array| array.channels.len())
        .sum::<usize>()
        > 1;
    for array in arrays {
        let count = rows(&array);
        let name = array_name(&array.name);
        if count == 1 && longest > 1 {
            match name.setting(f64::from(array.channels[0][0])) {
                ArrayName::Rate(rate) => rate_hz = Some((rate, RateOrigin::File)),
                ArrayName::Start(start_s) => layout.start_s = start_s,
                ArrayName::Centre(centre_hz) => layout.centre_hz = Some(centre_hz),
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
        for (index, mut samples) in array.channels.into_iter().enumerate() {
            place += 1;
            if several
                && !layout.complex
                && columns.time.is_none()
                && index == 0
                && let Some(rise) = array.rise.filter(|rise| rise.holds(&samples))
            {
                columns.time = Some(TimeColumn {
                    column: place,
                    unit_s: name.seconds.unwrap_or(1.0),
                    unit_guessed: name.seconds.is_none(),
                });
                let unit_s = name.seconds.unwrap_or(1.0);
                // Whole steps of one without a unit count samples.
                if name.seconds.is_some() || rise.step != 1.0 {
                    rate_hz.get_or_insert((1.0 / (rise.step * unit_s), RateOrigin::TimeColumn));
                    layout.start_s = rise.start * unit_s;
                }
                continue;
            }
            let mut unit = array.unit;
            if let (Some(volts), Unit::Unknown) = (name.volts, unit) {
                unit = Unit::Volt;
                samples
                    .iter_mut()
                    .for_each(|sample| *sample = (f64::from(*sample) * volts) as f32);
            }
            let name = if single {
                name.name.clone()
            } else {
                format!("{} {}", name.name, index + 1)
            };
            layout.channels.push(ChannelInfo { name, unit });
            columns.of_channels.push(place);
            channels.push(samples);
        }
        layout.notes.extend(array.notes);
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
    if !layout.complex {
        layout.centre_hz = None;
    }
    options.settle_rate(&mut layout, rate_hz);
    layout.length = Some(longest as u64);
    for (samples, channel) in channels.iter_mut().zip(&layout.channels) {
        if channel.unit != Unit::FullScale && options.scale != 1.0 {
            for sample in samples {
                let scaled = (f64::from(*sample) * options.scale) as f32;
                *sample = scaled.clamp(f32::MIN, f32::MAX);
            }
        }
    }
    Ok(Box::new(Kept::new(layout, channels)))
}

/// A name of the file without what would spoil a line of output.
pub(super) fn shown(name: &[u8]) -> String {
    String::from_utf8_lossy(name)
        .chars()
        .filter(|c| !c.is_control())
        .take(64)
        .collect()
}
