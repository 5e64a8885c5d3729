//! Bytes of a text file → blocks of whole lines in UTF-8 (or Latin-1 left as it is).

use super::super::CaptureError;
use super::super::input::Input;

/// Bytes looked at to understand the form of the file.
const HEAD_BYTES: usize = 1 << 20;
/// Bytes read at a time, and understood on two threads: handing over takes as long as some ten kilobytes do.
const BLOCK_BYTES: usize = 1 << 20;
/// The same of what is still coming: rows of a fiftieth of a second at 48 kS/s are not waited for longer.
const COMING_HEAD_BYTES: usize = 1 << 16;
const COMING_BLOCK_BYTES: usize = 1 << 13;
/// No row of a capture is longer.
const LINE_LIMIT: usize = 1 << 20;

/// Bytes looked at for a byte order that no mark states.
const ORDER_BYTES: usize = 256;

/// Byte order of UTF-16, by its mark or by every other byte being zero: `Some(true)` is big endian.
pub(super) fn byte_order(start: &[u8]) -> Option<bool> {
    match start {
        [0xFE, 0xFF, ..] => Some(true),
        [0xFF, 0xFE, ..] => Some(false),
        _ => {
            let pairs = start[..start.len().min(ORDER_BYTES)].as_chunks::<2>().0;
            let printed = |byte: u8| byte >= b' ' || matches!(byte, b'\t' | b'\r' | b'\n');
            let all = |high: usize| {
                let written = |pair: &[u8; 2]| pair[high] == 0 && printed(pair[1 - high]);
                pairs.len() >= 8 && pairs.iter().all(written)
            };
            all(0).then_some(true).or(all(1).then_some(false))
        }
    }
}

pub(super) struct Feed {
    input: Input,
    utf16: Option<bool>,
    buffer: Vec<u8>,
    start: usize,
    ended: bool,
    block_bytes: usize,
    /// The last line had no line end.
    pub(super) cut: bool,
    /// Line end: `\n`, or `\r` in files that have no `\n`.
    pub(super) terminator: u8,
}

impl Feed {
    pub(super) fn new(input: Input) -> Result<Self, CaptureError> {
        Self::of(input, HEAD_BYTES, BLOCK_BYTES)
    }

    /// Of text that is still coming: no more is waited for than is needed.
    pub(super) fn coming(input: Input) -> Result<Self, CaptureError> {
        Self::of(input, COMING_HEAD_BYTES, COMING_BLOCK_BYTES)
    }

    fn of(mut input: Input, head_bytes: usize, block_bytes: usize) -> Result<Self, CaptureError> {
        let utf16 = byte_order(input.peek(ORDER_BYTES)?);
        if matches!(input.peek(2)?, [0xFE, 0xFF] | [0xFF, 0xFE]) {
            input.skip(2)?;
        } else if input.peek(3)? == b"\xEF\xBB\xBF" {
            input.skip(3)?;
        }
        let mut feed = Self {
            input,
            utf16,
            buffer: Vec::new(),
            start: 0,
            ended: false,
            block_bytes,
            cut: false,
            terminator: b'\n',
        };
        while feed.buffer.len() < head_bytes && !feed.ended {
            feed.refill()?;
        }
        if !feed.buffer.contains(&b'\n') && feed.buffer.contains(&b'\r') {
            feed.terminator = b'\r';
        }
        Ok(feed)
    }

    pub(super) fn input(&self) -> &Input {
        &self.input
    }

    /// The whole file is in the head.
    pub(super) fn is_over(&self) -> bool {
        self.ended
    }

    pub(super) fn long_line(&self, line: u64) -> CaptureError {
        self.input.malformed(
            format!("line {line}"),
            "a line of more than 1 MiB",
            "rows of numbers, one sample time a line, are allowed",
        )
    }

    /// The start of the file: whole lines, unless the file has none.
    pub(super) fn head(&self) -> &[u8] {
        if self.ended {
            return &self.buffer;
        }
        let end = self
            .buffer
            .iter()
            .rposition(|&byte| byte == self.terminator);
        &self.buffer[..end.map_or(0, |end| end + 1)]
    }

    /// Drops `bytes` from the start.
    pub(super) fn skip(&mut self, bytes: usize) {
        self.start = (self.start + bytes).min(self.buffer.len());
    }

    /// The next whole lines, each with its line end; `None` at the end. `line` is the number of the first of them.
    pub(super) fn block(&mut self, line: u64) -> Result<Option<&[u8]>, CaptureError> {
        loop {
            let rest = &self.buffer[self.start..];
            if let Some(last) = rest.iter().rposition(|&byte| byte == self.terminator) {
                let from = self.start;
                self.start += last + 1;
                return Ok(Some(&self.buffer[from..self.start]));
            }
            if self.ended {
                if rest.is_empty() {
                    return Ok(None);
                }
                self.cut = true;
                self.buffer.push(self.terminator);
                continue;
            }
            if rest.len() > LINE_LIMIT {
                return Err(self.long_line(line));
            }
            self.refill()?;
        }
    }

    fn refill(&mut self) -> Result<(), CaptureError> {
        self.buffer.drain(..self.start);
        self.start = 0;
        if let Some(big_endian) = self.utf16 {
            let mut raw = vec![0; self.block_bytes];
            let got = self.input.fill(&mut raw)?;
            self.ended = got < raw.len();
            let pairs = raw[..got].as_chunks::<2>().0.iter();
            let mut units: Vec<u16> = pairs
                .map(|&pair| {
                    if big_endian {
                        u16::from_be_bytes(pair)
                    } else {
                        u16::from_le_bytes(pair)
                    }
                })
                .collect();
            if !self.ended
                && units
                    .last()
                    .is_some_and(|unit| (0xD800..0xDC00).contains(unit))
            {
                // Half a character at the edge of the block; captures hold none outside titles.
                units.pop();
            }
            self.buffer.extend(String::from_utf16_lossy(&units).bytes());
        } else {
            let got = self.input.append(&mut self.buffer, self.block_bytes)?;
            self.ended = got < self.block_bytes;
        }
        Ok(())
    }
}
