//! An open capture → windows of one channel, ready for the receiver.

use std::io::Read;
use std::path::Path;

use num_complex::Complex32;

use super::about::AboutFile;
use super::chosen::{self, Chosen};
use super::origin::Watch;
use super::window::Window;
use super::{DecodeError, Settings, likely_unit, taken};
use crate::capture::{
    CaptureError, Layout, Picked, RateOrigin, SampleSource, TimeColumn, Unit, open_reader,
};
use crate::receiver::Signal;

/// Samples read at a time and decoded as one: 1.5 s at 2 MS/s, 12 MB; decoding takes three times as much besides.
const WINDOW: usize = 3 << 20;

/// Longest window: the field has as many cycles in it as a full window of a fast capture has samples.
const WINDOW_S: f64 = 20.0;

/// Lines of two levels that are read in windows of full length.
const LOGIC_LINES: usize = 2;

/// Samples of each channel looked at to find the one with the field in it.
const LOOK: usize = 1 << 18;

/// Channels tried besides the one in which a field shows best, where that gives no number.
const MOST_OTHERS: usize = 7;

/// Where complex samples without a stated centre are taken to be centred.
pub(super) const USUAL_CENTRE_HZ: f64 = 134_200.0;

/// An open capture of which one channel is read.
pub(super) struct Opened {
    source: Box<dyn SampleSource>,
    chosen: Chosen,
    channel: String,
    centre_hz: f64,
    /// Samples per second: the file's, unless the unit of its time was guessed wrongly.
    rate_hz: Option<f64>,
    /// The column of the time in the unit that it must be in, where that is another one.
    time: Option<TimeColumn>,
    /// Samples left out in front, and the last one wanted.
    from: u64,
    to: u64,
    place: u64,
    /// Blocks read while choosing the channel, not yet handed on.
    waiting: Vec<Vec<f32>>,
    /// Other channels that may be taken instead, with the stretch last handed on; none where the channel was named.
    others: Vec<(usize, Vec<f32>)>,
    remarks: Vec<String>,
    name: String,
    watch: Watch,
}

impl Opened {
    /// Opens a file and chooses the channel; `-` is standard input.
    pub fn file(path: &Path, settings: &Settings) -> Result<Self, DecodeError> {
        let (source, watch) = Watch::open(path, settings)?;
        let opened = Self::of(source, path.display().to_string(), settings)?;
        Ok(opened.watched(watch))
    }

    /// Takes bytes as a file of this name.
    pub fn reader(
        name: &str,
        reader: impl Read + Send + 'static,
        settings: &Settings,
    ) -> Result<Self, DecodeError> {
        let source = open_reader(name, reader, &settings.open_options())?;
        Self::of(source, name.into(), settings)
    }

    /// Chooses the channel of a source.
    pub fn of(
        mut source: Box<dyn SampleSource>,
        name: String,
        settings: &Settings,
    ) -> Result<Self, DecodeError> {
        let count = source.layout().channels.len();
        let mut remarks = Vec::new();
        let mut waiting = vec![Vec::new(); count];
        let mut others = Vec::new();
        let complex = source.layout().complex || (settings.centre_hz.is_some() && count == 2);
        let (mut rate_hz, mut time) = (source.layout().rate_hz, None);
        if let Some(doubtful_hz) = likely_unit::doubtful(source.layout())
            && settings.rate_hz.is_none()
            && !complex
        {
            read_block(source.as_mut(), LOOK, &mut waiting)?;
            if let Some(likely) = likely_unit::by_field(source.layout(), doubtful_hz, &waiting) {
                rate_hz = Some(likely.rate_hz);
                time = likely.time;
                remarks.push(likely.remark);
            }
        }
        let chosen = if complex {
            Chosen::Complex(0, 1)
        } else {
            let picked = settings.channel.resolve(source.layout());
            let named = |source| DecodeError::Channel {
                name: name.clone(),
                source,
            };
            match picked.map_err(named)? {
                Picked::One(k) => Chosen::One(k),
                Picked::Difference(a, b) => Chosen::Difference(a, b),
                Picked::Auto if count == 1 => Chosen::One(0),
                Picked::Auto => {
                    let have = waiting.first().map_or(0, Vec::len);
                    read_block(source.as_mut(), LOOK.saturating_sub(have), &mut waiting)?;
                    let mut ranked = chosen::by_field(&waiting, rate_hz).into_iter();
                    let best = ranked.next().unwrap_or(0);
                    others = ranked.take(MOST_OTHERS).map(|k| (k, Vec::new())).collect();
                    Chosen::One(best)
                }
            }
        };
        let own_centre_hz = source.layout().centre_hz;
        let centre_hz = settings.centre_hz.or(own_centre_hz).unwrap_or_else(|| {
            if complex {
                remarks.push(format!(
                    "No centre frequency was given: the samples are taken as centred on {USUAL_CENTRE_HZ} Hz; --centre says it better."
                ));
            }
            USUAL_CENTRE_HZ
        });
        let channel = chosen.name(source.layout());
        let index = |seconds: f64| match rate_hz {
            Some(rate_hz) => Ok((seconds * rate_hz).round().min(u64::MAX as f64) as u64),
            None if seconds == 0.0 => Ok(0),
            None => Err(DecodeError::RateUnknown { name: name.clone() }),
        };
        let from = index(settings.from_s)?;
        let to = settings.to_s.map_or(Ok(u64::MAX), index)?;
        Ok(Self {
            source,
            chosen,
            channel,
            centre_hz,
            rate_hz,
            time,
            from,
            to,
            place: 0,
            waiting,
            others,
            remarks,
            name,
            watch: Watch::default(),
        })
    }

    /// With what is watched of its file.
    pub fn watched(self, watch: Watch) -> Self {
        Self { watch, ..self }
    }

    /// The rate that the file's time column makes in its own unit, where that cannot be and another one was taken.
    pub fn doubted_rate_hz(&self) -> Option<f64> {
        self.time.as_ref().and(self.layout().rate_hz)
    }

    /// Unit of the channel that is read.
    pub fn unit(&self) -> Unit {
        let own = self.layout().channels.get(self.chosen.first());
        own.map_or(Unit::Unknown, |own| own.unit)
    }

    /// What is known about the file.
    pub fn layout(&self) -> &Layout {
        self.source.layout()
    }

    /// Remarks so far.
    pub fn remarks(&self) -> impl Iterator<Item = &String> {
        self.source.layout().notes.iter().chain(&self.remarks)
    }

    /// Time of a sample from the first one of the file, counting from the first window's first.
    pub fn time_s(&self, sample: u64) -> f64 {
        self.rate_hz.map_or(0.0, |rate_hz| {
            (self.from.saturating_add(sample)) as f64 / rate_hz
        })
    }

    /// Samples of a window: in slow captures the field's cycles, of which the receiver makes a value each, are many more.
    fn window(&self) -> usize {
        let most = self
            .rate_hz
            .map_or(f64::INFINITY, |rate_hz| WINDOW_S * rate_hz);
        // Samples made of edges cost the file next to nothing, each of its lines the same memory.
        let lines = match self.layout() {
            layout if layout.logic => (layout.channels.len() / LOGIC_LINES).max(1),
            _ => 1,
        };
        (WINDOW / lines).min(most as usize).max(1 << 16)
    }

    /// As many samples as lie before the next piece of the capture.
    fn up_to_next_piece(&self, wanted: usize) -> usize {
        let pieces = &self.layout().pieces;
        let next = pieces
            .iter()
            .find(|&&next| next > self.place.max(self.from));
        let left = next.map_or(u64::MAX, |next| next - self.place);
        wanted.min(usize::try_from(left).unwrap_or(usize::MAX))
    }

    /// The next stretch of the channel as it is decoded at once, `None` at the end.
    pub fn next_window(&mut self) -> Result<Option<Window>, CaptureError> {
        self.next_stretch(self.window())
    }

    /// The next stretch of so many samples at most, `None` at the end.
    pub fn next_stretch(&mut self, most: usize) -> Result<Option<Window>, CaptureError> {
        let mut channels = std::mem::take(&mut self.waiting);
        let mut rest = vec![Vec::new(); channels.len()];
        loop {
            let have = channels.first().map_or(0, Vec::len);
            // What lies before --from is dropped block by block.
            let skip = usize::try_from(self.from.saturating_sub(self.place))
                .unwrap_or(usize::MAX)
                .min(have);
            if skip > 0 {
                channels
                    .iter_mut()
                    .for_each(|channel| drop(channel.drain(..skip)));
                self.place += skip as u64;
            }
            let have = have - skip;
            let wanted = usize::try_from(self.to.saturating_sub(self.place))
                .unwrap_or(usize::MAX)
                .min(most);
            let wanted = self.up_to_next_piece(wanted);
            if have >= wanted && self.place >= self.from {
                // What was read for choosing the channel may be more than one stretch.
                rest = channels
                    .iter_mut()
                    .map(|channel| channel.split_off(wanted))
                    .collect();
                break;
            }
            let missing = wanted.saturating_sub(have);
            self.make_room(&mut channels, missing);
            let block = missing.clamp(1, LOOK);
            if read_block(self.source.as_mut(), block, &mut channels)? == 0 {
                break;
            }
        }
        let count = channels.first().map_or(0, Vec::len);
        self.place += count as u64;
        self.waiting = rest;
        if count == 0 {
            return Ok(None);
        }
        for (k, stretch) in &mut self.others {
            *stretch = std::mem::take(&mut channels[*k]);
        }
        Ok(Some(match &self.chosen {
            Chosen::One(k) => Window::Real(std::mem::take(&mut channels[*k])),
            Chosen::Difference(a, b) => {
                let second = std::mem::take(&mut channels[*b]);
                let mut first = std::mem::take(&mut channels[*a]);
                first.iter_mut().zip(second).for_each(|(x, y)| *x -= y);
                Window::Real(first)
            }
            Chosen::Complex(re, im) => Window::Complex(
                channels[*re]
                    .iter()
                    .zip(&channels[*im])
                    .map(|(&re, &im)| Complex32::new(re, im))
                    .collect(),
            ),
        }))
    }

    /// Room for what is still to come of a stretch, as far as the file says how long it is: growing step by step, all that is there is
    /// copied at each. Many channels together take no more than one whole window.
    fn make_room(&self, channels: &mut [Vec<f32>], missing: usize) {
        let Some(length) = self.layout().length else {
            return;
        };
        let most = (WINDOW / channels.len().max(1)) as u64;
        let left = length.saturating_sub(self.place).min(most) as usize;
        for channel in channels {
            let more = missing.min(left.saturating_sub(channel.len()));
            channel.reserve_exact(more);
        }
    }

    /// Other channels over the stretch last handed on, likeliest first.
    pub fn others(&mut self) -> Vec<(usize, Window)> {
        let stretches = self.others.iter_mut();
        stretches
            .map(|(k, stretch)| (*k, Window::Real(std::mem::take(stretch))))
            .filter(|(_, window)| !window.samples().is_empty())
            .collect()
    }

    /// Goes on with another channel, because the number is in that one.
    pub fn take(&mut self, channel: usize) {
        let name = Chosen::One(channel).name(self.layout());
        let before = std::mem::replace(&mut self.channel, name);
        self.chosen = Chosen::One(channel);
        self.others.clear();
        self.remarks.push(format!(
            "Channel \"{}\" was taken: a number is in it. In channel \"{before}\", where a field shows best, none was read.",
            self.channel
        ));
    }

    /// Stays with the channel: the others were not needed, or gave nothing.
    pub fn stay(&mut self) {
        if self.others.is_empty() {
            return;
        }
        let count = self.layout().channels.len();
        self.others.clear();
        self.remarks.push(format!(
            "Channel \"{}\" of {count} was taken: a field shows best in it.",
            self.channel
        ));
    }

    /// Frequency that complex samples are taken as centred on, Hz.
    pub fn centre_hz(&self) -> f64 {
        self.centre_hz
    }

    /// The window as the receiver takes it.
    pub fn signal<'a>(&self, window: &'a Window) -> Signal<'a> {
        Signal {
            samples: window.samples(),
            rate_hz: self.rate_hz,
            centre_hz: self.centre_hz,
            logic: self.layout().logic,
        }
    }

    /// The error of a capture of which the stretch asked for leaves nothing.
    pub fn nothing_left(&self) -> DecodeError {
        DecodeError::NothingLeft {
            name: self.name.clone(),
            ends_s: self
                .rate_hz
                .map_or(0.0, |rate_hz| self.place as f64 / rate_hz),
        }
    }

    /// Its name, layout and remarks, when no more samples are wanted.
    pub fn into_about(self) -> AboutFile {
        let remarks = self.remarks().cloned().collect();
        let unit = self.unit();
        let mut layout = self.source.layout().clone();
        layout.rate_hz = self.rate_hz;
        if let (Some(time), Some(columns)) = (self.time, &mut layout.columns) {
            columns.time = Some(time);
            layout.rate_origin = Some(RateOrigin::TimeColumn);
        }
        let taken = taken::line(&self.chosen, &layout, self.rate_hz);
        AboutFile {
            origins: self
                .watch
                .finish(layout.made.as_deref())
                .into_iter()
                .collect(),
            name: self.name,
            channel: self.channel,
            unit,
            layout,
            taken,
            remarks,
        }
    }
}

fn read_block(
    source: &mut dyn SampleSource,
    frames: usize,
    channels: &mut [Vec<f32>],
) -> Result<usize, CaptureError> {
    let mut total = 0;
    while total < frames {
        let read = source.read(frames - total, channels)?;
        if read == 0 {
            break;
        }
        total += read;
    }
    Ok(total)
}
