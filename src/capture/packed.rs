//! Interleaved binary samples of one kind, block by block: the body of WAV, raw and most NPY files.

use super::input::Input;
use super::number::Number;
use super::{CaptureError, Layout, SampleSource, Unit};

/// Bytes asked for at a time.
const BLOCK_BYTES: usize = 1 << 18;

/// Where the samples end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum End {
    /// With the file.
    File,
    /// After so many bytes, or with the file if that comes first.
    Bytes(u64),
    /// The header states this many bytes, but is known to lie in streamed WAV files: believed only if the file or a
    /// further chunk really begins there.
    Claimed(u64),
}

/// What the body of a file looks like.
pub(super) struct Body {
    pub(super) number: Number,
    pub(super) big_endian: bool,
    pub(super) end: End,
    /// Factor for every sample.
    pub(super) scale: f32,
}

pub(super) struct Packed {
    input: Input,
    layout: Layout,
    body: Body,
    frame_bytes: usize,
    buffer: Vec<u8>,
    left: Option<u64>,
    mender: Mender,
    over: bool,
    frames: u64,
}

impl Packed {
    /// `layout` must have at least one channel.
    pub(super) fn new(
        mut input: Input,
        mut layout: Layout,
        body: Body,
    ) -> Result<Self, CaptureError> {
        let frame_bytes = body.number.bytes() * layout.channels.len();
        // Whole frames only, so that reading on past a wrong end stays in step.
        let left = match body.end {
            End::File => None,
            End::Bytes(count) | End::Claimed(count) => Some(count - count % frame_bytes as u64),
        };
        if input.peek(frame_bytes)?.len() < frame_bytes || body.end == End::Bytes(0) {
            let place = format!("byte {}", input.consumed());
            return Err(input.malformed(place, "no samples", "at least one is needed"));
        }
        let real = input.left();
        let bytes = match (body.end, real) {
            (End::File, real) => real,
            (End::Bytes(count), Some(real)) => Some(count.min(real)),
            (End::Bytes(count), None) => Some(count),
            // 0 and all ones are what streaming writers leave; the rest is settled when its end is reached.
            (End::Claimed(0 | 0xFFFF_FFFF), real) => real,
            (End::Claimed(count), Some(real)) => Some(count.min(real)),
            (End::Claimed(count), None) => Some(count),
        };
        layout.length = bytes.map(|bytes| bytes / frame_bytes as u64);
        Ok(Self {
            mender: Mender::new(layout.channels.len()),
            input,
            layout,
            body,
            frame_bytes,
            buffer: Vec::new(),
            left,
            over: false,
            frames: 0,
        })
    }

    /// Reads the next bytes of the body into the buffer; short at the end.
    fn fetch(&mut self, frames: usize) -> Result<usize, CaptureError> {
        let mut want = frames.clamp(1, (BLOCK_BYTES / self.frame_bytes).max(1)) * self.frame_bytes;
        if let Some(left) = self.left {
            want = want.min(usize::try_from(left).unwrap_or(usize::MAX));
        }
        self.buffer.resize(want, 0);
        let got = self.input.fill(&mut self.buffer)?;
        if let Some(left) = &mut self.left {
            *left -= got as u64;
        }
        Ok(got)
    }

    /// At the claimed end: does the file go on with samples all the same?
    fn claim_was_wrong(&mut self, claimed: u64) -> Result<bool, CaptureError> {
        let left = self.input.left();
        // A broken frame and the byte that pads a chunk of odd length come first.
        let offset = (claimed % self.frame_bytes as u64 + claimed % 2) as usize;
        let next = self.input.peek(offset + 8)?;
        Ok(match next.get(offset..offset + 8) {
            Some(header) => !is_chunk_header(header, left),
            None => next.len() >= offset + self.frame_bytes,
        })
    }

    fn finish(&mut self, odd_bytes: usize) -> Result<(), CaptureError> {
        self.over = true;
        if self.frames == 0 {
            let place = format!("byte {}", self.input.consumed());
            return Err(self
                .input
                .malformed(place, "no samples", "at least one is needed"));
        }
        if odd_bytes > 0 {
            self.layout.notes.push(format!(
                "The file ends inside a sample: its last {odd_bytes} bytes were left out."
            ));
        }
        if let End::Claimed(claimed) = self.body.end {
            let real = self.frames * self.frame_bytes as u64 + odd_bytes as u64;
            if claimed != real && self.left != Some(0) {
                self.layout.notes.push(format!(
                    "The header states {claimed} bytes of samples, the file holds {real}: read to its real end."
                ));
            }
        }
        if let End::Bytes(stated) = self.body.end {
            let real = self.frames * self.frame_bytes as u64;
            if real < stated {
                self.layout.notes.push(format!(
                    "The header states {} samples, the file holds {}: the end is missing.",
                    stated / self.frame_bytes as u64,
                    self.frames
                ));
            }
        }
        self.mender.close(self.input.path(), &mut self.layout.notes)
    }
}

/// Chunk names beside the samples are printable (RIFF, 1991), and the chunk fits into the file.
fn is_chunk_header(bytes: &[u8], left: Option<u64>) -> bool {
    let size = u32::from_le_bytes([bytes[4], bytes[5], bytes[6], bytes[7]]);
    let limit = left.map_or(1 << 24, |left| left.saturating_sub(8));
    bytes[..4]
        .iter()
        .all(|&byte| byte == b' ' || byte.is_ascii_graphic())
        && u64::from(size) <= limit
}

impl SampleSource for Packed {
    fn layout(&self) -> &Layout {
        &self.layout
    }

    fn read(&mut self, frames: usize, channels: &mut [Vec<f32>]) -> Result<usize, CaptureError> {
        let mut total = 0;
        while total < frames && !self.over {
            if let (Some(0), End::Claimed(claimed)) = (self.left, self.body.end)
                && self.claim_was_wrong(claimed)?
            {
                self.left = None;
            }
            let got = self.fetch(frames - total)?;
            let whole = got - got % self.frame_bytes;
            self.body
                .number
                .spread(&self.buffer[..whole], self.body.big_endian, channels);
            let count = whole / self.frame_bytes;
            for (index, channel) in channels.iter_mut().enumerate() {
                let before = channel.len() - count;
                self.mender
                    .mend(index, &mut channel[before..], self.body.scale);
            }
            total += count;
            self.frames += count as u64;
            if got < self.buffer.len() || got == 0 {
                self.finish(got - whole)?;
            }
        }
        Ok(total)
    }
}

/// Replaces what is not finite by the last good value, and counts.
pub(super) struct Mender {
    last: Vec<f32>,
    replaced: u64,
    seen: u64,
}

impl Mender {
    pub(super) fn new(channels: usize) -> Self {
        Self {
            last: vec![0.0; channels],
            replaced: 0,
            seen: 0,
        }
    }

    pub(super) fn mend(&mut self, channel: usize, samples: &mut [f32], scale: f32) {
        self.seen += samples.len() as u64;
        if scale != 1.0 {
            samples.iter_mut().for_each(|sample| *sample *= scale);
        }
        // Folded without an early exit, so that the common case runs in vector registers.
        if !samples.iter().fold(true, |good, x| good & x.is_finite()) {
            for sample in samples.iter_mut() {
                if sample.is_finite() {
                    self.last[channel] = *sample;
                } else {
                    *sample = self.last[channel];
                    self.replaced += 1;
                }
            }
        } else if let Some(&last) = samples.last() {
            self.last[channel] = last;
        }
    }

    /// Tells what was replaced; more than half is no capture.
    pub(super) fn close(
        &mut self,
        path: &std::path::Path,
        notes: &mut Vec<String>,
    ) -> Result<(), CaptureError> {
        if self.replaced * 2 > self.seen {
            return Err(CaptureError::Malformed {
                path: path.to_owned(),
                place: "samples".into(),
                found: format!("{} of {} values are not finite", self.replaced, self.seen),
                allowed: "at most half may be missing".into(),
            });
        }
        if self.replaced > 0 {
            notes.push(format!(
                "{} of {} values are not finite: the last good value was held.",
                self.replaced, self.seen
            ));
        }
        Ok(())
    }
}

/// Unit of binary numbers.
pub(super) fn unit_of(number: Number) -> Unit {
    if number.is_float() {
        Unit::Unknown
    } else {
        Unit::FullScale
    }
}

/// The factor for binary samples: fractions of full scale stay as they are, and the user is told.
pub(super) fn scale_of(unit: Unit, scale: f64, notes: &mut Vec<String>) -> f32 {
    if unit == Unit::FullScale && scale != 1.0 {
        notes.push(format!(
            "The scale factor {scale} was not used: the samples are fractions of full scale, not volts."
        ));
        return 1.0;
    }
    scale as f32
}
