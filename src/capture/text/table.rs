//! All rows of a text capture.

use super::super::input::Input;
use super::super::open::{OpenOptions, readable};
use super::super::{CaptureError, ChannelInfo, Layout, RateOrigin, SampleSource, Unit};
use super::cell::{self, Cell};
use super::edges::{self, Edges};
use super::feed::Feed;
use super::plan::{Plan, Role};
use super::steps::{Backwards, Steps};

/// Most values kept (4 bytes each); a longer capture belongs into a binary format.
const VALUE_LIMIT: u64 = 1 << 29;

/// One channel being read.
struct Column {
    samples: Vec<f32>,
    last: f32,
    /// Rows before the first good value.
    leading: usize,
    missing: u64,
    two_level: bool,
}

pub(super) struct Table {
    plan: Plan,
    columns: Vec<Column>,
    steps: Steps,
    /// Kept as long as the channels are two-level: they may turn out to be an edge list.
    times: Option<Vec<f64>>,
    notes: Vec<String>,
}

/// Why a row cannot be read.
enum Fault {
    TooFew(usize),
    TooMany,
    Unreadable(usize),
    Backwards(Backwards),
}

impl Table {
    pub(super) fn read(feed: &mut Feed, mut plan: Plan) -> Result<Self, CaptureError> {
        let column = || Column {
            samples: Vec::new(),
            last: f32::NAN,
            leading: 0,
            missing: 0,
            two_level: true,
        };
        let timed = plan.roles.iter().any(|role| matches!(role, Role::Time(_)));
        let mut table = Self {
            columns: plan.names.iter().map(|_| column()).collect(),
            steps: Steps::default(),
            times: timed.then(Vec::new),
            notes: std::mem::take(&mut plan.notes),
            plan,
        };
        let mut line = table.plan.line;
        let limit = VALUE_LIMIT / table.columns.len().max(1) as u64;
        // A faulty row is an error unless it is the last one: then the file was cut off.
        let mut fault: Option<(u64, Fault, Vec<u8>)> = None;
        let mut rows = 0;
        while let Some(block) = feed.block(line)? {
            let mut at = 0;
            while at < block.len() {
                if let Some((line, fault, row)) = fault.take() {
                    if !block[at..].trim_ascii().is_empty() {
                        return Err(table.refuse(feed.input(), line, &fault, &row));
                    }
                    // Only blank lines follow so far.
                    return table.close_after(feed, line, fault, row);
                }
                let from = at;
                match table.row(block, &mut at) {
                    Ok(true) => rows += 1,
                    Ok(false) => {}
                    Err(found) => {
                        let end = block[from..]
                            .iter()
                            .position(|&byte| byte == table.plan.dialect.terminator);
                        at = from + end.unwrap_or(block.len() - from - 1);
                        fault = Some((line, found, block[from..at].to_vec()));
                    }
                }
                at += 1;
                line += 1;
            }
            if rows > limit {
                let what = format!("text with more than {limit} rows");
                return Err(feed
                    .input()
                    .unsupported(what, "longer captures need a binary format (WAV, NPY, raw)"));
            }
        }
        if let Some((line, fault, row)) = fault {
            return table.close_after(feed, line, fault, row);
        }
        Ok(table)
    }

    /// The faulty row is the last one, if nothing but blank lines follows.
    fn close_after(
        mut self,
        feed: &mut Feed,
        line: u64,
        fault: Fault,
        row: Vec<u8>,
    ) -> Result<Self, CaptureError> {
        while let Some(block) = feed.block(line + 1)? {
            if !block.trim_ascii().is_empty() {
                return Err(self.refuse(feed.input(), line, &fault, &row));
            }
        }
        if matches!(fault, Fault::Backwards(_))
            || self.columns.iter().all(|column| column.samples.is_empty())
        {
            return Err(self.refuse(feed.input(), line, &fault, &row));
        }
        self.notes.push(format!(
            "The last line ({line}) is not complete and was left out."
        ));
        Ok(self)
    }

    fn refuse(&self, input: &Input, line: u64, fault: &Fault, row: &[u8]) -> CaptureError {
        let wanted = self.plan.roles.len();
        let text: String = String::from_utf8_lossy(row).chars().take(40).collect();
        let text = text.trim().escape_debug().to_string();
        let (found, allowed) = match fault {
            Fault::TooFew(got) => (
                format!("{got} of {wanted} columns in \"{text}\""),
                "every row needs the columns of the first".into(),
            ),
            Fault::TooMany => (
                format!("more than {wanted} columns in \"{text}\""),
                "every row needs the columns of the first".into(),
            ),
            Fault::Unreadable(column) => (
                format!("column {column} of \"{text}\" is no number"),
                format!(
                    "numbers with decimal \"{}\" are allowed, or nan, inf, OVER, --- and empty cells",
                    char::from(self.plan.dialect.mark)
                ),
            ),
            Fault::Backwards(Backwards { before_s, after_s }) => (
                format!(
                    "time goes back from {} s to {} s",
                    readable(*before_s),
                    readable(*after_s)
                ),
                "the time column must rise".into(),
            ),
        };
        input.malformed(format!("line {line}"), found, allowed)
    }

    /// Reads one row at `*at` and leaves `*at` at its line end; `false` for blank and comment lines.
    #[inline]
    fn row(&mut self, text: &[u8], at: &mut usize) -> Result<bool, Fault> {
        let dialect = self.plan.dialect;
        if matches!(text[*at], b'\r' | b'\n' | b' ' | b'\t' | b'#' | 0x1A) {
            let end = text[*at..]
                .iter()
                .position(|&byte| byte == dialect.terminator)
                .unwrap_or(0);
            let line = text[*at..*at + end].trim_ascii();
            if line.is_empty() || line.starts_with(b"#") || line == b"\x1A" {
                *at += end;
                return Ok(false);
            }
        }
        let count = self.plan.roles.len();
        let mut channel = 0;
        let mut time = None;
        let mut over = false;
        for index in 0..count {
            if over {
                // Undo what this row added already.
                for column in &mut self.columns[..channel] {
                    column.samples.pop();
                }
                return Err(Fault::TooFew(index));
            }
            let (cell, last) = dialect.next(text, at);
            over = last;
            let value = match (&self.plan.roles[index], cell) {
                (Role::Skip, _) => continue,
                (_, Cell::Text) => {
                    for column in &mut self.columns[..channel] {
                        column.samples.pop();
                    }
                    return Err(Fault::Unreadable(index + 1));
                }
                (&Role::Time(factor), Cell::Number(value)) => {
                    time = Some(value * factor);
                    continue;
                }
                (Role::Time(_), Cell::Missing) => continue,
                (&Role::Value(factor), Cell::Number(value)) => (value * factor) as f32,
                (Role::Value(_), Cell::Missing) => f32::NAN,
            };
            let column = &mut self.columns[channel];
            channel += 1;
            if value.is_finite() {
                column.two_level &= value == 0.0 || value == 1.0;
                column.last = value;
            } else {
                column.missing += 1;
                if column.last.is_nan() {
                    column.leading += 1;
                }
            }
            column.samples.push(column.last);
        }
        while !over {
            let from = *at;
            let (cell, last) = dialect.next(text, at);
            if cell != Cell::Missing
                || !cell::bare(&text[from..*at])
                    .iter()
                    .all(|byte| b",;\t".contains(byte))
            {
                for column in &mut self.columns {
                    column.samples.pop();
                }
                return Err(Fault::TooMany);
            }
            over = last;
        }
        if let Err(backwards) = self.steps.add(time) {
            return Err(Fault::Backwards(backwards));
        }
        if let Some(times) = &mut self.times {
            if self.columns.iter().all(|column| column.two_level) {
                times.push(time.unwrap_or(f64::NAN));
            } else {
                self.times = None;
            }
        }
        Ok(true)
    }

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
        } = self;
        let rows = columns.first().map_or(0, |column| column.samples.len());
        let mut layout = Layout {
            notes,
            ..Layout::default()
        };
        let mut channels = Vec::new();
        let (mut gone, mut replaced) = (Vec::new(), 0);
        let mut two_level = true;
        let mut both = false;
        for (column, (name, unit)) in columns.iter_mut().zip(plan.names) {
            if column.missing * 2 > rows as u64 || rows == 0 {
                gone.push(name);
                continue;
            }
            replaced += column.missing;
            let first = column.samples.get(column.leading).copied().unwrap_or(0.0);
            column.samples[..column.leading].fill(first);
            two_level &= column.two_level && unit != Unit::Volt;
            both |= column.samples.iter().any(|&sample| sample != first);
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
            layout.notes.push(format!(
                "{replaced} values are missing, over range or no numbers: the last good value was held."
            ));
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
        let pace = steps.pace();
        layout.start_s = pace.map_or(plan.settings.start_s.unwrap_or(0.0), |pace| pace.start_s);
        if layout.logic
            && pace.is_some_and(|pace| !pace.steady)
            && let Some(times) = times.filter(|times| times.iter().all(|time| time.is_finite()))
            && edges::are_edges(&channels)
        {
            return edge_source(input, options, layout, times, channels);
        }
        let own = settle(plan.settings.rate(), pace, &mut layout.notes);
        options.settle_rate(&mut layout, own);
        layout.length = Some(rows as u64);
        Ok(Box::new(Kept {
            layout,
            channels,
            next: 0,
        }))
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

fn edge_source(
    input: &Input,
    options: &OpenOptions,
    mut layout: Layout,
    times: Vec<f64>,
    states: Vec<Vec<f32>>,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let rate_hz = match options.rate_hz {
        Some(rate_hz) => edges::fits(&times, rate_hz).then_some(rate_hz),
        None => edges::rate_for(&times),
    };
    let Some(rate_hz) = rate_hz else {
        let span = times[times.len() - 1] - times[0];
        let what = format!("an edge list of {} s", readable(span));
        return Err(input.unsupported(
            what,
            "up to 200 million samples are made of one (200 s at 1 MHz)",
        ));
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

/// Samples in memory.
struct Kept {
    layout: Layout,
    channels: Vec<Vec<f32>>,
    next: usize,
}

impl SampleSource for Kept {
    fn layout(&self) -> &Layout {
        &self.layout
    }

    fn read(&mut self, frames: usize, channels: &mut [Vec<f32>]) -> Result<usize, CaptureError> {
        let rows = self.channels.first().map_or(0, Vec::len);
        let end = self.next.saturating_add(frames).min(rows);
        for (out, own) in channels.iter_mut().zip(&self.channels) {
            out.extend_from_slice(&own[self.next..end]);
        }
        let count = end - self.next;
        self.next = end;
        Ok(count)
    }
}
