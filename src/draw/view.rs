//! What is drawn: the receiver's view of a capture with what the figure needs beside it.

use crate::receiver::{HalfDuplexReading, NOMINAL_HZ, Piece, Reading, Reception, Samples};

use super::aligned::Aligned;
use super::beside::Beside;
use super::style::{axis_degrees, significant};

/// What the receiver does not know of a capture.
#[derive(Clone, Copy, Debug, Default)]
pub struct About<'a> {
    /// Name for the title.
    pub name: &'a str,
    /// Unit of the levels: "V", "of full scale" or nothing where it is not known.
    pub unit: &'a str,
    /// Time of the receiver's first sample, seconds from the first one of the capture.
    pub from_s: f64,
    /// The samples themselves, drawn where the receiver found nothing to look at.
    pub samples: Option<Samples<'a>>,
    /// Why nothing was read, one sentence or two.
    pub reason: Option<&'a str>,
}

/// A capture ready to be drawn.
#[derive(Clone, Debug)]
pub struct View<'a> {
    pub(super) reception: &'a Reception,
    pub(super) about: About<'a>,
    /// Telegrams of the strongest number laid on each other.
    pub(super) aligned: Option<Aligned>,
    /// What it is drawn beside.
    pub(super) beside: Option<Beside>,
    /// Which of the numbers read it shows.
    pub(super) chosen: usize,
    /// The ripple of other tags was taken off.
    pub(super) apart: bool,
}

impl<'a> View<'a> {
    /// Gathers what the panels share.
    pub fn new(reception: &'a Reception, about: About<'a>) -> Self {
        let aligned = reception
            .seen
            .as_ref()
            .zip(reception.readings.first())
            .and_then(|(seen, reading)| Aligned::new(&seen.pieces, &reading.attempt));
        Self {
            reception,
            about,
            aligned,
            beside: None,
            chosen: 0,
            apart: false,
        }
    }

    pub(super) fn reading(&self) -> Option<&Reading> {
        self.reception.readings.get(self.chosen)
    }

    /// The half-duplex answer that is drawn where no ripple is.
    pub(super) fn answer(&self) -> Option<&HalfDuplexReading> {
        self.reception.others.half_duplex.get(self.chosen)
    }

    /// Whether an answer of a half-duplex tag is shown, and no ripple.
    pub fn is_answer(&self) -> bool {
        self.aligned.is_none() && self.answer().is_some()
    }

    /// Tags whose ripple is in the picture.
    pub(super) fn tags_drawn(&self) -> usize {
        match self.apart {
            true => 1,
            false => self.reception.readings.len(),
        }
    }

    /// Whether a second tag's ripple is still in the mean telegram of the first: with the other parity it is laid on itself once
    /// as it is and once inverted.
    pub(super) fn mixes(&self) -> bool {
        match self.reception.readings.as_slice() {
            [first, second] if !self.apart => first.attempt.inverts == second.attempt.inverts,
            _ => false,
        }
    }

    pub(super) fn pieces(&self) -> &[Piece] {
        self.reception
            .seen
            .as_ref()
            .map_or(&[], |seen| &seen.pieces)
    }

    pub(super) fn carrier(&self) -> bool {
        self.reception.kind.has_carrier()
    }

    /// Whether the field's cycles show something: a field, or what may be an envelope. Where a carrier would have been
    /// seen and none was, the samples themselves tell more.
    pub(super) fn is_telling(&self) -> bool {
        let reception = self.reception;
        let may_be_envelope = !self.carrier() && reception.rate_hz < 2.0 * NOMINAL_HZ;
        reception.field.present || may_be_envelope || self.about.samples.is_none()
    }

    /// Factor from the receiver's ripple to what the axes show.
    pub(super) fn percent(&self) -> f64 {
        if self.reception.level_known {
            100.0
        } else {
            1.0
        }
    }

    /// What ripples are measured in.
    pub(super) fn ripple_unit(&self) -> &'static str {
        match (self.reception.level_known, self.carrier(), self.about.unit) {
            (true, true, _) => "% of the field",
            (true, false, _) => "% of the level",
            (false, _, "V") => "V",
            (false, _, "of full scale") => "of full scale",
            _ => "units of the file",
        }
    }

    /// First line of the title.
    pub(super) fn title(&self) -> String {
        match self.reading() {
            Some(reading) => {
                let code = reading.attempt.decision.telegram.code;
                let more = match self.reception.readings.len() {
                    1 => String::new(),
                    n => format!(" and {} more", n - 1),
                };
                format!("{}{more}", crate::telegram::Identity::from_code(code))
            }
            // A half-duplex tag leaves no ripple to draw, but it was read.
            None => match self.reception.others.half_duplex.first() {
                Some(reading) => {
                    crate::telegram::Identity::from_code(reading.telegram.code).to_string()
                }
                None => "nothing read".into(),
            },
        }
    }

    /// Second line: the key figures.
    pub(super) fn key_figures(&self) -> String {
        let mut parts = Vec::new();
        let field = &self.reception.field;
        match field.frequency_hz {
            Some(hz) if self.carrier() => parts.push(format!("field {hz:.1} Hz")),
            Some(hz) => parts.push(format!("field {hz:.0} Hz by the tag's bit rate")),
            None => parts.push("no field found".into()),
        }
        if let Some(reading) = self.reading() {
            let attempt = &reading.attempt;
            let angle = if self.carrier() {
                format!(" at {}°", axis_degrees(attempt.angle))
            } else {
                String::new()
            };
            let clipped = self.reception.clipped_share().is_some();
            parts.push(if clipped {
                "ripple spoilt by clipping".into()
            } else {
                format!(
                    "ripple {} {}{angle}",
                    significant(attempt.depth * self.percent()),
                    self.ripple_unit()
                )
            });
            parts.push(format!(
                "Eb/N0 {:.1} dB in one telegram",
                10.0 * attempt.ebn0.log10()
            ));
            parts.push(format!("{:.1} telegrams", attempt.telegrams));
            parts.push(format!("{:.1} dB to spare", reading.spare_db));
        } else if field.present {
            let on_s: f64 = field.on.iter().map(|(from, to)| to - from).sum();
            parts.push(format!("on for {} ms", significant(1e3 * on_s)));
        }
        if let Some(level) = field.amplitude {
            let unit = match self.about.unit {
                "" => String::new(),
                unit => format!(" {unit}"),
            };
            let what = if self.carrier() { "peak" } else { "level" };
            parts.insert(1, format!("{what} {}{unit}", significant(level)));
        }
        parts.join("  ·  ").replace('-', "−")
    }
}
