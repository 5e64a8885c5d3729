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
    fn rows(&self) -> usize {
        self.channels.first().map_or(0, Vec::len)
    }

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
    left_out: Vec<String>,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let longest = arrays.iter().map(Named::rows).max().unwrap_or(0);
    let columns: usize = arrays.iter().map(|array| array.channels.len()).sum();
    let mut assembly = Assembly {
        longest,
        several: columns > 1,
        left_out,
        ..Assembly::default()
    };
    for array in arrays {
        assembly.add(array);
    }
    if assembly.channels.is_empty() || longest == 0 {
        return Err(CaptureError::Malformed {
            path: path.to_owned(),
            place: "all arrays".into(),
            found: "no array of samples".into(),
            allowed: "one of numbers, a value a sample time, is needed".into(),
        });
    }
    if assembly.channels.len() > 256 {
        return Err(CaptureError::Unsupported {
            path: path.to_owned(),
            what: format!("{} channels", assembly.channels.len()),
            allowed: "at most 256 are".into(),
        });
    }
    Ok(assembly.finish(options))
}

/// What the arrays so far make.
#[derive(Default)]
struct Assembly {
    /// Rows of the longest array.
    longest: usize,
    /// More than one column in all arrays together.
    several: bool,
    layout: Layout,
    rate_hz: Option<(f64, RateOrigin)>,
    channels: Vec<Vec<f32>>,
    columns: Columns,
    /// Names of arrays that are no channels.
    left_out: Vec<String>,
}

impl Assembly {
    fn add(&mut self, array: Named) {
        let rows = array.rows();
        let name = array_name(&array.name);
        if rows == 1 && self.longest > 1 {
            match name.setting(f64::from(array.channels[0][0])) {
                ArrayName::Rate(rate_hz) => self.rate_hz = Some((rate_hz, RateOrigin::File)),
                ArrayName::Start(start_s) => self.layout.start_s = start_s,
                ArrayName::Centre(centre_hz) => self.layout.centre_hz = Some(centre_hz),
                ArrayName::Other => self.left_out.push(array.name),
            }
            return;
        }
        if rows < self.longest || (array.complex && !self.channels.is_empty()) {
            self.left_out.push(array.name);
            return;
        }
        let is_single = array.channels.len() == 1;
        self.layout.complex |= array.complex;
        for (index, samples) in array.channels.into_iter().enumerate() {
            self.columns.count += 1;
            let rise = array.rise.filter(|rise| index == 0 && rise.holds(&samples));
            if let Some(rise) = rise.filter(|_| self.may_be_time()) {
                self.take_time(rise, name.seconds);
                continue;
            }
            let own_name = if is_single {
                name.name.clone()
            } else {
                format!("{} {}", name.name, index + 1)
            };
            self.take_channel(own_name, array.unit, name.volts, samples);
        }
        self.layout.notes.extend(array.notes);
    }

    fn may_be_time(&self) -> bool {
        self.several && !self.layout.complex && self.columns.time.is_none()
    }

    /// The next column as the time; `seconds` are those in one of its unit, where its name says it.
    fn take_time(&mut self, rise: Rise, seconds: Option<f64>) {
        let unit_s = seconds.unwrap_or(1.0);
        self.columns.time = Some(TimeColumn {
            column: self.columns.count,
            unit_s,
            unit_guessed: seconds.is_none(),
        });
        // Whole steps of one without a unit count samples.
        if seconds.is_some() || rise.step != 1.0 {
            let rate_hz = 1.0 / (rise.step * unit_s);
            self.rate_hz
                .get_or_insert((rate_hz, RateOrigin::TimeColumn));
            self.layout.start_s = rise.start * unit_s;
        }
    }

    /// The next column as a channel; `volts` are those in one of its unit, where its name says it.
    fn take_channel(
        &mut self,
        name: String,
        mut unit: Unit,
        volts: Option<f64>,
        mut samples: Vec<f32>,
    ) {
        if let (Some(volts), Unit::Unknown) = (volts, unit) {
            unit = Unit::Volt;
            for sample in &mut samples {
                *sample = (f64::from(*sample) * volts) as f32;
            }
        }
        self.layout.channels.push(ChannelInfo { name, unit });
        self.columns.of_channels.push(self.columns.count);
        self.channels.push(samples);
    }

    fn finish(self, options: &OpenOptions) -> Box<dyn SampleSource> {
        let Self {
            longest,
            mut layout,
            mut channels,
            mut left_out,
            ..
        } = self;
        if !left_out.is_empty() {
            left_out.truncate(5);
            layout.notes.push(format!(
                "Left out, as no channel of {longest} samples: {}.",
                left_out.join(", ")
            ));
        }
        if !layout.complex {
            layout.columns = self.several.then_some(self.columns);
            layout.centre_hz = None;
        }
        options.settle_rate(&mut layout, self.rate_hz);
        layout.length = Some(longest as u64);
        options.scale_levels(&mut channels, &layout.channels);
        Box::new(Kept::new(layout, channels))
    }
}

/// A name of the file without what would spoil a line of output.
pub(super) fn shown(name: &[u8]) -> String {
    String::from_utf8_lossy(name)
        .chars()
        .filter(|c| !c.is_control())
        .take(64)
        .collect()
}
