//! A sound card's input → samples as they come.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, TrySendError, sync_channel};
use std::time::Duration;

use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{BufferSize, Device, FromSample, Sample, SampleFormat, SizedSample, StreamConfig};

use super::raw::channels;
use super::{CaptureError, Layout, RateOrigin, SampleSource, Unit};

/// Blocks of the sound card that may wait: about a second, as a block is some milliseconds long. Then samples are lost, and that is said.
const MOST_WAITING: usize = 256;

/// How often the request to stop is looked at while no samples come.
const POLL: Duration = Duration::from_millis(50);

/// Rates above this are not asked for: sound cards sample at 768 kHz at most (from memory), and a device without hardware behind it
/// offers any.
const HIGHEST_RATE_HZ: u32 = 768_000;

/// Kinds of samples, the finest first.
const FORMATS: [SampleFormat; 6] = [
    SampleFormat::F32,
    SampleFormat::I32,
    SampleFormat::I24,
    SampleFormat::I16,
    SampleFormat::U16,
    SampleFormat::U8,
];

/// Name of the device that the system takes where none is named.
const USUAL: &str = "default";

/// An input of a sound card.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct InputDevice {
    /// What [`open_device`] finds it by.
    pub id: String,
    /// What the system calls it.
    pub description: String,
    /// Highest sample rate that it offers, Hz, up to 768 kHz.
    pub highest_rate_hz: u32,
}

/// The inputs of this machine's sound cards.
///
/// # Errors
/// [`CaptureError::Device`] where the system has no sound at all.
pub fn input_devices() -> Result<Vec<InputDevice>, CaptureError> {
    let refused = |error: cpal::Error| CaptureError::Device {
        name: "sound cards".into(),
        what: sentence(&error),
    };
    let devices = host().input_devices().map_err(refused)?;
    Ok(devices.filter_map(|device| described(&device)).collect())
}

/// Opens an input by its id, or by words that stand in the id or description of one device alone; `default` is the one that the system
/// takes. Samples come as fractions of full scale, at `rate_hz` or else at the highest rate that the device offers, until `stop` is set.
///
/// # Errors
/// [`CaptureError::Device`] if there is no such device, or more than one, or it is taken, or offers no such rate.
pub fn open_device(
    name: &str,
    rate_hz: Option<f64>,
    stop: Arc<AtomicBool>,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let fail = |what: String| CaptureError::Device {
        name: name.into(),
        what,
    };
    let device = found(name).map_err(fail)?;
    let (config, format) = chosen(&device, rate_hz).map_err(fail)?;
    let (blocks, incoming) = sync_channel(MOST_WAITING);
    let lost = Arc::new(AtomicU64::new(0));
    let feed = Feed {
        blocks,
        lost: Arc::clone(&lost),
    };
    let stream = listening(&device, config, format, feed)
        .and_then(|stream| stream.play().map(|()| stream))
        .map_err(|error| fail(sentence(&error)))?;
    let names: Vec<String> = (1..=config.channels).map(|k| k.to_string()).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    Ok(Box::new(Listening {
        layout: Layout {
            channels: channels(&names, Unit::FullScale),
            rate_hz: Some(config.sample_rate.into()),
            rate_origin: Some(if rate_hz.is_some() {
                RateOrigin::Given
            } else {
                RateOrigin::File
            }),
            ..Layout::default()
        },
        name: name.into(),
        waiting: Vec::new(),
        incoming,
        lost,
        handed: 0,
        stop,
        _stream: stream,
    }))
}

/// The system's sound. ALSA's library writes to standard error what comes back as an error as well: here it does not.
fn host() -> cpal::Host {
    #[cfg(target_os = "linux")]
    let _ = alsa::Output::local_error_handler();
    cpal::default_host()
}

/// An error of the sound system in the words of a message: no full stop.
fn sentence(error: &cpal::Error) -> String {
    error.to_string().trim_end_matches('.').to_owned()
}

fn described(device: &Device) -> Option<InputDevice> {
    let id = device.id().ok()?.to_string();
    let highest = device
        .supported_input_configs()
        .ok()?
        .filter(|range| FORMATS.contains(&range.sample_format()))
        .map(|range| range.max_sample_rate().min(HIGHEST_RATE_HZ))
        .max()?;
    let description = device
        .description()
        .map_or_else(|_| device.to_string(), |about| about.name().to_owned());
    Some(InputDevice {
        id,
        description,
        highest_rate_hz: highest,
    })
}

fn found(name: &str) -> Result<Device, String> {
    let host = host();
    let none = || {
        let first = if name == USUAL {
            "the system has no sound input".into()
        } else {
            format!("there is no sound input \"{name}\"")
        };
        format!("{first}; --devices lists what is there")
    };
    if name == USUAL {
        let usual = host.default_input_device();
        return usual
            .filter(|device| device.supports_input())
            .ok_or_else(none);
    }
    let devices = host.input_devices().map_err(|error| sentence(&error))?;
    let wanted = name.to_lowercase();
    let mut alike = Vec::new();
    for device in devices {
        let Some(about) = described(&device) else {
            continue;
        };
        if about.id == name {
            return Ok(device);
        }
        let words = format!("{} {}", about.id, about.description).to_lowercase();
        if words.contains(&wanted) {
            alike.push((about.id, device));
        }
    }
    match alike.len() {
        0 => Err(none()),
        1 => Ok(alike.remove(0).1),
        _ => {
            let ids: Vec<String> = alike.into_iter().map(|(id, _)| id).collect();
            Err(format!(
                "\"{name}\" stands in {}; name one of them",
                ids.join(", ")
            ))
        }
    }
}

/// The rate asked for or else the highest, with the finest samples, and two channels rather than one or many: the field may be on either.
fn chosen(device: &Device, rate_hz: Option<f64>) -> Result<(StreamConfig, SampleFormat), String> {
    let offered = device
        .supported_input_configs()
        .map_err(|error| sentence(&error))?;
    let ranges: Vec<_> = offered
        .filter_map(|range| {
            let fineness = FORMATS
                .iter()
                .position(|&format| format == range.sample_format())?;
            Some((range, fineness))
        })
        .collect();
    let highest =
        |range: &cpal::SupportedStreamConfigRange| range.max_sample_rate().min(HIGHEST_RATE_HZ);
    let wanted = match rate_hz {
        Some(rate_hz) => rate_hz.round() as u32,
        None => ranges
            .iter()
            .map(|(range, _)| highest(range))
            .max()
            .unwrap_or(0),
    };
    let fitting = ranges
        .iter()
        .filter(|(range, _)| (range.min_sample_rate()..=range.max_sample_rate()).contains(&wanted));
    let best = fitting.min_by_key(|(range, fineness)| (range.channels().abs_diff(2), *fineness));
    let Some((range, _)) = best else {
        let most = ranges.iter().map(|(range, _)| highest(range)).max();
        return Err(match most {
            Some(most) => format!(
                "it offers no {wanted} samples a second; leave out --rate for its highest rate, {most}"
            ),
            None => "it offers no samples of 8 to 32 bits".into(),
        });
    };
    let config = StreamConfig {
        channels: range.channels(),
        sample_rate: wanted,
        buffer_size: BufferSize::Default,
    };
    Ok((config, range.sample_format()))
}

/// What the sound card hands over.
enum Block {
    /// Samples of all channels in turn.
    Samples(Vec<f32>),
    /// It ended.
    Failed(String),
}

/// The sound card's side: it must never wait.
#[derive(Clone)]
struct Feed {
    blocks: SyncSender<Block>,
    /// Times that nobody took samples in time.
    lost: Arc<AtomicU64>,
}

impl Feed {
    fn take<T: Sample>(&self, samples: &[T])
    where
        f32: FromSample<T>,
    {
        let block = samples.iter().map(|&sample| f32::from_sample(sample));
        if let Err(TrySendError::Full(_)) = self.blocks.try_send(Block::Samples(block.collect())) {
            self.lost.fetch_add(1, Ordering::Relaxed);
        }
    }

    fn fail(&self, error: &cpal::Error) {
        match error.kind() {
            cpal::ErrorKind::Xrun => {
                self.lost.fetch_add(1, Ordering::Relaxed);
            }
            cpal::ErrorKind::DeviceChanged | cpal::ErrorKind::RealtimeDenied => {}
            // Where the queue is full, the end of the stream follows all the same.
            _ => drop(self.blocks.try_send(Block::Failed(sentence(error)))),
        }
    }
}

fn listening(
    device: &Device,
    config: StreamConfig,
    format: SampleFormat,
    feed: Feed,
) -> Result<cpal::Stream, cpal::Error> {
    match format {
        SampleFormat::F32 => build::<f32>(device, config, feed),
        SampleFormat::I32 => build::<i32>(device, config, feed),
        SampleFormat::I24 => build::<cpal::I24>(device, config, feed),
        SampleFormat::U16 => build::<u16>(device, config, feed),
        SampleFormat::U8 => build::<u8>(device, config, feed),
        _ => build::<i16>(device, config, feed),
    }
}

fn build<T: SizedSample>(
    device: &Device,
    config: StreamConfig,
    feed: Feed,
) -> Result<cpal::Stream, cpal::Error>
where
    f32: FromSample<T>,
{
    let failing = feed.clone();
    device.build_input_stream::<T, _, _>(
        config,
        move |samples, _| feed.take(samples),
        move |error| failing.fail(&error),
        None,
    )
}

/// An input that is being listened to.
struct Listening {
    layout: Layout,
    name: String,
    /// Samples of all channels in turn that were not handed on yet.
    waiting: Vec<f32>,
    incoming: Receiver<Block>,
    lost: Arc<AtomicU64>,
    /// Samples of a channel that were handed on.
    handed: u64,
    stop: Arc<AtomicBool>,
    /// Listening ends when this is dropped.
    _stream: cpal::Stream,
}

impl Listening {
    /// Waits for samples; none at the end.
    fn wait(&mut self) -> Result<(), CaptureError> {
        while self.waiting.is_empty() && !self.stop.load(Ordering::Relaxed) {
            match self.incoming.recv_timeout(POLL) {
                Ok(Block::Samples(samples)) => self.waiting = samples,
                Ok(Block::Failed(what)) => return Err(self.failed(what)),
                Err(RecvTimeoutError::Timeout) => {}
                Err(RecvTimeoutError::Disconnected) => {
                    return Err(self.failed("it hands over no more samples".into()));
                }
            }
        }
        Ok(())
    }

    fn failed(&self, what: String) -> CaptureError {
        CaptureError::Device {
            name: self.name.clone(),
            what,
        }
    }

    /// Says it once, as soon as it happens.
    fn note_loss(&mut self) {
        if self.layout.notes.is_empty() && self.lost.load(Ordering::Relaxed) > 0 {
            let rate_hz = self.layout.rate_hz.unwrap_or(f64::INFINITY);
            self.layout.notes.push(format!(
                "Samples were lost after {:.1} s, and may be again: they come faster than they are looked at. A smaller --rate helps, or \
                 less beside it on this machine.",
                self.handed as f64 / rate_hz
            ));
        }
    }
}

impl SampleSource for Listening {
    fn layout(&self) -> &Layout {
        &self.layout
    }

    fn read(&mut self, frames: usize, channels: &mut [Vec<f32>]) -> Result<usize, CaptureError> {
        self.wait()?;
        self.note_loss();
        let count = self.layout.channels.len();
        let taken = frames.min(self.waiting.len() / count);
        for frame in self.waiting.drain(..taken * count).as_slice().chunks(count) {
            for (channel, &sample) in channels.iter_mut().zip(frame) {
                // A float that is none counts as 0, as in every other capture.
                channel.push(if sample.is_finite() { sample } else { 0.0 });
            }
        }
        self.handed += taken as u64;
        Ok(taken)
    }
}
