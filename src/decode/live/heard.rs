//! What one look gave of a number, of whatever kind.

use crate::receiver::{Reading, Reception};
use crate::telegram::Identity;

/// A tag counts as there now if it was so short a time ago, seconds: three blocks of its presence, and a reader's pause.
const NOW_S: f64 = 0.05;

/// A number read in one look.
pub(super) struct Heard {
    /// What makes two readings the same.
    pub code: u64,
    pub identity: Identity,
    pub kind: &'static str,
    pub odds_wrong: f64,
    /// When it was there, in order.
    pub stays: Vec<HeardStay>,
}

/// A stretch of a look in which it was there.
#[derive(Clone, Copy)]
pub(super) struct HeardStay {
    pub from_s: f64,
    pub to_s: f64,
    pub depth: Option<f64>,
    pub angle_deg: Option<f64>,
    pub ebn0_db: f64,
    pub spare_db: f64,
}

/// What of a ripple's measures the samples hold.
#[derive(Clone, Copy, Default)]
pub(super) struct Shown {
    depth: bool,
    angle: bool,
}

impl Shown {
    /// In this look.
    pub fn of(look: &Reception) -> Self {
        let clipped = look.clipped_share().is_some();
        Self {
            depth: look.level_known && !clipped,
            angle: look.kind.has_carrier() && !clipped,
        }
    }
}

impl Heard {
    /// All numbers of a look whose times count from the stream's first sample.
    pub fn all(reception: &Reception, odds: f64) -> Vec<Self> {
        let shown = Shown::of(reception);
        let ripples = (reception.readings.iter()).map(|reading| Self::ripple(reading, shown, odds));
        let answers = reception.others.half_duplex.iter().map(|reading| Self {
            code: reading.telegram.code,
            identity: reading.identity(),
            kind: "hdx",
            odds_wrong: reading.odds_wrong,
            stays: vec![HeardStay {
                from_s: reading.from_s,
                to_s: reading.to_s,
                depth: None,
                angle_deg: None,
                ebn0_db: 10.0 * reading.ebn0.log10(),
                spare_db: reading.spare_db,
            }],
        });
        ripples.chain(answers).collect()
    }

    /// A number in a look, or in a sum that ends with it.
    pub fn ripple(reading: &Reading, shown: Shown, odds: f64) -> Self {
        let stays = reading.stays.iter().map(|stay| HeardStay {
            from_s: stay.from_s,
            to_s: stay.to_s,
            depth: shown.depth.then_some(stay.depth),
            angle_deg: shown.angle.then_some(stay.angle.to_degrees()),
            ebn0_db: 10.0 * stay.ebn0.log10(),
            spare_db: reading.spare_in(stay, odds),
        });
        Self {
            code: reading.attempt.decision.telegram.code,
            identity: reading.identity(),
            kind: "fdx-b",
            odds_wrong: reading.attempt.decision.odds_wrong,
            stays: stays.collect(),
        }
    }

    /// The stay that lasts until now.
    pub fn there_at(&self, now_s: f64) -> Option<&HeardStay> {
        self.stays
            .iter()
            .rev()
            .find(|stay| now_s - stay.to_s < NOW_S.max(self.pause_s()))
    }

    /// How much weaker a stay's ripple could be if it lasted for so long, dB. Of half-duplex answers each counts for itself.
    pub fn spare_over(&self, stay: &HeardStay, seconds: f64) -> f64 {
        let own_s = (stay.to_s - stay.from_s).max(1e-3);
        match self.kind {
            "hdx" => stay.spare_db,
            _ => stay.spare_db + 10.0 * (seconds / own_s).log10(),
        }
    }

    /// Half-duplex tags answer in the field's pauses only: 50 ms of field, 20 ms of pause (ISO 11785, from memory), and as much again.
    pub fn pause_s(&self) -> f64 {
        if self.kind == "hdx" { 0.14 } else { 0.0 }
    }
}
