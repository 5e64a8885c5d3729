//! Samples in memory, and sources with a column left out.

use super::{CaptureError, Layout, SampleSource};

/// Samples in memory.
pub(super) struct Kept {
    layout: Layout,
    channels: Vec<Vec<f32>>,
    next: usize,
}

impl Kept {
    /// Channels of equal length.
    pub(super) fn new(layout: Layout, channels: Vec<Vec<f32>>) -> Self {
        Self {
            layout,
            channels,
            next: 0,
        }
    }
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

/// A source whose first channel was the time.
pub(super) struct WithoutFirst {
    inner: Box<dyn SampleSource>,
    layout: Layout,
    first: Vec<f32>,
}

impl WithoutFirst {
    /// `layout` has a channel less than that of `inner`.
    pub(super) fn new(inner: Box<dyn SampleSource>, layout: Layout) -> Self {
        Self {
            inner,
            layout,
            first: Vec::new(),
        }
    }
}

impl SampleSource for WithoutFirst {
    fn layout(&self) -> &Layout {
        &self.layout
    }

    fn read(&mut self, frames: usize, channels: &mut [Vec<f32>]) -> Result<usize, CaptureError> {
        self.first.clear();
        let mut all = Vec::with_capacity(channels.len() + 1);
        all.push(std::mem::take(&mut self.first));
        all.extend(channels.iter_mut().map(std::mem::take));
        let count = self.inner.read(frames, &mut all);
        let mut all = all.into_iter();
        self.first = all.next().unwrap_or_default();
        for (channel, own) in channels.iter_mut().zip(all) {
            *channel = own;
        }
        self.layout.notes.clone_from(&self.inner.layout().notes);
        count
    }
}
