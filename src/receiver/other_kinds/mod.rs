//! Tags of other kinds than FDX-B: half duplex in the pauses of the field, 125 kHz tags in the ripple.
//!
//! Half-duplex answers are read from the same values as everything else, one a field cycle: a pause shows their two tones as two
//! offsets from the field's frequency, whether the capture is direct, folded or I/Q. A rectified capture keeps neither the tones
//! of a pause nor the clock of a 125 kHz field, so nothing is looked for there.

mod answer;
mod bit_path;
mod crc_trellis;
mod half_duplex;
#[cfg(test)]
mod half_duplex_tests;
mod levels;
mod load_fsk;
mod other_rates;
mod pauses;
mod phase_keyed;
mod read_only;
mod tone;

pub use half_duplex::{HalfDuplexReading, HalfDuplexUnread};
pub use load_fsk::LoadFskTag;
pub use other_rates::OtherRate;
pub use phase_keyed::{PhaseKeyed, phase_keyed};
pub use read_only::ReadOnlyTag;

use num_complex::{Complex32, Complex64};

use super::seen::Seen;
use crate::receiver::front::cycles::Cycles;
use half_duplex::half_duplex;
use load_fsk::load_fsk;
use other_rates::other_rate;
use read_only::read_only;

/// What other kinds of tags are in a capture.
#[derive(Clone, Debug, Default)]
pub struct OtherKinds {
    /// Numbers of half-duplex tags. They are animal numbers as those of FDX-B tags are.
    pub half_duplex: Vec<HalfDuplexReading>,
    /// Half-duplex answers without a number.
    pub half_duplex_unread: Option<HalfDuplexUnread>,
    /// A 125 kHz read-only tag.
    pub read_only: Option<ReadOnlyTag>,
    /// A tag that switches its load at field/8 and field/10.
    pub load_fsk: Option<LoadFskTag>,
    /// A tag with bits of another number of field cycles.
    pub other_rate: Option<OtherRate>,
    /// A tag that switches its load at half the field's frequency.
    pub phase_keyed: Option<PhaseKeyed>,
}

/// Looks for other kinds in what the receiver saw of a capture with a carrier; in the ripple only where no number was read from it.
pub fn other_kinds(seen: &Seen, ripple_read: bool, odds: f64) -> OtherKinds {
    let (half_duplex, half_duplex_unread) = half_duplex(&seen.cycles, odds);
    let longest = seen.pieces.iter().max_by_key(|piece| piece.ripple.len());
    let ripple = longest
        .filter(|_| !ripple_read)
        .map_or(&[][..], |piece| &piece.ripple);
    let read_only = read_only(ripple);
    let load_fsk = longest
        .filter(|_| !ripple_read && read_only.is_none())
        .and_then(|piece| load_fsk(&fast_ripple(&seen.cycles, piece.from_s, piece.to_s)));
    let other_rate = longest
        .filter(|_| !ripple_read && read_only.is_none() && load_fsk.is_none())
        .and_then(|piece| other_rate(&fast_ripple(&seen.cycles, piece.from_s, piece.to_s)));
    OtherKinds {
        half_duplex,
        half_duplex_unread,
        load_fsk,
        read_only,
        other_rate,
        phase_keyed: None,
    }
}

/// Cycles over which the field is averaged: 16 bits of a load FSK, whose own changes average out over each bit.
const FIELD_CYCLES: usize = 800;

/// The ripple of a stretch with every line still in it: values over their own running mean. What is slower than that mean is lost.
fn fast_ripple(cycles: &Cycles, from_s: f64, to_s: f64) -> Vec<Complex32> {
    let index = |seconds: f64| {
        let place = (seconds * cycles.field_hz).round() as usize;
        place.saturating_sub(cycles.first).min(cycles.values.len())
    };
    let values = &cycles.values[index(from_s)..index(to_s)];
    let mut sums = vec![Complex64::default()];
    for value in values {
        sums.push(sums[sums.len() - 1] + Complex64::new(value.re.into(), value.im.into()));
    }
    (0..values.len())
        .map(|n| {
            let from = n.saturating_sub(FIELD_CYCLES / 2);
            let to = (n + FIELD_CYCLES / 2).min(values.len());
            let mean = (sums[to] - sums[from]) / (to - from) as f64;
            let ripple = Complex64::new(values[n].re.into(), values[n].im.into()) / mean - 1.0;
            Complex32::new(ripple.re as f32, ripple.im as f32)
        })
        .collect()
}

impl OtherKinds {
    /// Counts all times from a moment `offset_s` earlier.
    pub fn shift(&mut self, offset_s: f64) {
        for reading in &mut self.half_duplex {
            reading.from_s += offset_s;
            reading.to_s += offset_s;
        }
    }

    /// Adds what a later window of the same capture gave.
    pub fn absorb(&mut self, later: Self, odds: f64) {
        for reading in later.half_duplex {
            half_duplex::merge(&mut self.half_duplex, reading, odds);
        }
        self.half_duplex_unread = self
            .half_duplex_unread
            .or(later.half_duplex_unread)
            .filter(|_| self.half_duplex.is_empty());
        self.read_only = self.read_only.or(later.read_only);
        self.load_fsk = self.load_fsk.or(later.load_fsk);
        self.other_rate = self.other_rate.or(later.other_rate);
        self.phase_keyed = self.phase_keyed.or(later.phase_keyed);
    }
}
