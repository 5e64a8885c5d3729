//! A telegram that may be broken, sent with noise beside other things → a capture as a file, and what the receiver says of it.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::broken::bits_of;
use super::outcome::{numbers, outcome};
use super::recording::{self, AMPLITUDE, hexadecimal, received};
use super::{Unanswered, within};
use crate::receiver::{HALF, TELEGRAM};
use crate::telegram::{Identity, Telegram};
use crate::world::{DirectSignal, RippleTag, SampleForm, noise_sigma};

/// What the file is called.
const NAME: &str = "broken.wav";
/// Telegrams in the capture: twice as many as a comb of lines needs, and few enough that an answer comes at once.
const TELEGRAMS: usize = 8;
/// Ripple angle of the transponder, degrees.
const ANGLE_DEG: f64 = 30.0;
/// The second transponder: its ripple beside the first one's, dB, its angle, and how much later it begins, field cycles.
const SECOND_TAG: (f64, f64, f64) = (-3.0, 75.0, 1234.5);
/// The second reader: its frequency above the own one's, Hz, and its field beside the own one.
const SECOND_READER: (f64, f64) = (730.0, 0.3);

/// The question.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CaptureQuestion {
    /// The 128 bits sent, as 0 and 1.
    pub bits: String,
    /// Whether the capture begins half a bit earlier.
    pub shifted: bool,
    /// Eb/N0 after adding up all telegrams, dB.
    pub ebn0_db: f64,
    /// Depth of the ripple.
    pub depth: f64,
    /// Seed of the noise.
    pub seed: u64,
    /// Number of a second transponder as `CCC:N`; empty without one.
    pub tag: String,
    /// Whether a second reader is near.
    pub reader: bool,
}

impl CaptureQuestion {
    pub(super) fn answer(&self) -> Result<Value, Unanswered> {
        let file = self.file()?;
        let decoded = received(NAME, &file)?.to_json();
        Ok(json!({
            "name": NAME,
            "file": hexadecimal(&file),
            "numbers": numbers(&decoded),
            "outcome": outcome(&decoded),
            "json": decoded.to_string(),
        }))
    }

    /// A WAV file of 16 bits.
    fn file(&self) -> Result<Vec<u8>, Unanswered> {
        let bits = bits_of(&self.bits)?;
        let ebn0_db = within("ebn0_db", self.ebn0_db, -40.0, 60.0)?;
        let depth = within("depth", self.depth, 1e-4, 0.1)?;
        let any = Telegram::new(0);
        let pairs = any.bits().into_iter().zip(bits).enumerate();
        let flipped = pairs.fold(0, |flipped, (place, (own, wanted))| {
            flipped | (u128::from(own != wanted) << place)
        });
        let mut tags = vec![RippleTag {
            telegram: any,
            flipped,
            depth,
            angle_deg: ANGLE_DEG,
            start_cycles: if self.shifted { HALF as f64 } else { 0.0 },
            sign: 1,
        }];
        if !self.tag.is_empty() {
            let second: Identity = self
                .tag
                .parse()
                .map_err(|error| Unanswered::new(format!("tag: {error}")))?;
            let (level_db, angle_deg, later_cycles) = SECOND_TAG;
            tags.push(RippleTag {
                telegram: Telegram::new(second.code()),
                flipped: 0,
                depth: depth * 10f64.powf(level_db / 20.0),
                angle_deg,
                start_cycles: later_cycles,
                sign: 1,
            });
        }
        let mut signal = DirectSignal {
            amplitude: AMPLITUDE,
            tags,
            seed: self.seed,
            ..DirectSignal::field()
        };
        let telegram_samples = TELEGRAM as f64 * signal.rate_hz / signal.field_hz;
        signal.samples = (TELEGRAMS as f64 * telegram_samples).ceil() as u64;
        signal.noise_sigma = noise_sigma(
            SampleForm::Real,
            ebn0_db - 10.0 * (TELEGRAMS as f64).log10(),
            depth * AMPLITUDE,
            signal.field_hz,
            signal.rate_hz,
        );
        let (mut samples, _) = signal.samples();
        if self.reader {
            let (above_hz, share) = SECOND_READER;
            let other = DirectSignal {
                field_hz: signal.field_hz + above_hz,
                amplitude: share * AMPLITUDE,
                samples: signal.samples,
                ..DirectSignal::field()
            };
            for (sum, beside) in samples.iter_mut().zip(other.samples().0) {
                *sum += beside;
            }
        }
        recording::file(&samples, signal.rate_hz)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ask(change: impl FnOnce(&mut CaptureQuestion)) -> Value {
        let identity: Identity = "999:98765432109".parse().unwrap();
        let bits = Telegram::new(identity.code()).bits();
        let mut question = CaptureQuestion {
            bits: bits
                .iter()
                .map(|&bit| if bit { '1' } else { '0' })
                .collect(),
            shifted: false,
            ebn0_db: 14.0,
            depth: 0.01,
            seed: 1,
            tag: String::new(),
            reader: false,
        };
        change(&mut question);
        question.answer().unwrap()
    }

    #[test]
    fn the_receiver_reads_what_is_whole_and_nothing_else() {
        let whole = ask(|_| {});
        assert_eq!(whole["numbers"], json!(["999 098765432109"]));
        assert!(whole["file"].as_str().unwrap().starts_with("52494646"));
        // It looks for the boundaries itself.
        let late = ask(|question| question.shifted = true);
        assert_eq!(late["numbers"], whole["numbers"]);
        assert_ne!(late["file"], whole["file"]);
        for place in [3, 15, 19, 50, 90] {
            let broken = ask(|question| {
                let bit = if &question.bits[place..=place] == "1" {
                    "0"
                } else {
                    "1"
                };
                question.bits.replace_range(place..=place, bit);
            });
            assert_eq!(
                broken["numbers"],
                json!([]),
                "{place}: {}",
                broken["outcome"]
            );
        }
        let beside = ask(|question| {
            question.tag = "999:123456789".into();
            question.reader = true;
            question.ebn0_db = 20.0;
        });
        assert_eq!(
            beside["numbers"].as_array().unwrap().len(),
            2,
            "{}",
            beside["outcome"]
        );
    }
}
