//! The samples of `--sound`: their pitch follows the decibels to spare, so that hands and eyes are free.

use std::f32::consts::TAU;
use std::sync::Arc;
use std::sync::atomic::{AtomicU32, Ordering};

/// Pitch with nothing to spare, Hz: the tone that instruments are tuned to (ISO 16).
const AT_THRESHOLD_HZ: f32 = 440.0;

/// Decibels to an octave: from 20 dB below to 40 dB above the threshold the tone stays between 139 and 4400 Hz, where ears are good.
const DB_TO_OCTAVE: f32 = 12.0;

/// Times a second that the tone is interrupted while no number is read.
const BEATS_HZ: f32 = 4.0;

/// Share of full scale: audible, and no fright.
const LOUDNESS: f32 = 0.2;

/// Seconds in which the tone comes and goes: without them each change would click.
const RAMP_S: f32 = 0.01;

/// What is to be heard; silence is a margin that is not a number.
#[derive(Debug)]
pub struct Heard(AtomicU32);

impl Heard {
    pub fn silent() -> Self {
        Self(AtomicU32::new(f32::NAN.to_bits()))
    }

    pub fn set(&self, margin_db: Option<f64>) {
        let margin_db = margin_db.map_or(f32::NAN, |db| db as f32);
        self.0.store(margin_db.to_bits(), Ordering::Relaxed);
    }

    fn margin_db(&self) -> Option<f32> {
        let margin_db = f32::from_bits(self.0.load(Ordering::Relaxed));
        (!margin_db.is_nan()).then_some(margin_db)
    }
}

/// The tone's samples: a sine whose phase never jumps, steady where a number is read and interrupted where decibels are missing.
pub struct Voice {
    heard: Arc<Heard>,
    rate_hz: f32,
    pitch_hz: f32,
    phase: f32,
    beat: f32,
    loudness: f32,
}

impl Voice {
    pub fn new(heard: Arc<Heard>, rate_hz: f32) -> Self {
        Self {
            heard,
            rate_hz,
            pitch_hz: AT_THRESHOLD_HZ,
            phase: 0.0,
            beat: 0.0,
            loudness: 0.0,
        }
    }

    pub fn next(&mut self) -> f32 {
        let margin_db = self.heard.margin_db();
        if let Some(margin_db) = margin_db {
            self.pitch_hz = AT_THRESHOLD_HZ * (margin_db / DB_TO_OCTAVE).exp2();
        }
        self.beat = (self.beat + BEATS_HZ / self.rate_hz).fract();
        let loud = match margin_db {
            None => false,
            Some(margin_db) => margin_db >= 0.0 || self.beat < 0.5,
        };
        let (target, most) = (
            if loud { LOUDNESS } else { 0.0 },
            LOUDNESS / (RAMP_S * self.rate_hz),
        );
        self.loudness += (target - self.loudness).clamp(-most, most);
        self.phase = (self.phase + self.pitch_hz / self.rate_hz).fract();
        self.loudness * (TAU * self.phase).sin()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A second of the tone at a margin.
    fn second(margin_db: Option<f64>) -> Vec<f32> {
        let heard = Arc::new(Heard::silent());
        heard.set(margin_db);
        let mut voice = Voice::new(heard, 48e3);
        (0..48_000).map(|_| voice.next()).collect()
    }

    /// Every cycle of a sine rises through 0 once; a second holds as many as its pitch, less the one that the edges cut.
    fn pitch_hz(tone: &[f32]) -> usize {
        tone.windows(2)
            .filter(|pair| pair[0] <= 0.0 && pair[1] > 0.0)
            .count()
    }

    #[test]
    fn an_octave_is_twelve_decibels() {
        for (margin_db, expected) in [(0.0, 440), (12.0, 880), (24.0, 1760)] {
            let pitch = pitch_hz(&second(Some(margin_db)));
            assert!(pitch.abs_diff(expected) <= 1, "{margin_db} dB: {pitch} Hz");
        }
    }

    #[test]
    fn missing_decibels_are_interrupted_and_nothing_known_is_silent() {
        let quiet = |tone: &[f32]| {
            tone.chunks(480)
                .filter(|part| part.iter().all(|x| x.abs() < 1e-3))
                .count()
        };
        assert_eq!(quiet(&second(Some(3.0))), 0);
        // Four times a second half of the time is silent, less a ramp of 10 ms: 4 · (12.5 − 1) parts of 10 ms, give or take one each.
        let interrupted = quiet(&second(Some(-3.0)));
        assert!((40..=50).contains(&interrupted), "{interrupted}");
        assert_eq!(quiet(&second(None)), 100);
    }

    #[test]
    fn the_tone_never_clicks() {
        let tone = second(Some(-3.0));
        // The steepest a sine of this loudness and pitch is, and a ramp beside it.
        let most = LOUDNESS * TAU * 440.0 / 48e3 + LOUDNESS / (RAMP_S * 48e3);
        assert!(
            tone.windows(2)
                .all(|pair| (pair[1] - pair[0]).abs() <= 1.01 * most)
        );
    }
}
