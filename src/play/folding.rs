//! A weak capture → its telegrams one by one, and what the receiver says of the first of them, of the first two, and so on.

use num_complex::Complex64;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::recording::{self, AMPLITUDE, hexadecimal, received};
use super::words::odds_words;
use super::{Unanswered, within};
use crate::receiver::{BIT, Reception, TELEGRAM};
use crate::telegram::{Identity, Telegram};
use crate::world::{DirectSignal, SampleForm, noise_sigma};

/// What the file is called.
const NAME: &str = "folding.wav";
/// Most telegrams.
const MOST: usize = 24;
/// Values a bit: whether a half bit is + or − is seen from two.
pub const PER_BIT: usize = 4;
/// Ripple angle of the captures, degrees.
const ANGLE_DEG: f64 = 30.0;

/// The question.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct FoldingQuestion {
    /// The transponder's number, as `CCC:N`.
    pub number: String,
    /// Depth of the ripple.
    pub depth: f64,
    /// Seed of the noise.
    pub seed: u64,
    /// Eb/N0 of one telegram, dB.
    pub ebn0_db: f64,
    /// Telegrams, 1 to 24; fewer of them are the beginning of the same capture.
    pub telegrams: usize,
}

impl FoldingQuestion {
    /// What the receiver says.
    pub(super) fn answer(&self) -> Result<Value, Unanswered> {
        let (telegram, signal) = self.signal()?;
        let decoded = received(NAME, &self.file(&signal)?)?;
        Ok(said(&decoded.reception, telegram))
    }

    /// The file that the receiver was given.
    pub(super) fn capture(&self) -> Result<Value, Unanswered> {
        let (_, signal) = self.signal()?;
        let file = self.file(&signal)?;
        Ok(json!({ "name": NAME, "file": hexadecimal(&file) }))
    }

    /// Every telegram along the ripple's axis, in units of 1e-5 of the field; [`PER_BIT`] values a bit.
    pub(super) fn waves(&self) -> Result<Value, Unanswered> {
        let (_, signal) = self.signal()?;
        let decoded = received(NAME, &self.file(&signal)?)?;
        Ok(json!({ "waves": waves(&decoded.reception, signal.field_hz, self.telegrams) }))
    }

    /// The number with a trailer that makes the number of ones odd, so that every second telegram is sent inverted. Nothing else can: the
    /// CRC's polynomial holds the factor x + 1, so code and CRC have an even number of ones, and header and control bits 14.
    pub fn telegram(&self) -> Result<Telegram, Unanswered> {
        let identity: Identity = self
            .number
            .parse()
            .map_err(|error| Unanswered::new(format!("number: {error}")))?;
        Ok(Telegram {
            trailer: 1,
            ..Telegram::new(identity.code())
        })
    }

    /// The capture with all its telegrams: noise is drawn in blocks, and the first telegrams must stay the same.
    fn signal(&self) -> Result<(Telegram, DirectSignal), Unanswered> {
        let telegram = self.telegram()?;
        let depth = within("depth", self.depth, 1e-4, 0.1)?;
        let mut signal = DirectSignal::with_tag(Identity::from_code(telegram.code));
        signal.amplitude = AMPLITUDE;
        signal.samples = telegram_samples(&signal, MOST as f64).ceil() as u64;
        signal.seed = self.seed;
        let tag = &mut signal.tags[0];
        tag.telegram = telegram;
        tag.depth = depth;
        tag.angle_deg = ANGLE_DEG;
        tag.start_cycles = 0.0;
        signal.noise_sigma = noise_sigma(
            SampleForm::Real,
            within("ebn0_db", self.ebn0_db, -40.0, 60.0)?,
            depth * signal.amplitude,
            signal.field_hz,
            signal.rate_hz,
        );
        Ok((telegram, signal))
    }

    /// Its first telegrams as a file.
    fn file(&self, signal: &DirectSignal) -> Result<Vec<u8>, Unanswered> {
        let telegrams = within("telegrams", self.telegrams as f64, 1.0, MOST as f64)?;
        let (mut samples, _) = signal.samples();
        samples.truncate(telegram_samples(signal, telegrams).round() as usize);
        recording::file(&samples, signal.rate_hz)
    }
}

/// Samples of so many telegrams.
fn telegram_samples(signal: &DirectSignal, telegrams: f64) -> f64 {
    telegrams * TELEGRAM as f64 / signal.field_hz * signal.rate_hz
}

/// What the program says of the telegrams so far: the best number, how likely it is wrong, whether that counts as read.
fn said(reception: &Reception, telegram: Telegram) -> Value {
    let best = reception
        .readings
        .first()
        .map(|reading| &**reading)
        .or(reception.candidate.as_ref());
    match best {
        Some(best) => {
            let decision = &best.attempt.decision;
            json!({
                "read": !reception.readings.is_empty(),
                "odds": decision.odds_wrong,
                "words": odds_words(decision.odds_wrong),
                "id": Identity::from_code(decision.telegram.code).to_string(),
                "right": decision.telegram.code == telegram.code,
            })
        }
        None => json!({ "read": false, "odds": null, "words": null, "id": null, "right": null }),
    }
}

/// Where telegrams begin is known, as the capture was made so.
fn waves(reception: &Reception, field_hz: f64, telegrams: usize) -> Vec<Vec<i32>> {
    let Some(piece) = reception.seen.as_ref().and_then(|seen| seen.pieces.first()) else {
        return Vec::new();
    };
    let turn = Complex64::cis(-ANGLE_DEG.to_radians());
    let first = (piece.from_s * field_hz).round() as usize;
    let step = BIT / PER_BIT;
    (0..telegrams)
        .map(|count| {
            (0..TELEGRAM / step)
                .map(|place| {
                    let from = count * TELEGRAM + place * step;
                    let values = (from..from + step)
                        .filter_map(|cycle| piece.ripple.get(cycle.checked_sub(first)?));
                    let (sum, some) = values.fold((0.0, 0.0), |(sum, some), value| {
                        let value = Complex64::new(f64::from(value.re), f64::from(value.im));
                        (sum + (value * turn).re, some + 1.0)
                    });
                    (1e5 * sum / f64::max(some, 1.0)).round() as i32
                })
                .collect()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::linecode::load_states;

    /// Folded with every second telegram turned over, the half bits stand where the line code puts them; and the odds fall.
    #[test]
    fn telegrams_lie_where_they_are_said_to() {
        let question = |ebn0_db: f64, telegrams: usize| FoldingQuestion {
            number: "999:160718020851".into(),
            depth: 0.01,
            seed: 1,
            ebn0_db,
            telegrams,
        };
        let whole = question(-4.0, 12);
        let states = load_states(&whole.telegram().unwrap().bits(), 1);
        let answer = whole.waves().unwrap();
        let waves = answer["waves"].as_array().unwrap();
        assert_eq!(waves.len(), 12);
        let mut along = 0.0;
        for (count, wave) in waves.iter().enumerate() {
            let turned = if count % 2 == 1 { -1.0 } else { 1.0 };
            for (place, value) in wave.as_array().unwrap().iter().enumerate() {
                let state = f64::from(states[place * 2 / PER_BIT]);
                along += turned * state * value.as_f64().unwrap();
            }
        }
        let depth = 1e-5 * along / (12 * 128 * PER_BIT) as f64;
        // 12 telegrams at −4 dB are 6.8 dB folded: the mean over 128 bits strays by 1/√(2·128·4.8), 3 %; the band takes a little off the edges.
        assert!((depth / 0.01 - 1.0).abs() < 0.12, "{depth}");
        assert_eq!(question(-4.0, 1).answer().unwrap()["read"], false);
        let last = whole.answer().unwrap();
        assert_eq!(last["read"], true);
        assert_eq!(last["right"], true);
        assert_eq!(question(-12.0, 12).answer().unwrap()["read"], false);
        assert!(question(-4.0, 25).answer().is_err());
    }
}
