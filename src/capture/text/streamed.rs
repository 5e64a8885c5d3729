//! Text that is still coming: the rows of its head say how it is read, the others are handed on as they come.

use super::super::input::Input;
use super::super::options::{OpenOptions, readable};
use super::super::{CaptureError, ChannelInfo, Layout, SampleSource, Unit};
use super::feed::Feed;
use super::finish::settle;
use super::plan::{TablePlan, excerpt};
use super::rows::Rows;
use super::steps::Steps;

/// Intervals between two rows from which samples are missing.
const LEAP: f64 = 1.5;

/// Text as a stream. Its rate is the one that the lines above the rows state, or that of the first rows' times.
pub(super) struct Streamed {
    feed: Feed,
    plan: TablePlan,
    layout: Layout,
    /// Line of the next row, from 1.
    line: u64,
    /// Rows read and not yet handed on, value by value.
    waiting: Vec<f32>,
    taken: usize,
    /// Last good value of each channel.
    last: Vec<f32>,
    /// Time of the last row, s, and the largest interval that none is missing in.
    last_s: f64,
    longest_s: f64,
    leaps: u64,
    /// What a value is multiplied by, and what is added.
    scales: Vec<(f32, f32)>,
}

impl Streamed {
    /// Waits for the head of the file.
    pub(super) fn open(input: Input, options: &OpenOptions) -> Result<Self, CaptureError> {
        let mut feed = Feed::coming(input)?;
        let mut plan = TablePlan::make(&mut feed)?;
        let rows = next_rows(&mut feed, &plan, plan.line)?.unwrap_or_default();
        let mut layout = Layout {
            notes: std::mem::take(&mut plan.notes),
            columns: Some(std::mem::take(&mut plan.columns)),
            ..Layout::default()
        };
        let channel = |(name, unit): &(String, Unit)| ChannelInfo {
            name: name.clone(),
            unit: *unit,
        };
        layout.channels = plan.names.iter().map(channel).collect();
        let mut steps = Steps::default();
        // Where times go back, those before tell the pace.
        let _ = steps.extend(&rows.times);
        let pace = steps.pace();
        layout.start_s = pace.map_or(plan.settings.start_s.unwrap_or(0.0), |pace| pace.start_s);
        let own = settle(plan.settings.rate(), pace, &mut layout.notes);
        options.settle_rate(&mut layout, own);
        let is_level = |value: &f32| *value == 0.0 || *value == 1.0 || value.is_nan();
        layout.logic = layout.channels.iter().all(|info| info.unit != Unit::Volt)
            && rows.values.iter().all(is_level)
            && [0.0, 1.0].iter().all(|level| rows.values.contains(level));
        let scale = |info: &ChannelInfo| match info.unit {
            _ if layout.logic => (2.0, -1.0),
            Unit::FullScale => (1.0, 0.0),
            _ => (options.scale as f32, 0.0),
        };
        let mut own = Self {
            scales: layout.channels.iter().map(scale).collect(),
            last: vec![0.0; layout.channels.len()],
            last_s: f64::NAN,
            longest_s: pace.map_or(f64::INFINITY, |pace| LEAP / pace.rate_hz),
            line: plan.line,
            leaps: 0,
            waiting: Vec::new(),
            taken: 0,
            feed,
            plan,
            layout,
        };
        own.take(rows);
        Ok(own)
    }

    fn take(&mut self, rows: Rows) {
        self.line += rows.lines;
        for time_s in rows.times {
            self.leaps += u64::from(time_s - self.last_s > self.longest_s);
            if time_s.is_finite() {
                self.last_s = time_s;
            }
        }
        self.waiting.drain(..self.taken);
        self.taken = 0;
        self.waiting.extend(rows.values);
    }
}

/// The next rows; `None` at the end. One that cannot be read is an error unless it is the last and was cut off.
fn next_rows(feed: &mut Feed, plan: &TablePlan, line: u64) -> Result<Option<Rows>, CaptureError> {
    let Some(block) = feed.block(line)? else {
        return Ok(None);
    };
    let rows = Rows::of(plan, block);
    let Some((begin, end, _)) = rows.fault else {
        return Ok(Some(rows));
    };
    let row = excerpt(&block[begin..end]);
    let is_last = block[end..].trim_ascii().is_empty();
    if is_last && feed.cut {
        return Ok(Some(rows));
    }
    let place = format!("line {}", line + rows.lines);
    let allowed = "a row as those before it is needed";
    Err(feed.input().malformed(place, format!("\"{row}\""), allowed))
}

impl SampleSource for Streamed {
    fn layout(&self) -> &Layout {
        &self.layout
    }

    fn read(&mut self, frames: usize, channels: &mut [Vec<f32>]) -> Result<usize, CaptureError> {
        let wide = self.last.len().max(1);
        while self.waiting.len() - self.taken < wide {
            if let Some(rows) = next_rows(&mut self.feed, &self.plan, self.line)? {
                self.take(rows);
            } else {
                if self.leaps > 0 {
                    let places = readable(self.leaps as f64);
                    let note = format!(
                        "The time column leaps at {places} places; what followed was taken as if it stood right behind."
                    );
                    self.layout.notes.push(note);
                    self.leaps = 0;
                }
                return Ok(0);
            }
        }
        let count = frames.min((self.waiting.len() - self.taken) / wide);
        for row in self.waiting[self.taken..][..count * wide].chunks_exact(wide) {
            let own = channels.iter_mut().zip(&mut self.last);
            for ((channel, last), (value, (times, plus))) in own.zip(row.iter().zip(&self.scales)) {
                if value.is_finite() {
                    *last = (value * times + plus).clamp(f32::MIN, f32::MAX);
                }
                channel.push(*last);
            }
        }
        self.taken += count * wide;
        Ok(count)
    }
}
