//! A scenario → samples: circuits stepped exactly, interferers and noise added, digitised; block by block.
//!
//! Repeatable: the same scenario gives the same samples. Sines and exponentials of the time axis come from `libm`; the eigenvalues of
//! the circuits come from the linear algebra library, whose square roots and hypotenuses may differ from one platform to the next
//! in the last digit, 1e-12 of the signal and far below a step of any digitiser.

mod chain;
mod derived;
mod moving;

pub use chain::BenchSource;
pub use derived::{Derived, DerivedTag};

use super::Digitiser;
use super::direct::{BLOCK_SAMPLES, DirectSignal, SampleForm};
use super::noise_level::level_v;
use super::other_tag::{load_states, start_cycles};
use super::pulses::Pulses;
use super::random::{Stream, generator, uniform};
use super::ripple_tag::RippleTag;
use super::scenario::{Detector, Scenario, ScenarioError};
use moving::Moving;

/// Field cycles a tag in a switched field takes to wake up, for ripple given outright: 1 ms (from memory, no source).
const WAKE_UP_CYCLES: f64 = 134.0;
/// Standard deviations of noise the range leaves room for: one sample in 16 000 is clipped.
const NOISE_ROOM: f64 = 4.0;
/// Higher rate in front of a detector's low-pass, so that edges do not fold.
const DETECTOR_OVERSAMPLING: u32 = 8;

/// Where the field and the ripple come from.
#[derive(Debug)]
enum Field {
    Circuits(Box<Moving>),
    Direct(DirectSignal),
}

/// A scenario made ready for synthesis.
#[derive(Debug)]
pub struct Bench {
    scenario: Scenario,
    field: Field,
    derived: Derived,
    digitiser: Option<Digitiser>,
    range_v: f64,
    samples: u64,
}

impl Bench {
    /// Works out the circuits and the levels.
    ///
    /// # Errors
    /// [`ScenarioError`]: coils or circuits that cannot be.
    pub fn new(scenario: &Scenario) -> Result<Self, ScenarioError> {
        let scenario = scenario.clone();
        check_other_tags(&scenario)?;
        let field = match &scenario.direct {
            Some(_) => Field::Direct(direct_signal(&scenario)),
            None => Field::Circuits(Box::new(Moving::new(&scenario)?)),
        };
        let derived = Derived::new(&scenario, &field)?;
        let bits = scenario.digitiser.bits;
        let peak = peak_v(&scenario, &field, &derived);
        let range_v = scenario
            .digitiser
            .range_v
            .unwrap_or_else(|| Digitiser::range_for(peak));
        let samples = ((scenario.duration_s.0 * scenario.rate_hz()).round() as u64).max(1);
        Ok(Self {
            field,
            derived,
            digitiser: (bits <= Digitiser::MOST_BITS).then_some(Digitiser {
                bits,
                range: range_v,
            }),
            range_v,
            samples,
            scenario,
        })
    }

    /// The scenario with its defaults.
    pub fn scenario(&self) -> &Scenario {
        &self.scenario
    }

    /// What follows from it.
    pub fn derived(&self) -> &Derived {
        &self.derived
    }

    /// The digitiser; `None` for floats without steps.
    pub fn digitiser(&self) -> Option<Digitiser> {
        self.digitiser
    }

    /// Full scale, ±V.
    pub fn range_v(&self) -> f64 {
        self.range_v
    }

    /// Number of samples.
    pub fn samples(&self) -> u64 {
        self.samples
    }

    /// Whether the samples are rectified.
    pub fn is_envelope(&self) -> bool {
        self.scenario.probe.detector == Detector::Diode
    }

    /// When each tag sent, seconds from the first sample; empty for ripple given outright.
    pub fn on_times(&self) -> Vec<Vec<[f64; 2]>> {
        match &self.field {
            Field::Circuits(moving) => moving.on_times(),
            Field::Direct(_) => Vec::new(),
        }
    }

    /// The direct signal, where there is one.
    pub fn direct(&self) -> Option<&DirectSignal> {
        match &self.field {
            Field::Direct(signal) => Some(signal),
            Field::Circuits(_) => None,
        }
    }

    /// Field cycles from the first sample (in a pulsed field: from each switching on) to the first word of the 125 kHz tag
    /// with this index among the tags of other kinds.
    pub fn start_cycles(&self, index: usize) -> f64 {
        let seed = self.scenario.seed.0;
        let tag = &self.scenario.other_tag[index];
        start_cycles(tag, seed, index, load_states(tag, seed, index).len())
    }

    /// Starts sampling.
    pub fn source(&self) -> BenchSource<'_> {
        BenchSource::new(self)
    }

    /// Samples of what is in the air beside the field, alone: tones, supplies, transmitters, impulses, noise in a band.
    pub fn in_the_air(&self) -> BenchSource<'_> {
        BenchSource::in_the_air(self)
    }

    /// The largest that those can be together, volts at the digitiser; of noise, four deviations.
    pub fn peak_in_the_air_v(&self) -> f64 {
        let (steady, variance) = in_the_air(&self.scenario, &self.derived);
        steady + NOISE_ROOM * variance.sqrt()
    }

    /// Rate at which field and interferers are worked out, with the clock's error.
    fn inner_rate_hz(&self) -> f64 {
        inner_rate_hz(&self.scenario)
    }

    /// True rate of the samples.
    fn outer_rate_hz(&self) -> f64 {
        outer_rate_hz(&self.scenario)
    }
}

fn outer_rate_hz(scenario: &Scenario) -> f64 {
    scenario.rate_hz() * (1.0 + scenario.digitiser.clock_ppm * 1e-6)
}

fn inner_rate_hz(scenario: &Scenario) -> f64 {
    let detector = match scenario.probe.detector {
        Detector::None => 1,
        Detector::Diode => DETECTOR_OVERSAMPLING,
    };
    outer_rate_hz(scenario) * f64::from(scenario.digitiser.peak_detect * detector)
}

/// The field and ripple given outright as a phasor turning at the field's frequency.
fn direct_signal(scenario: &Scenario) -> DirectSignal {
    let direct = scenario
        .direct
        .as_ref()
        .expect("asked for only where there is one");
    let seed = scenario.seed.0;
    let pulses = direct
        .on_ms
        .zip(direct.off_ms)
        .map(|(on_ms, off_ms)| Pulses {
            on_s: on_ms * 1e-3,
            off_s: off_ms * 1e-3,
        });
    let tags = direct
        .tag
        .iter()
        .enumerate()
        .map(|(index, tag)| {
            let mut random = generator(seed, Stream::Tag(index as u16));
            let (_number, start, sign) = (
                uniform(&mut random),
                uniform(&mut random),
                uniform(&mut random),
            );
            let drawn_start = match pulses {
                None => 4096.0 * start,
                Some(_) => WAKE_UP_CYCLES + 32.0 * start,
            };
            let drawn_sign = if sign < 0.5 { 1 } else { -1 };
            RippleTag {
                telegram: tag.sends.telegram(seed, index),
                flipped: 0,
                depth: tag.depth,
                angle_deg: tag.angle_deg,
                start_cycles: tag.start_cycles.unwrap_or(drawn_start),
                sign: tag.sign.filter(|&sign| sign != 0).unwrap_or(drawn_sign),
            }
        })
        .collect();
    DirectSignal {
        view: SampleForm::Iq { centre_hz: 0.0 },
        rate_hz: inner_rate_hz(scenario),
        clock_ppm: 0.0,
        samples: u64::MAX,
        field_hz: direct.field_hz,
        amplitude: direct.amplitude_v,
        phase_deg: direct
            .phase_deg
            .unwrap_or(360.0 * uniform(&mut generator(seed, Stream::Field))),
        offset: 0.0,
        tags,
        pulses,
        noise_sigma: 0.0,
        seed,
    }
}

/// A half-duplex tag needs pauses to answer in, and a detector makes one level of its two tones.
fn check_other_tags(scenario: &Scenario) -> Result<(), ScenarioError> {
    let hdx = scenario.other_tag.iter().any(|tag| tag.kind == "hdx");
    let refuse = |message: &str| Err(ScenarioError::Together(message.into()));
    match (scenario.field_pulses(), scenario.probe.detector) {
        _ if !hdx => Ok(()),
        (None, _) => refuse(
            "other_tag: a half-duplex tag answers in the pauses of the field; give on_ms and off_ms with the field",
        ),
        (_, Detector::Diode) => refuse(
            "other_tag: behind a detector the two tones of a half-duplex tag are one level; take probe.detector = \"none\"",
        ),
        _ => Ok(()),
    }
}

/// What the range must hold: the largest field, every interferer's peak, four deviations of the noise.
fn peak_v(scenario: &Scenario, field: &Field, derived: &Derived) -> f64 {
    let signal = match field {
        Field::Direct(signal) => {
            signal.amplitude * (1.0 + signal.tags.iter().map(|tag| tag.depth).sum::<f64>())
        }
        Field::Circuits(moving) => moving.peak_v(scenario.duration_s.0) * 1.001,
    };
    // Load switched by other tags goes with the field; answers in its pauses stay below it.
    let others = derived.others.iter().map(|other| other.amplitude_v);
    let hum = scenario
        .hum
        .as_ref()
        .map_or(0.0, |hum| 2.0 * hum.amplitude_v);
    let (air, in_bands) = in_the_air(scenario, derived);
    let inner = scenario.rate_hz() * f64::from(scenario.digitiser.peak_detect);
    let mut variance = derived.noise_v2_per_hz * inner / 2.0 + in_bands;
    // 1/f noise from a hertz to the rate, 20 octaves of ln 2 each.
    variance += 14.0 * 1e3 * (scenario.noise.pink_nv_per_rthz_at_1khz * 1e-9).powi(2);
    let offset = scenario.digitiser.offset_v.abs();
    let sum = signal + others.sum::<f64>() + hum + air + offset;
    sum + NOISE_ROOM * variance.sqrt()
}

/// The largest that all steady things in the air beside the field can be together, and the variance of the noise there.
fn in_the_air(scenario: &Scenario, derived: &Derived) -> (f64, f64) {
    let of = |amplitude_v, level_db| level_v(amplitude_v, level_db, derived.field_v);
    let tones = scenario.tone.iter().map(|t| of(t.amplitude_v, t.level_db));
    let fsk = scenario.fsk.iter().map(|f| of(f.amplitude_v, f.level_db));
    let impulses = scenario.impulses.iter();
    let impulses = impulses.map(|i| of(i.amplitude_v, i.level_db));
    let supplies = scenario.supply.iter().map(|supply| {
        let harmonics = (1..=supply.harmonics).map(|n| {
            let fall_db = supply.rolloff_db_per_octave * libm::log2(f64::from(n));
            libm::pow(10.0, -fall_db / 20.0)
        });
        of(supply.amplitude_v, supply.level_db) * harmonics.sum::<f64>()
    });
    let noise = scenario.band_noise.iter().map(|band| {
        std::f64::consts::PI / 2.0 * band.width_hz * (band.density_nv_per_rthz * 1e-9).powi(2)
    });
    let steady = tones.chain(fsk).chain(impulses).chain(supplies);
    (steady.sum(), noise.sum())
}
