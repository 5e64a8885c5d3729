//! Files and streams → samples, and samples → files. The only place that opens captures.

mod types;

pub use types::{CaptureError, ChannelInfo, Layout, RateOrigin, SampleSource, Unit};
