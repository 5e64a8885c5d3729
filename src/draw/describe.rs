//! What each panel shows, in words: the text alternative of a figure.

use super::lines::around;
use super::spectrum::REACH_HZ;
use super::style::{axis_degrees, significant, tick};
use super::untouched::lacks_tones;
use super::{Panel, View, beat};
use crate::receiver::{Kind, TELEGRAM};
use crate::telegram::Identity;

impl View<'_> {
    /// One or two sentences for those who cannot see the panel.
    pub fn words(&self, panel: Panel) -> String {
        let words = match panel {
            Panel::Level => self.level_words(),
            Panel::Spectrum => self.spectrum_words(),
            Panel::Phasor => self.phasor_words(),
            Panel::Eye => self.eye_words(),
            Panel::Envelope => self.envelope_words(),
            Panel::Telegram => self.telegram_words(),
            Panel::Beat => beat::words(self),
        };
        words.replace(" -", " −")
    }

    /// What kind of signal it shows, for words about it.
    pub fn kind(&self) -> Kind {
        self.reception.kind
    }

    /// The number that the figure of one tag shows.
    pub fn number(&self) -> String {
        match (self.reading(), self.answer()) {
            (Some(reading), _) => {
                Identity::from_code(reading.attempt.decision.telegram.code).to_string()
            }
            (None, Some(answer)) => Identity::from_code(answer.telegram.code).to_string(),
            (None, None) => String::new(),
        }
    }

    fn level_words(&self) -> String {
        let field = &self.reception.field;
        if self.reception.kind == Kind::Logic && self.about.samples.is_some() {
            return "Changes of the line a millisecond, over the capture.".into();
        }
        if !field.present {
            return "Level over time: no field was found.".into();
        }
        let on_s: f64 = field.on.iter().map(|(from, to)| to - from).sum();
        let level = field.amplitude.map_or(String::new(), |level| {
            format!(" about {} {}", significant(level), self.about.unit)
        });
        let swing = field.level_swing.map_or(String::new(), |swing| {
            format!(", straying by up to {} %", significant(100.0 * swing))
        });
        let stretches = match field.on.len() {
            0 | 1 => "one stretch".to_string(),
            n => format!("{n} stretches"),
        };
        format!(
            "Level of the field over time:{}{swing}, on for {} ms in {stretches}.",
            level.trim_end(),
            significant(1e3 * on_s)
        )
    }

    fn spectrum_words(&self) -> String {
        let Some(around) = around(self, REACH_HZ).filter(|_| self.is_telling()) else {
            return "Spectrum of the samples: no field was found in it.".into();
        };
        let lines: Vec<String> = around
            .lines
            .iter()
            .map(|&(hz, db)| {
                let khz = tick((hz / 10.0).round() / 100.0);
                format!("{khz} kHz at {} dB", tick(db.round()))
            })
            .collect();
        let named = match (around.merged, lines.is_empty()) {
            (_, false) => format!("Lines beside it: {}.", lines.join(", ")),
            (Some((hz, db)), _) => format!(
                "A line {hz:+.0} Hz beside it, at {} dB, is too near to be told from the field here.",
                tick(db.round())
            ),
            (None, true) => "No steady line stands out beside it.".to_string(),
        };
        let what = match (self.carrier(), self.reception.field.frequency_hz) {
            (true, Some(hz)) => format!("around the field at {:.3} kHz", hz / 1e3),
            _ => "of the ripple".into(),
        };
        format!(
            "Spectrum {what}, {} kHz to either side, return bands shaded. {named}",
            tick(REACH_HZ / 1e3)
        )
    }

    fn phasor_words(&self) -> String {
        match (&self.aligned, self.carrier()) {
            (Some(_), true) if self.reception.clipped_share().is_some() => {
                "Ripple in the phasor plane: two clouds for the two load states, spoilt by clipping.".into()
            }
            (Some(aligned), true) => {
                let clouds = match self.tags_drawn() {
                    1 => "two clouds for the two load states,",
                    2 if self.mixes() => {
                        "four clouds for the states of two tags, the stronger one's"
                    }
                    2 => {
                        "two clouds for the stronger tag's load states, the other tag averaged out,"
                    }
                    _ => "a cloud for each mixture of the tags' states, the strongest one's",
                };
                format!(
                    "Ripple in the phasor plane: {clouds} along an axis at {}° to the field.",
                    axis_degrees(aligned.angle)
                )
            }
            (Some(_), false) => {
                "How often each value of the ripple occurs: two heaps for the two load states."
                    .into()
            }
            (None, true) => {
                "Ripple in the phasor plane: no two load states were told apart.".into()
            }
            (None, false) => {
                "How often each value of the ripple occurs: no two load states were told apart."
                    .into()
            }
        }
    }

    fn eye_words(&self) -> String {
        match self.aligned {
            Some(_) => {
                "Eye of the boundaries: the steps at all bit boundaries laid on each other, upward and downward ones apart in the middle.".into()
            }
            None => "No eye: nothing was read, so it is not known where bits begin.".into(),
        }
    }

    fn envelope_words(&self) -> String {
        let mean = if self.aligned.is_some() {
            ", the mean telegram drawn over it"
        } else {
            ""
        };
        if lacks_tones(self) {
            return format!(
                "The envelope of the field over a few bits after steady tones beside the field were removed{mean}."
            );
        }
        format!(
            "The envelope of the field over a few bits, as an amplitude detector sees it{mean}."
        )
    }

    fn telegram_words(&self) -> String {
        match self.reading() {
            Some(reading) => {
                let telegram = reading.attempt.decision.telegram;
                format!(
                    "The mean telegram of {}, 128 bits with header, code {:016X}, CRC {:04X} and trailer written above the wave.",
                    Identity::from_code(telegram.code),
                    telegram.code,
                    telegram.crc()
                )
            }
            None => "No telegram: no number was read.".into(),
        }
    }

    /// The mean telegram along the ripple's axis, one value a field cycle from the start of bit 0, in what ripples are
    /// measured in; `None` where nothing was read.
    pub fn mean_telegram(&self) -> Option<Vec<f64>> {
        let aligned = self.aligned.as_ref()?;
        let turn = num_complex::Complex64::cis(-aligned.angle);
        let percent = self.percent();
        Some(
            (0..TELEGRAM as isize)
                .map(|at| percent * (aligned.smoothed(at) * turn).re)
                .collect(),
        )
    }
}
