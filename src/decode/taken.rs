//! What was taken of a file with a choice in it, in a line.

use super::chosen::Chosen;
use crate::capture::{Layout, RateOrigin, Unit};

/// `column 2 of 3 "CH1", V, 500 kS/s from column 1 in ms`; empty for a file with one channel and no columns.
pub(super) fn line(chosen: &Chosen, layout: &Layout, rate_hz: Option<f64>) -> String {
    let columns = layout.columns.as_ref();
    if columns.is_none() && layout.channels.len() < 2 {
        return String::new();
    }
    let place = |index: usize| {
        columns
            .and_then(|columns| columns.of_channels.get(index).copied())
            .unwrap_or(index + 1)
    };
    let count = columns.map_or(layout.channels.len(), |columns| columns.count);
    let what = if columns.is_some() {
        "column"
    } else {
        "channel"
    };
    let name = |index: usize| {
        let name = layout
            .channels
            .get(index)
            .map_or("", |channel| channel.name.as_str());
        // A number for a name says nothing.
        if name.is_empty() || name.parse::<usize>().is_ok() {
            String::new()
        } else {
            format!(" \"{name}\"")
        }
    };
    let (mut line, first) = match *chosen {
        Chosen::One(a) => (format!("{what} {} of {count}{}", place(a), name(a)), a),
        Chosen::Difference(a, b) => (
            format!(
                "{what} {}{} minus {}{} of {count}",
                place(a),
                name(a),
                place(b),
                name(b)
            ),
            a,
        ),
        Chosen::Complex(a, b) => (
            format!(
                "{what}s {}{} and {}{} of {count} as one complex signal",
                place(a),
                name(a),
                place(b),
                name(b)
            ),
            a,
        ),
    };
    line.push_str(
        match layout.channels.get(first).map(|channel| channel.unit) {
            Some(Unit::Volt) => ", V",
            Some(Unit::FullScale) => ", fractions of full scale",
            _ => ", no unit",
        },
    );
    match (rate_hz, layout.rate_origin) {
        (None, _) => line.push_str(", no rate"),
        (Some(_), Some(RateOrigin::Given)) => line.push_str(", rate as given"),
        (Some(rate_hz), Some(RateOrigin::TimeColumn)) => {
            line.push_str(&format!(", {}", per_second(rate_hz)));
            if let Some(time) = columns.and_then(|columns| columns.time.as_ref()) {
                line.push_str(&format!(" from column {} in {}", time.column, time.unit()));
            }
        }
        (Some(rate_hz), _) => {
            line.push_str(&format!(", {} by the file's settings", per_second(rate_hz)));
        }
    }
    line
}

/// A rate with its prefix, four digits at most.
pub(crate) fn per_second(rate_hz: f64) -> String {
    let (factor, prefix) = [(1e9, "G"), (1e6, "M"), (1e3, "k")]
        .into_iter()
        .find(|step| rate_hz >= step.0)
        .unwrap_or((1.0, ""));
    let scaled = rate_hz / factor;
    let short = (scaled * 1e4).round() / 1e4;
    if short == 0.0 {
        format!("{scaled:.3e} {prefix}S/s")
    } else {
        format!("{short} {prefix}S/s")
    }
}
