//! How captures are to be read.

use std::ops::RangeInclusive;

use super::Pickup;
use crate::capture::{ChannelChoice, OpenOptions, RawKind};
use crate::receiver::Terms;
use crate::receiver::decision::Known;
use crate::telegram::Identity;

/// Sample rates that may be given for a capture, Hz.
pub const RATES_HZ: RangeInclusive<f64> = 1.0..=1e10;
/// Frequencies that complex samples may be said to be centred on, Hz.
pub const CENTRES_HZ: RangeInclusive<f64> = -1e10..=1e10;

/// How captures are to be read; what is not set is taken from the file.
///
/// ```
/// use fieldripple::decode::Settings;
///
/// let settings = Settings::new().rate_hz(500e3).from_s(0.1).odds(1e-6);
/// ```
#[derive(Clone, Debug)]
pub struct Settings {
    pub(super) rate_hz: Option<f64>,
    pub(super) from_s: f64,
    pub(super) to_s: Option<f64>,
    pub(super) scale: f64,
    pub(super) channel: ChannelChoice,
    pub(super) raw: Option<RawKind>,
    pub(super) centre_hz: Option<f64>,
    pub(super) expected: Option<Identity>,
    pub(super) odds: f64,
    pub(super) known: Known,
    pub(super) keep_samples: bool,
    pub(super) visits: bool,
    #[cfg(feature = "page")]
    pub(super) origin: bool,
    pub(super) pickup: Option<Pickup>,
}

impl Default for Settings {
    fn default() -> Self {
        Self {
            rate_hz: None,
            from_s: 0.0,
            to_s: None,
            scale: 1.0,
            channel: ChannelChoice::Auto,
            raw: None,
            centre_hz: None,
            expected: None,
            odds: 1e-5,
            known: Known::Nothing,
            keep_samples: false,
            visits: false,
            #[cfg(feature = "page")]
            origin: false,
            pickup: None,
        }
    }
}

impl Settings {
    /// The usual settings: everything from the file, the channel with the field in it, odds of 1e-5.
    pub fn new() -> Self {
        Self::default()
    }

    /// Samples per second, above 0; wins over what the file says.
    pub fn rate_hz(mut self, rate_hz: f64) -> Self {
        self.rate_hz = Some(rate_hz);
        self
    }

    /// Leaves out everything before this time, seconds from the first sample. Default 0.
    pub fn from_s(mut self, from_s: f64) -> Self {
        self.from_s = from_s;
        self
    }

    /// Leaves out everything after this time, seconds from the first sample. Default: the end.
    pub fn to_s(mut self, to_s: f64) -> Self {
        self.to_s = Some(to_s);
        self
    }

    /// Probe factor: volts are multiplied by it. Default 1.
    pub fn scale(mut self, factor: f64) -> Self {
        self.scale = factor;
        self
    }

    /// The channel to read. Default: the one with the field in it.
    pub fn channel(mut self, choice: ChannelChoice) -> Self {
        self.channel = choice;
        self
    }

    /// The file is bare samples of this kind, without a header.
    pub fn raw(mut self, kind: RawKind) -> Self {
        self.raw = Some(kind);
        self
    }

    /// Frequency that complex samples are centred on, Hz; makes the two channels of a file one complex signal.
    pub fn centre_hz(mut self, centre_hz: f64) -> Self {
        self.centre_hz = Some(centre_hz);
        self
    }

    /// The number that should be there; country and national number count.
    pub fn expect(mut self, identity: Identity) -> Self {
        self.expected = Some(identity);
        self
    }

    /// Largest probability of a wrong number that still counts as read. Default 1e-5.
    pub fn odds(mut self, odds: f64) -> Self {
        self.odds = odds;
        self
    }

    /// Takes as known what nearly every animal tag sends; a number that needs it says so.
    pub fn usual_fields(mut self) -> Self {
        self.known = Known::UsualFields;
        self
    }

    /// Keeps the samples that the receiver kept its view of, for figures.
    pub fn keep_samples(mut self) -> Self {
        self.keep_samples = true;
        self
    }

    /// Also says where the capture came from: date and SHA-256 of the file ([`Decoded::origins`](super::Decoded::origins)).
    #[cfg(feature = "page")]
    pub fn origin(mut self) -> Self {
        self.origin = true;
        self
    }

    /// Also finds out when each tag came and went, as [`Live`](super::Live) does; takes longer.
    pub fn visits(mut self) -> Self {
        self.visits = true;
        self
    }

    /// The capture is the voltage of this coil: [`Decoded::field_strength`](super::Decoded::field_strength) then says how strong the field is
    /// there.
    pub fn pickup(mut self, coil: Pickup) -> Self {
        self.pickup = Some(coil);
        self
    }

    /// What the receiver asks of a number.
    pub fn terms(&self) -> Terms {
        Terms {
            odds: self.odds,
            known: self.known,
        }
    }

    pub(super) fn open_options(&self) -> OpenOptions {
        OpenOptions {
            rate_hz: self.rate_hz,
            scale: self.scale,
            raw: self.raw,
        }
    }
}
