//! FLAC: samples of recorders and sound cards, packed without loss (RFC 9639), decoded by `claxon`.

use super::allowance::Counted;
use super::input::Input;
use super::options::OpenOptions;
use super::packed::scale_of;
use super::{CaptureError, ChannelInfo, Layout, RateOrigin, SampleSource, Unit};
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

/// Samples allowed for each byte of the file, and those that every file may have: silence packs without end.
const RATIO: u64 = 40;
const ANYWAY: u64 = 1 << 20;

struct Flac {
    path: PathBuf,
    reader: claxon::FlacReader<Counted<Input>>,
    layout: Layout,
    full_scale: f32,
    /// A block being handed out, and the place in it.
    block: Option<(claxon::Block, u32)>,
    buffer: Vec<i32>,
    packed: Arc<AtomicU64>,
    given: u64,
    over: bool,
}

pub(super) fn is_flac(start: &[u8]) -> bool {
    start.starts_with(b"fLaC")
}

pub(super) fn open(
    input: Input,
    options: &OpenOptions,
) -> Result<Box<dyn SampleSource>, CaptureError> {
    let path = input.path().to_owned();
    let packed = Arc::default();
    let counted = Counted::new(input, Arc::clone(&packed));
    let reader = claxon::FlacReader::new(counted).map_err(|error| fault(&path, &error))?;
    let info = reader.streaminfo();
    let channel = |index: u32| ChannelInfo {
        name: (index + 1).to_string(),
        unit: Unit::FullScale,
    };
    let mut layout = Layout {
        channels: (0..info.channels).map(channel).collect(),
        length: info.samples,
        ..Layout::default()
    };
    options.settle_rate(
        &mut layout,
        Some((f64::from(info.sample_rate), RateOrigin::File)),
    );
    scale_of(Unit::FullScale, options.scale, &mut layout.notes);
    Ok(Box::new(Flac {
        path,
        full_scale: (f64::from(info.bits_per_sample) - 1.0).exp2() as f32,
        reader,
        layout,
        block: None,
        buffer: Vec::new(),
        packed,
        given: 0,
        over: false,
    }))
}

fn fault(path: &std::path::Path, error: &claxon::Error) -> CaptureError {
    CaptureError::Malformed {
        path: path.to_owned(),
        place: "FLAC stream".into(),
        found: error.to_string(),
        allowed: "a whole FLAC file is needed".into(),
    }
}

impl Flac {
    /// Fetches the next block; `false` at the end. A file that was cut off ends with its last whole block.
    fn next_block(&mut self) -> Result<bool, CaptureError> {
        let buffer = std::mem::take(&mut self.buffer);
        match self.reader.blocks().read_next_or_eof(buffer) {
            Ok(Some(block)) if block.channels() as usize == self.layout.channels.len() => {
                self.given += u64::from(block.duration()) * u64::from(block.channels());
                let allowed = ANYWAY + RATIO * self.packed.load(Ordering::Relaxed);
                if self.given > allowed {
                    return Err(CaptureError::Unsupported {
                        path: self.path.clone(),
                        what: format!("FLAC with more than {RATIO} samples a byte"),
                        allowed: "no capture packs like that; convert it to WAV".into(),
                    });
                }
                self.block = Some((block, 0));
                Ok(true)
            }
            Ok(None) => Ok(false),
            Ok(Some(_)) => Err(CaptureError::Malformed {
                path: self.path.clone(),
                place: "FLAC stream".into(),
                found: "another number of channels".into(),
                allowed: "it must stay the same".into(),
            }),
            Err(_) if self.given > 0 => {
                self.layout
                    .notes
                    .push("The FLAC stream is cut off or damaged: its end was left out.".into());
                Ok(false)
            }
            Err(error) => Err(fault(&self.path, &error)),
        }
    }
}

impl SampleSource for Flac {
    fn layout(&self) -> &Layout {
        &self.layout
    }

    fn read(&mut self, frames: usize, channels: &mut [Vec<f32>]) -> Result<usize, CaptureError> {
        let mut total = 0;
        while total < frames && !self.over {
            let Some((block, from)) = &mut self.block else {
                if !self.next_block()? {
                    self.over = true;
                    if self.given == 0 {
                        return Err(CaptureError::Malformed {
                            path: self.path.clone(),
                            place: "FLAC stream".into(),
                            found: "no samples".into(),
                            allowed: "at least one is needed".into(),
                        });
                    }
                }
                continue;
            };
            let upto = block.duration().min(
                *from
                    + u32::try_from(frames - total)
                        .unwrap_or(u32::MAX)
                        .min(1 << 16),
            );
            for (index, channel) in channels.iter_mut().enumerate() {
                let own = &block.channel(index as u32)[*from as usize..upto as usize];
                channel.extend(own.iter().map(|&value| value as f32 / self.full_scale));
            }
            total += (upto - *from) as usize;
            *from = upto;
            if upto == block.duration()
                && let Some((block, _)) = self.block.take()
            {
                self.buffer = block.into_buffer();
            }
        }
        Ok(total)
    }
}
