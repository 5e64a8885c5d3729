//! A table that was read → a capture: gaps filled, rate, units and levels settled.

use super::super::input::Input;
use super::super::memory_source::Kept;
use super::super::options::{OpenOptions, readable};
use super::super::{CaptureError, ChannelInfo, Layout, RateOrigin, SampleSource, Unit};
use super::edges::{self, Edges};
use super::steps::Leap;
use super::table::Table;

impl Table {
    /// Fills gaps, settles rate and units.
    pub(super) fn into_source(
        mut self,
        input: &Input,
        options: &OpenOptions,
    ) -> Result<Box<dyn SampleSource>, CaptureError> {
        let mut layout = Layout {
            notes: std::mem::take(&mut self.notes),
            pieces: std::mem::take(&mut self.pieces),
            ..Layout::default()
        };
        layout.notes.extend(note_on_pieces(layout.pieces.len()));
        let Taken {
            mut channels,
            is_two_level,
        } = self.take_channels(&mut layout);
        if channels.is_empty() {
            let found = "more than half of the values are missing or no numbers";
            return Err(input.malformed("all rows", found, "at least half must be numbers"));
        }
        let rows = channels.first().map_or(0, Vec::len);
        if self.steps.missing() * 2 > rows as u64 && self.plan.has_time() {
            let found = "more than half of the times are missing";
            return Err(input.malformed("time column", found, "at least half must be numbers"));
        }
        layout.logic = is_two_level;
        if layout.logic {
            for sample in channels.iter_mut().flatten() {
                *sample = *sample * 2.0 - 1.0;
            }
        } else {
            options.scale_levels(&mut channels, &layout.channels);
        }
        let settings = &self.plan.settings;
        let pace = self.steps.pace();
        layout.start_s = pace.map_or(settings.start_s.unwrap_or(0.0), |pace| pace.start_s);
        if layout.logic
            && let Some(times) = self.times.filter(|times| are_edges(times, &channels))
        {
            return edge_source(input, options, layout, times, channels);
        }
        let own = settle(settings.rate(), pace, &mut layout.notes);
        options.settle_rate(&mut layout, own);
        if let Some(rate_hz) = pace.map(|pace| pace.rate_hz)
            && !layout.logic
        {
            fill_leaps(&mut channels, self.steps.leaps(), rate_hz, &mut layout);
        }
        layout.length = channels.first().map(|channel| channel.len() as u64);
        Ok(Box::new(Kept::new(layout, channels)))
    }

    /// The columns that hold enough, their gaps filled; `layout` says which and what was done.
    fn take_channels(&mut self, layout: &mut Layout) -> Taken {
        let mut taken = std::mem::take(&mut self.plan.columns);
        let places = std::mem::take(&mut taken.of_channels);
        let names = std::mem::take(&mut self.plan.names);
        let rows = self
            .columns
            .first()
            .map_or(0, |column| column.samples.len());
        let (mut channels, mut gone, mut replaced) = (Vec::new(), Vec::new(), 0);
        let (mut two_level, mut both) = (true, false);
        for (index, (column, (name, unit))) in self.columns.iter_mut().zip(names).enumerate() {
            if column.missing * 2 > rows as u64 || rows == 0 {
                gone.push(name);
                continue;
            }
            replaced += column.missing;
            let first = column.samples.get(column.leading).copied().unwrap_or(0.0);
            column.samples[..column.leading].fill(first);
            two_level &= column.two_level && unit != Unit::Volt;
            both |= column.samples.iter().any(|&sample| sample != first);
            taken.of_channels.extend(places.get(index));
            layout
                .notes
                .extend(note_on_counts(&name, unit, &column.samples));
            layout.channels.push(ChannelInfo { name, unit });
            channels.push(std::mem::take(&mut column.samples));
        }
        if !channels.is_empty() {
            layout
                .notes
                .extend(gone.iter().map(|name| note_on_gone(name)));
            layout.notes.extend(note_on_replaced(replaced));
        }
        layout.columns = Some(taken);
        Taken {
            channels,
            is_two_level: two_level && both,
        }
    }
}

/// Columns taken as channels.
struct Taken {
    channels: Vec<Vec<f32>>,
    /// All of them hold 0 and 1 alone, and not one of the two only.
    is_two_level: bool,
}

/// Are the rows changes of levels at these times?
fn are_edges(times: &[f64], channels: &[Vec<f32>]) -> bool {
    times.iter().all(|time| time.is_finite())
        && edges::are_edges(channels)
        && edges::are_uneven(times)
}

fn note_on_pieces(beginnings: usize) -> Option<String> {
    let times = if beginnings == 1 { "time" } else { "times" };
    (beginnings > 0).then(|| {
        format!(
            "The time column begins anew {beginnings} {times}: the file holds {} pieces, each taken for itself.",
            beginnings + 1
        )
    })
}

fn note_on_counts(name: &str, unit: Unit, samples: &[f32]) -> Option<String> {
    let (lowest, highest) = counts(samples).filter(|_| unit == Unit::Volt)?;
    Some(format!(
        "Channel \"{name}\" is said to be in volts, but holds whole numbers from {lowest} to {highest}: they look like \
         the converter's counts, and levels in volts may not hold."
    ))
}

fn note_on_gone(name: &str) -> String {
    format!("Channel \"{name}\" was left out: more than half of its values are missing.")
}

fn note_on_replaced(values: u64) -> Option<String> {
    let what = match values {
        0 => return None,
        1 => "1 value is missing, over range or no number".to_owned(),
        _ => format!("{values} values are missing, over range or no numbers"),
    };
    Some(format!("{what}: the last good value was held."))
}

/// Holds the last value where the time leaps, so that what follows stands at its time. What is missing may be as long as
/// what is there; more is left out, and said.
fn fill_leaps(channels: &mut [Vec<f32>], leaps: &[Leap], rate_hz: f64, layout: &mut Layout) {
    let Some(first) = leaps.first() else {
        return;
    };
    let rows = channels.first().map_or(0, Vec::len);
    let missing: Vec<(usize, f64)> = leaps
        .iter()
        .map(|leap| (leap.row as usize, (leap.step_s * rate_hz).round() - 1.0))
        .collect();
    let all: f64 = missing.iter().map(|place| place.1).sum();
    let fits = all <= rows as f64;
    if fits {
        for channel in channels {
            let mut whole = Vec::with_capacity(rows + all as usize);
            let mut from = 0;
            for &(row, count) in &missing {
                whole.extend_from_slice(&channel[from..row]);
                whole.extend(std::iter::repeat_n(channel[row - 1], count as usize));
                from = row;
            }
            whole.extend_from_slice(&channel[from..]);
            *channel = whole;
        }
        // Pieces begin as much later as was filled before them.
        for piece in &mut layout.pieces {
            let before = missing.iter().filter(|place| place.0 as u64 <= *piece);
            *piece += before.map(|place| place.1 as u64).sum::<u64>();
        }
    }
    layout.notes.push(format!(
        "The time column leaps at {} place{}, the first {} s long and ending at {} s: {} samples are missing. {}",
        leaps.len(),
        if leaps.len() == 1 { "" } else { "s" },
        readable(first.step_s),
        readable(first.at_s),
        readable(all),
        if fits {
            "The value before was held there."
        } else {
            "What follows was taken as if it stood right behind."
        }
    ));
}

/// Rate by the settings and by the time column: the settings if the column's digits cannot tell them apart.
pub(super) fn settle(
    stated: Option<f64>,
    pace: Option<super::steps::Pace>,
    notes: &mut Vec<String>,
) -> Option<(f64, RateOrigin)> {
    let Some(pace) = pace else {
        return stated.map(|rate_hz| (rate_hz, RateOrigin::File));
    };
    if !pace.steady {
        notes.push(format!(
            "The time column is not steady: steps of {:.3e} s on average, up to {:.3e} s. Samples were taken as equally spaced.",
            1.0 / pace.rate_hz,
            pace.largest_s
        ));
    }
    let Some(stated) = stated else {
        return Some((pace.rate_hz, RateOrigin::TimeColumn));
    };
    let difference = (stated / pace.rate_hz - 1.0).abs();
    if difference <= pace.spread.max(1e-9) {
        return Some((stated, RateOrigin::File));
    }
    // A rate stated with three digits is rounded, not wrong.
    if difference > 5e-3 {
        notes.push(format!(
            "The settings state {} samples a second, the time column {}: the time column was used.",
            readable(stated),
            readable(pace.rate_hz)
        ));
    }
    Some((pace.rate_hz, RateOrigin::TimeColumn))
}

/// Whole numbers that spread over more than a few volts, all of them: lowest and highest.
fn counts(samples: &[f32]) -> Option<(f32, f32)> {
    /// Six bits; a probe at a coil in whole volts shows fewer levels.
    const LEAST_SPREAD: f32 = 64.0;
    let whole = samples.iter().all(|sample| sample.fract() == 0.0);
    let lowest = samples.iter().copied().fold(f32::INFINITY, f32::min);
    let highest = samples.iter().copied().fold(f32::NEG_INFINITY, f32::max);
    (whole && highest - lowest >= LEAST_SPREAD).then_some((lowest, highest))
}

/// Edges as steady samples.
fn edge_source(
    input: &Input,
    options: &OpenOptions,
    mut layout: Layout,
    mut times: Vec<f64>,
    states: Vec<Vec<f32>>,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let time = layout
        .columns
        .as_mut()
        .and_then(|columns| columns.time.as_mut());
    if let Some(time) = time
        && time.unit_guessed
        && let Some(factor) = edges::likely_unit(&times)
    {
        time.unit_s *= factor;
        let unit = time.unit();
        layout.notes.push(format!(
            "Nothing states the unit of the time in column {}: taken as {unit}, in which the edges come as a tag's do.",
            time.column
        ));
        times.iter_mut().for_each(|time| *time *= factor);
    }
    let rate_hz = match options.rate_hz {
        Some(rate_hz) => edges::fits(&times, rate_hz).then_some(rate_hz),
        None => edges::rate_for(&times),
    };
    let Some(rate_hz) = rate_hz else {
        let span = readable(times[times.len() - 1] - times[0]);
        let what = format!("a list of {} edges in {span} s", times.len());
        return Err(input.unsupported(what, edges::ALLOWED));
    };
    layout.rate_hz = Some(rate_hz);
    layout.rate_origin = Some(if options.rate_hz.is_some() {
        RateOrigin::Given
    } else {
        RateOrigin::TimeColumn
    });
    layout.start_s = times[0];
    layout.notes.push(format!(
        "A list of {} edges was turned into samples at {} Hz.",
        times.len(),
        readable(rate_hz)
    ));
    Ok(Box::new(Edges::new(layout, times, states, rate_hz)))
}
