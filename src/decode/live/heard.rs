//! What one look gave of a number, of whatever kind.

use crate::receiver::Reception;
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

impl Heard {
    /// All numbers of a look whose times count from the stream's first sample.
    pub fn all(reception: &Reception, odds: f64) -> Vec<Self> {
        let clipped = reception.clipped_share().is_some();
        let leveled = reception.level_known && !clipped;
        let angled = reception.kind.has_carrier() && !clipped;
        let ripples = reception.readings.iter().map(|reading| Self {
            code: reading.attempt.decision.telegram.code,
            identity: reading.identity(),
            kind: "fdx-b",
            odds_wrong: reading.attempt.decision.odds_wrong,
            stays: (reading.stays.iter())
                .map(|stay| HeardStay {
                    from_s: stay.from_s,
                    to_s: stay.to_s,
                    depth: leveled.then_some(stay.depth),
                    angle_deg: angled.then_some(stay.angle.to_degrees()),
                    ebn0_db: 10.0 * stay.ebn0.log10(),
                    spare_db: reading.spare_in(stay, odds),
                })
                .collect(),
        });
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
