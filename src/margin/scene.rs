//! What one trial captures.

use crate::receiver::{Samples, Signal};
use crate::telegram::Telegram;
use crate::world::{Bench, Digitiser, DirectSignal, SampleForm};
use num_complex::Complex32;

/// Everything before the samples of one trial.
#[derive(Debug)]
pub enum Scene {
    /// Ripple given outright.
    Direct {
        /// Field, tags, noise.
        signal: DirectSignal,
        /// `None` = floats without steps.
        digitiser: Option<Digitiser>,
    },
    /// A scenario made ready.
    Bench {
        /// The scenario.
        bench: Box<Bench>,
        /// What its tags send, the first tag's first.
        sent: Vec<Telegram>,
        /// The same at the second reader's antenna, whose own tag is the first there.
        second: Option<Box<Scene>>,
    },
}

/// Samples of one trial, as a capture file would hold them (in volts).
#[derive(Clone, Debug, Default)]
pub struct Recording {
    real: Vec<f32>,
    complex: Vec<Complex32>,
    rate_hz: f64,
    centre_hz: f64,
    logic: bool,
    /// Samples are rectified: there is no carrier.
    pub rectified: bool,
    /// What made whole numbers of them; `None` = floats without steps.
    pub digitiser: Option<Digitiser>,
}

impl Recording {
    /// As receivers take it.
    pub fn signal(&self) -> Signal<'_> {
        Signal {
            samples: if self.complex.is_empty() {
                Samples::Real(&self.real)
            } else {
                Samples::Complex(&self.complex)
            },
            rate_hz: Some(self.rate_hz),
            centre_hz: self.centre_hz,
            logic: self.logic,
        }
    }
}

/// From volts to what the digitiser makes of them.
fn digitised(digitiser: Option<Digitiser>) -> impl Fn(f64) -> f32 {
    move |value| match digitiser {
        None => value as f32,
        Some(digitiser) => digitiser.value(digitiser.code(value).0) as f32,
    }
}

impl Scene {
    /// What the tags send, the first tag's first.
    pub fn sent(&self) -> Vec<Telegram> {
        match self {
            Self::Direct { signal, .. } => signal.tags.iter().map(|tag| tag.telegram).collect(),
            Self::Bench { sent, .. } => sent.clone(),
        }
    }

    /// The same moment at the second reader's antenna, where that is asked for.
    pub fn second(&self) -> Option<&Scene> {
        match self {
            Self::Direct { .. } => None,
            Self::Bench { second, .. } => second.as_deref(),
        }
    }

    /// Frequency of the field, Hz.
    pub fn field_hz(&self) -> f64 {
        match self {
            Self::Direct { signal, .. } => signal.field_hz,
            Self::Bench { bench, .. } => bench.scenario().field_hz(),
        }
    }

    /// Number of samples.
    pub fn samples(&self) -> u64 {
        match self {
            Self::Direct { signal, .. } => signal.samples,
            Self::Bench { bench, .. } => bench.samples(),
        }
    }

    /// Makes the samples.
    pub fn record(&self) -> Recording {
        let (mut re, mut im) = (Vec::new(), Vec::new());
        match self {
            Self::Direct { signal, digitiser } => {
                let logic = signal.view == SampleForm::Logic;
                let convert = digitised(digitiser.filter(|_| !logic));
                let centre_hz = match signal.view {
                    SampleForm::Iq { centre_hz } => Some(centre_hz),
                    _ => None,
                };
                let mut recording = Recording {
                    rate_hz: signal.rate_hz,
                    centre_hz: centre_hz.unwrap_or(0.0),
                    logic,
                    rectified: matches!(signal.view, SampleForm::Envelope | SampleForm::Logic),
                    digitiser: digitiser.filter(|_| !logic),
                    ..Recording::default()
                };
                let mut source = signal.source();
                while source.next_block(&mut re, &mut im) > 0 {
                    if centre_hz.is_some() {
                        let pairs = re.iter().zip(&im);
                        recording.complex.extend(
                            pairs.map(|(&re, &im)| Complex32::new(convert(re), convert(im))),
                        );
                    } else {
                        recording
                            .real
                            .extend(re.iter().map(|&value| convert(value)));
                    }
                }
                recording
            }
            Self::Bench { bench, .. } => {
                let convert = digitised(bench.digitiser());
                let mut recording = Recording {
                    rate_hz: bench.scenario().rate_hz(),
                    rectified: bench.is_envelope(),
                    digitiser: bench.digitiser(),
                    ..Recording::default()
                };
                let mut source = bench.source();
                while source.next_block(&mut re) > 0 {
                    recording
                        .real
                        .extend(re.iter().map(|&value| convert(value)));
                }
                recording
            }
        }
    }
}
