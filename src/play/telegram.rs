//! A number → its telegram, and the waveform that the receiver sees of it.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::Unanswered;
use crate::decode::{Settings, decode_samples};
use crate::linecode::load_states;
use crate::page::{groups, view};
use crate::receiver::{BIT, HALF};
use crate::telegram::{Identity, Telegram};
use crate::world::{DirectSignal, SampleForm, noise_sigma};

/// Values of a waveform for each bit: enough for round corners, few enough to be carried in a page.
pub const PER_BIT: usize = 8;
/// Eb/N0 of one telegram, dB: the noise is seen and hides no half bit.
const EBN0_DB: f64 = 20.0;

/// The question.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TelegramQuestion {
    /// The number, as `CCC:N`.
    pub number: String,
}

/// Half bits as + and -, the first +.
pub fn halves(telegram: &Telegram) -> String {
    load_states(&telegram.bits(), 1)
        .iter()
        .map(|&state| if state > 0 { '+' } else { '-' })
        .collect()
}

/// A telegram's waveform of one value a field cycle as [`PER_BIT`] values a bit, up where its [`halves`] are +: which of both is which nobody
/// can tell from a capture.
pub fn thinned(wave: &[f64], telegram: &Telegram) -> Vec<f64> {
    let states = load_states(&telegram.bits(), 1);
    let along: f64 = wave
        .chunks(HALF)
        .zip(states)
        .map(|(half, state)| f64::from(state) * half.iter().sum::<f64>())
        .sum();
    let scale = 100.0 * along.signum();
    wave.chunks(BIT / PER_BIT)
        .map(|some| (scale * some.iter().sum::<f64>() / some.len() as f64).round() / 100.0)
        .collect()
}

impl TelegramQuestion {
    pub(super) fn answer(&self) -> Result<Value, Unanswered> {
        let identity: Identity = self
            .number
            .trim()
            .parse()
            .map_err(|error| Unanswered::new(format!("{}: {error}", self.number)))?;
        let telegram = Telegram::new(identity.code());
        let mut signal = DirectSignal::with_tag(identity);
        signal.noise_sigma = noise_sigma(
            SampleForm::Real,
            EBN0_DB,
            signal.tags[0].depth * signal.amplitude,
            signal.field_hz,
            signal.rate_hz,
        );
        let samples: Vec<f32> = signal.samples().0.iter().map(|&x| x as f32).collect();
        let settings = Settings::new().keep_samples();
        let decoded = decode_samples(&samples, signal.rate_hz, &settings)
            .map_err(|error| Unanswered::new(error.to_string()))?;
        let wave = view(&decoded)
            .mean_telegram()
            .ok_or_else(|| Unanswered::new("the capture of this number was not read"))?;
        Ok(json!({
            "id": identity.to_string(),
            "crc_hex": format!("{:04X}", telegram.crc()),
            "halves": halves(&telegram),
            "groups": groups(&telegram),
            "wave": thinned(&wave, &telegram),
        }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::telegram::TELEGRAM_BITS;

    /// The middle of every half bit is on the side that the line code says.
    #[test]
    fn the_waveform_is_that_of_the_number() {
        for number in ["999:1", "999:98765432109", "999:274877906943"] {
            let question = TelegramQuestion {
                number: number.into(),
            };
            let answer = question.answer().unwrap();
            let halves = answer["halves"].as_str().unwrap();
            let wave = answer["wave"].as_array().unwrap();
            assert_eq!((halves.len(), wave.len()), (256, PER_BIT * TELEGRAM_BITS));
            let along = |place: usize| {
                let sign = if &halves[place..=place] == "+" {
                    1.0
                } else {
                    -1.0
                };
                sign * wave[PER_BIT / 2 * place + PER_BIT / 4].as_f64().unwrap()
            };
            for place in 0..256 {
                assert!(
                    along(place) > 0.5,
                    "{number}: half bit {place}: {}",
                    along(place)
                );
            }
        }
    }
}
