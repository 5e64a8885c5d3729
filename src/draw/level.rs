//! Panel: level of the field over the whole capture.

use plotters::prelude::*;

use super::style::{Area, BLUE, GREEN, SKY, chart, headed, plot_size};
use super::{DrawError, View, activity, sentence};
use crate::receiver::{Kind, Samples};

/// Lowest, highest and mean value of each of so many stretches.
struct Columns {
    /// Time of the first value and length of a stretch, seconds.
    from_s: f64,
    step_s: f64,
    low: Vec<f64>,
    high: Vec<f64>,
    mean: Vec<f64>,
}

impl Columns {
    fn new(
        count: usize,
        wanted: usize,
        from_s: f64,
        value_s: f64,
        value: impl Fn(usize) -> f64,
    ) -> Self {
        let per = count.div_ceil(wanted.max(1)).max(1);
        let mut columns = Self {
            from_s,
            step_s: per as f64 * value_s,
            low: Vec::new(),
            high: Vec::new(),
            mean: Vec::new(),
        };
        for begin in (0..count).step_by(per) {
            let end = (begin + per).min(count);
            let (mut low, mut high, mut sum) = (f64::INFINITY, f64::NEG_INFINITY, 0.0);
            for i in begin..end {
                let x = value(i);
                low = low.min(x);
                high = high.max(x);
                sum += x;
            }
            columns.low.push(low);
            columns.high.push(high);
            columns.mean.push(sum / (end - begin) as f64);
        }
        columns
    }

    fn time(&self, column: usize) -> f64 {
        self.from_s + (column as f64 + 0.5) * self.step_s
    }

    /// Outline of lowest to highest.
    fn band(&self) -> Vec<(f64, f64)> {
        let upper = self.high.iter().enumerate();
        let lower = self.low.iter().enumerate().rev();
        upper
            .chain(lower)
            .map(|(column, &value)| (self.time(column), value))
            .collect()
    }
}

/// What is drawn.
struct Level {
    columns: Columns,
    heading: &'static str,
    what: &'static str,
    /// Field cycles, not samples as they came.
    as_cycles: bool,
}

impl Level {
    /// In so many columns; `None` where neither cycles nor samples are at hand.
    fn of(view: &View<'_>, wanted: usize) -> Option<Self> {
        // Two levels are best seen as they came: filtering them makes overshoots that were not there.
        let as_cycles = match view.reception.kind {
            Kind::Logic => view.about.samples.is_none(),
            _ => view.is_telling(),
        };
        let from_s = view.about.from_s;
        if let Some(seen) = view.reception.seen.as_ref().filter(|_| as_cycles) {
            let cycles = &seen.cycles;
            let carrier = view.carrier();
            let (heading, what) = if carrier {
                ("Level of the field", "peak")
            } else {
                ("Level", "level")
            };
            let begin_s = from_s + cycles.first as f64 / cycles.field_hz;
            let level = |i: usize| {
                let value = cycles.values[i];
                f64::from(if carrier { value.norm() } else { value.re })
            };
            let count = cycles.values.len();
            return Some(Self {
                columns: Columns::new(count, wanted, begin_s, 1.0 / cycles.field_hz, level),
                heading,
                what,
                as_cycles,
            });
        }
        let samples = view.about.samples?;
        let value_s = match view.reception.rate_hz {
            rate_hz if rate_hz > 0.0 => 1.0 / rate_hz,
            _ => 1.0,
        };
        let level = |i: usize| {
            f64::from(match samples {
                Samples::Real(all) => all[i],
                Samples::Complex(all) => all[i].norm(),
            })
        };
        Some(Self {
            columns: Columns::new(samples.len(), wanted, from_s, value_s, level),
            heading: "The samples",
            what: "samples",
            as_cycles,
        })
    }

    /// Lowest and highest level of the axis. Levels start at 0, so that a pause in the field shows as one.
    fn range(&self) -> (f64, f64) {
        let highest = self
            .columns
            .high
            .iter()
            .copied()
            .fold(f64::NEG_INFINITY, f64::max);
        let lowest = self
            .columns
            .low
            .iter()
            .copied()
            .fold(f64::INFINITY, f64::min);
        let bottom = if lowest < 0.0 { 1.12 * lowest } else { 0.0 };
        let top = if highest > 0.0 {
            1.18 * highest
        } else {
            0.1 * lowest.abs()
        };
        (bottom, if top > bottom { top } else { bottom + 1.0 })
    }
}

pub(super) fn draw<DB: DrawingBackend>(area: &Area<DB>, view: &View<'_>) -> Result<(), DrawError>
where
    DB::ErrorType: 'static,
{
    // Two levels in few columns are a filled block: how often they change tells more.
    if let (Kind::Logic, Some(samples)) = (view.reception.kind, view.about.samples)
        && view.reception.rate_hz > 0.0
    {
        return activity::draw(area, view, samples);
    }
    let from_s = view.about.from_s;
    let Some(level) = Level::of(view, plot_size(area).0 as usize) else {
        let area = headed(area, "Level of the field", "")?;
        return sentence::write(&area, "No field was found, so there is no level to draw.");
    };
    let (columns, what) = (&level.columns, level.what);
    if columns.mean.is_empty() {
        let area = headed(area, level.heading, "")?;
        return sentence::write(&area, "There are no samples to draw.");
    }
    let pieces = view.pieces();
    let remark = match pieces.len() {
        0 => "lowest to highest in each column".to_string(),
        1 => "green bar: stretch in use".into(),
        n => format!("green bars: {n} stretches in use"),
    };
    let area = headed(area, level.heading, &remark)?;
    let (bottom, top) = level.range();
    // Milliseconds where seconds would need many digits.
    let end_s = columns.from_s + columns.mean.len() as f64 * columns.step_s;
    let clock = view.reception.rate_hz > 0.0;
    let span_s = end_s - columns.from_s;
    let (scale, x_label) = match (clock, span_s < 2.0) {
        (false, _) => (1.0, "sample"),
        (true, true) => (1e3, "time, ms"),
        (true, false) => (1.0, "time, s"),
    };
    let y_label = match view.about.unit {
        "V" => format!("{what}, V"),
        "of full scale" => format!("{what}, of full scale"),
        _ => format!("{what}, unit of the file"),
    };
    let mut chart = chart(
        &area,
        columns.from_s.min(from_s) * scale..end_s * scale,
        bottom..top,
        x_label,
        &y_label,
    )?;
    let scaled = |(time, value): (f64, f64)| (time * scale, value);
    let band: Vec<_> = columns.band().into_iter().map(scaled).collect();
    chart.draw_series([Polygon::new(band, SKY.mix(0.6))])?;
    if level.as_cycles {
        // Of samples around zero, or of two levels, the mean tells nothing.
        let mean = columns.mean.iter().enumerate();
        let mean = mean.map(|(column, &value)| scaled((columns.time(column), value)));
        chart.draw_series(LineSeries::new(mean, BLUE.stroke_width(2)))?;
    }
    let bar = 0.025 * (top - bottom);
    chart.draw_series(pieces.iter().map(|piece| {
        let (from, to) = (from_s + piece.from_s, from_s + piece.to_s);
        Rectangle::new(
            [
                scaled((from, bottom + bar)),
                scaled((to, bottom + 3.0 * bar)),
            ],
            GREEN.filled(),
        )
    }))?;
    Ok(())
}
