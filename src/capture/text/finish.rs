//! A table that was read → a capture: gaps filled, rate, units and levels settled.

use super::super::input::Input;
use super::super::memory_source::Kept;
use super::super::options::{OpenOptions, readable};
use super::super::{CaptureError, ChannelInfo, Layout, RateOrigin, SampleSource, Unit};
use super::edges::{self, Edges};
use super::plan::Role;
use super::steps::Leap;
use super::table::Table;

impl Table {
    /// Fills gaps, settles rate and units.
    pub(super) fn into_source(
        self,
        input: &Input,
        options: &OpenOptions,
    ) -> Result<Box<dyn SampleSource>, CaptureError> {
        let Self {
            plan,
            mut columns,
            steps,
            times,
            notes,
            pieces,
            ..
        } = self;
        let rows = columns.first().map_or(0, |column| column.samples.len());
        let mut layout = Layout {
            notes,
            pieces,
            ..Layout::default()
        };
        if !layout.pieces.is_empty() {
            layout.notes.push(format!(
                "The time column begins anew {} time{}: the file holds {} pieces, each taken for itself.",
                layout.pieces.len(),
                if layout.pieces.len() == 1 { "" } else { "s" },
                layout.pieces.len() + 1
            ));
        }
        let mut taken = plan.columns;
        let places = std::mem::take(&mut taken.of_channels);
        let mut channels = Vec::new();
        let (mut gone, mut replaced) = (Vec::new(), 0);
        let mut two_level = true;
        let mut both = false;
        for (index, (column, (name, unit))) in columns.iter_mut().zip(plan.names).enumerate() {
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
            if unit == Unit::Volt
                && let Some((lowest, highest)) = counts(&column.samples)
            {
                layout.notes.push(format!(
                    "Channel \"{name}\" is said to be in volts, but holds whole numbers from {lowest} to {highest}: they look like \
                     the converter's counts, and levels in volts may not hold."
                ));
            }
            layout.channels.push(ChannelInfo { name, unit });
            channels.push(std::mem::take(&mut column.samples));
        }
        if channels.is_empty() {
            let found = "more than half of the values are missing or no numbers";
            return Err(input.malformed("all rows", found, "at least half must be numbers"));
        }
        for name in gone {
            layout.notes.push(format!(
                "Channel \"{name}\" was left out: more than half of its values are missing."
            ));
        }
        if replaced > 0 {
            let values = if replaced == 1 {
                "1 value is missing, over range or no number".to_owned()
            } else {
                format!("{replaced} values are missing, over range or no numbers")
            };
            layout
                .notes
                .push(format!("{values}: the last good value was held."));
        }
        if steps.missing() * 2 > rows as u64
            && plan.roles.iter().any(|role| matches!(role, Role::Time(_)))
        {
            let found = "more than half of the times are missing";
            return Err(input.malformed("time column", found, "at least half must be numbers"));
        }
        layout.logic = two_level && both;
        if layout.logic {
            for sample in channels.iter_mut().flatten() {
                *sample = *sample * 2.0 - 1.0;
            }
        } else if options.scale != 1.0 {
            scale(&mut channels, &layout.channels, options.scale);
        }
        layout.columns = Some(taken);
        let pace = steps.pace();
        layout.start_s = pace.map_or(plan.settings.start_s.unwrap_or(0.0), |pace| pace.start_s);
        if layout.logic
            && let Some(times) = times.filter(|times| times.iter().all(|time| time.is_finite()))
            && edges::are_edges(&channels)
            && edges::are_uneven(&times)
        {
            return edge_source(input, options, layout, times, channels);
        }
        let own = settle(plan.settings.rate(), pace, &mut layout.notes);
        options.settle_rate(&mut layout, own);
        if let Some(rate_hz) = pace.map(|pace| pace.rate_hz)
            && !layout.logic
        {
            fill_leaps(&mut channels, steps.leaps(), rate_hz, &mut layout);
        }
        layout.length = channels.first().map(|channel| channel.len() as u64);
        Ok(Box::new(Kept::new(layout, channels)))
    }
}

/// The probe factor for all but fractions of full scale.
fn scale(channels: &mut [Vec<f32>], info: &[ChannelInfo], factor: f64) {
    for (samples, info) in channels.iter_mut().zip(info) {
        if info.unit != Unit::FullScale {
            for sample in samples {
                let scaled = (f64::from(*sample) * factor) as f32;
                *sample = scaled.clamp(f32::MIN, f32::MAX);
            }
        }
    }
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
fn settle(
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
