//! Binary samples with one channel after the other: an array stored against the grain.

use super::again::ReadSeek;
use super::input::Input;
use super::packed::{Body, Mender};
use super::{CaptureError, Layout, SampleSource};
use std::io::{self, Cursor, Seek, SeekFrom};
use std::path::Path;

/// Most bytes kept when the channels come one after the other through a pipe, where nobody can go back.
const PIPE_LIMIT: u64 = 1 << 30;
const BLOCK_BYTES: usize = 1 << 18;

/// One reader a channel, each at its own place in the file.
pub(super) struct Planes {
    readers: Vec<Input>,
    layout: Layout,
    body: Body,
    left: u64,
    buffer: Vec<u8>,
    mender: Mender,
}

impl Planes {
    pub(super) fn new(
        mut input: Input,
        layout: Layout,
        body: Body,
        frames: u64,
    ) -> Result<Self, CaptureError> {
        let plane = frames * body.number.bytes() as u64;
        let total = plane * layout.channels.len() as u64;
        let short = |input: &Input, real: u64| {
            let found = format!("{real} bytes of samples where the header states {total}");
            input.malformed(
                "body",
                found,
                "the whole array is needed, as its channels lie one after the other",
            )
        };
        let mut readers = Vec::new();
        if let (Some(real), Some(again)) = (input.left(), input.again()) {
            if real < total {
                return Err(short(&input, real));
            }
            for index in 0..layout.channels.len() as u64 {
                let at = input.consumed() + index * plane;
                let place = || -> io::Result<Box<dyn ReadSeek>> {
                    let mut file = again.open()?;
                    file.seek(SeekFrom::Start(at))?;
                    Ok(file)
                };
                let file = place().map_err(|source| input.io_error(source))?;
                readers.push(Input::new(input.path(), file, None));
            }
        } else {
            if total > PIPE_LIMIT {
                let what =
                    format!("an array of {total} bytes, channel after channel, through a pipe");
                return Err(input.unsupported(what, "up to 1 GiB is, or any size from a file"));
            }
            let total_bytes = total as usize;
            if input.peek(total_bytes)?.len() < total_bytes {
                let real = input.peek(total_bytes)?.len() as u64;
                return Err(short(&input, real));
            }
            for _ in &layout.channels {
                let mut bytes = vec![0; plane as usize];
                input.fill(&mut bytes)?;
                readers.push(Input::new(
                    Path::new("-"),
                    Box::new(Cursor::new(bytes)),
                    None,
                ));
            }
        }
        Ok(Self {
            mender: Mender::new(readers.len()),
            readers,
            layout,
            body,
            left: frames,
            buffer: Vec::new(),
        })
    }
}

impl SampleSource for Planes {
    fn layout(&self) -> &Layout {
        &self.layout
    }

    fn read(&mut self, frames: usize, channels: &mut [Vec<f32>]) -> Result<usize, CaptureError> {
        let mut total = 0;
        while total < frames && self.left > 0 {
            let width = self.body.number.bytes();
            let count = (frames - total).min(BLOCK_BYTES / width);
            let count = count.min(usize::try_from(self.left).unwrap_or(usize::MAX));
            self.buffer.resize(count * width, 0);
            for (index, (reader, channel)) in
                self.readers.iter_mut().zip(channels.iter_mut()).enumerate()
            {
                if reader.fill(&mut self.buffer)? < self.buffer.len() {
                    return Err(reader.malformed(
                        "body",
                        "the file became shorter",
                        "keep it while it is read",
                    ));
                }
                let before = channel.len();
                let one = std::slice::from_mut(channel);
                self.body
                    .number
                    .spread(&self.buffer, self.body.big_endian, one);
                self.mender
                    .mend(index, &mut channel[before..], self.body.scale);
            }
            total += count;
            self.left -= count as u64;
            if self.left == 0 {
                self.mender
                    .close(self.readers[0].path(), &mut self.layout.notes)?;
            }
        }
        Ok(total)
    }
}
