//! `--devices`, and the tone of `--sound` on the system's output.

use std::sync::Arc;
use std::time::Duration;

use anyhow::Context;
use cpal::traits::{DeviceTrait, HostTrait, StreamTrait};
use cpal::{FromSample, SampleFormat, SizedSample};
use fieldripple::capture::input_devices;
use fieldripple::decode::Event;

use super::super::super::print;
use super::pipeline::News;
use super::voice::{Heard, Voice};

/// Without news for so long the tone is silent: it would speak of the past.
const STALE: Duration = Duration::from_secs(1);

/// Prints the inputs that `--device` takes, one a line.
pub fn list() -> anyhow::Result<()> {
    let devices = input_devices()?;
    if devices.is_empty() {
        anyhow::bail!("this machine has no sound input; plug in or switch on a sound card");
    }
    for device in devices {
        print(&format!(
            "{}  up to {} samples a second  {}\n",
            device.id, device.highest_rate_hz, device.description
        ))?;
    }
    Ok(())
}

/// A tone on the system's sound output, silent until something is known.
pub struct Tone {
    heard: Arc<Heard>,
    /// The tone ends when this is dropped.
    _stream: cpal::Stream,
}

impl Tone {
    /// Takes the system's sound output.
    pub fn start() -> anyhow::Result<Self> {
        let device = cpal::default_host()
            .default_output_device()
            .context("--sound: the system has no sound output")?;
        let config = device
            .default_output_config()
            .context("--sound: the sound output cannot be used")?;
        let heard = Arc::new(Heard::silent());
        let voice = Voice::new(Arc::clone(&heard), config.sample_rate() as f32);
        let stream = match config.sample_format() {
            SampleFormat::F32 => played::<f32>(&device, &config, voice),
            SampleFormat::I32 => played::<i32>(&device, &config, voice),
            SampleFormat::I16 => played::<i16>(&device, &config, voice),
            SampleFormat::U16 => played::<u16>(&device, &config, voice),
            SampleFormat::U8 => played::<u8>(&device, &config, voice),
            other => anyhow::bail!(
                "--sound: the sound output takes {other} samples only, which are not made here"
            ),
        };
        let stream = stream.context("--sound: the sound output cannot be used")?;
        stream
            .play()
            .context("--sound: the sound output cannot be used")?;
        Ok(Self {
            heard,
            _stream: stream,
        })
    }

    /// Takes the news.
    pub fn hear(&self, news: &News) {
        match news {
            News::Event(event) => {
                if let Event::State(state) = &**event {
                    self.heard.set(state.margin_db);
                }
            }
            News::Tick { without } if *without >= STALE => self.heard.set(None),
            News::Done(_) | News::Failed(_) => self.heard.set(None),
            _ => {}
        }
    }
}

fn played<T: SizedSample + FromSample<f32>>(
    device: &cpal::Device,
    config: &cpal::SupportedStreamConfig,
    mut voice: Voice,
) -> Result<cpal::Stream, cpal::Error> {
    let channels = usize::from(config.channels());
    device.build_output_stream::<T, _, _>(
        config.config(),
        move |frames, _| {
            for frame in frames.chunks_mut(channels) {
                frame.fill(T::from_sample(voice.next()));
            }
        },
        // A tone that ends is heard to end; the reading goes on.
        |_| {},
        None,
    )
}
