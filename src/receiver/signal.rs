//! What the receiver is given: samples and their rate, nothing else.

use num_complex::Complex32;

/// Samples of one channel.
#[derive(Clone, Copy, Debug)]
pub enum Samples<'a> {
    /// Real samples.
    Real(&'a [f32]),
    /// Complex samples around a centre frequency.
    Complex(&'a [Complex32]),
}

impl Samples<'_> {
    /// Number of samples.
    pub fn len(&self) -> usize {
        match self {
            Self::Real(samples) => samples.len(),
            Self::Complex(samples) => samples.len(),
        }
    }

    /// Those from this place on; none where it lies behind the last.
    pub fn from(&self, place: usize) -> Self {
        let place = place.min(self.len());
        match self {
            Self::Real(samples) => Self::Real(&samples[place..]),
            Self::Complex(samples) => Self::Complex(&samples[place..]),
        }
    }

    /// No samples at all.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }
}

/// A stretch of one capture, ready to be read.
#[derive(Clone, Copy, Debug)]
pub struct Signal<'a> {
    /// The samples.
    pub samples: Samples<'a>,
    /// Samples per second; `None` where nothing says so: the field is then taken as 134.2 kHz below half the rate.
    pub rate_hz: Option<f64>,
    /// Frequency that complex samples are centred on, Hz; unused for real ones.
    pub centre_hz: f64,
    /// Two-level data (a demodulator's output), not a waveform.
    pub logic: bool,
}

/// How the field shows in the samples.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// The field frequency lies below half the sample rate.
    Direct,
    /// The field lies above half the sample rate and is seen aliased.
    Folded,
    /// Already rectified: the ripple itself, no carrier.
    Envelope,
    /// Complex samples around a centre frequency.
    Iq,
    /// Two-level data.
    Logic,
}

impl Kind {
    /// Name used in reports and JSON.
    pub const fn name(self) -> &'static str {
        match self {
            Self::Direct => "direct",
            Self::Folded => "folded",
            Self::Envelope => "envelope",
            Self::Iq => "iq",
            Self::Logic => "logic",
        }
    }

    /// Envelope and logic captures hold the ripple as one real number, without a carrier to clock it by.
    pub const fn has_carrier(self) -> bool {
        !matches!(self, Self::Envelope | Self::Logic)
    }
}
