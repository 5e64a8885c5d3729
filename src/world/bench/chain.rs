//! Field, interferers, noise and digitiser's front end, block by block.

use super::super::direct::{DirectSignal, DirectSource};
use super::super::interferer::{
    Adder, PhaseWander, PinkNoise, band_noise, fsk, hum, impulses, supply, tone,
};
use super::super::noise_level::level_v;
use super::super::normal::NormalDeviates;
use super::super::other_tag::{half_duplex, load};
use super::super::random::{Stream, generator};
use super::{BLOCK_SAMPLES, Bench, DETECTOR_OVERSAMPLING, Field};
use num_complex::Complex64;
use rand::rngs::ChaCha8Rng;
use std::f64::consts::TAU;

/// The samples of a [`Bench`], block by block.
pub struct BenchSource<'a> {
    bench: &'a Bench,
    /// Without it there is only what is in the air beside the field.
    with_field: bool,
    /// A direct signal's own source.
    direct: Option<DirectSource<'a>>,
    phase: Option<PhaseWander>,
    /// In the air, before a detector.
    radio: Vec<Adder>,
    hum: Option<Adder>,
    pink: Option<PinkNoise>,
    white: (f64, NormalDeviates, ChaCha8Rng),
    detector: Option<Smoother>,
    coupling: Option<Smoother>,
    /// Samples given out so far.
    given: u64,
    /// Samples worked out so far, at the inner rate.
    inner: u64,
    quadrature: Vec<f64>,
    in_phase: Vec<f64>,
}

/// A low-pass of first order.
struct Smoother {
    stay: f64,
    state: Option<f64>,
}

impl Smoother {
    fn new(corner_hz: f64, rate_hz: f64) -> Self {
        Self {
            stay: libm::exp(-TAU * corner_hz / rate_hz),
            state: None,
        }
    }

    /// Settled on the first value it sees.
    fn next(&mut self, value: f64) -> f64 {
        let state = self.state.get_or_insert(value);
        *state = self.stay * *state + (1.0 - self.stay) * value;
        *state
    }
}

/// What each of these tables of a scenario adds, made from its keys and its number.
fn each<K>(tables: &[K], make: impl Fn(&K, usize) -> Adder) -> impl Iterator<Item = Adder> {
    tables
        .iter()
        .enumerate()
        .map(move |(index, keys)| make(keys, index))
}

/// Tags of other kinds, before anything else is added: load switched by them turns the field alone.
fn other_tags(bench: &Bench, rate_hz: f64) -> Vec<Adder> {
    let scenario = &bench.scenario;
    let (seed, pulses) = (scenario.seed.0, scenario.field_pulses());
    let mut tags: Vec<_> = scenario
        .other_tag
        .iter()
        .zip(&bench.derived.others)
        .enumerate()
        .collect();
    tags.sort_by_key(|(_, (tag, _))| tag.kind == "hdx");
    tags.into_iter()
        .map(|(index, (tag, sent))| match pulses {
            Some(pulses) if tag.kind == "hdx" => half_duplex(
                tag,
                &tag.sends.telegram(seed, index),
                pulses,
                sent.amplitude_v,
                rate_hz,
                generator(seed, Stream::OtherTag(index as u8)),
            ),
            _ => load(tag, seed, index, scenario.field_hz(), pulses, rate_hz),
        })
        .collect()
}

impl std::fmt::Debug for BenchSource<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("BenchSource")
            .field("given", &self.given)
            .finish_non_exhaustive()
    }
}

impl<'a> BenchSource<'a> {
    pub(super) fn new(bench: &'a Bench) -> Self {
        let scenario = &bench.scenario;
        let (inner, outer) = (bench.inner_rate_hz(), bench.outer_rate_hz());
        // Hum and noise come in behind the detector and its low-pass.
        let behind = outer * f64::from(scenario.digitiser.peak_detect);
        let random = |kind: u8, index: usize| {
            generator(scenario.seed.0, Stream::Interferer(kind, index as u8))
        };
        let level = |amplitude_v, level_db| level_v(amplitude_v, level_db, bench.derived.field_v);
        let mut radio = other_tags(bench, inner);
        radio.extend(
            each(&scenario.tone, |keys, index| {
                let level_v = level(keys.amplitude_v, keys.level_db);
                tone(keys, level_v, inner, random(1, index))
            })
            .chain(each(&scenario.supply, |keys, index| {
                let level_v = level(keys.amplitude_v, keys.level_db);
                supply(keys, level_v, inner, random(2, index))
            }))
            .chain(each(&scenario.fsk, |keys, index| {
                let level_v = level(keys.amplitude_v, keys.level_db);
                fsk(keys, level_v, inner, random(3, index))
            }))
            .chain(each(&scenario.impulses, |keys, index| {
                let level_v = level(keys.amplitude_v, keys.level_db);
                impulses(keys, level_v, inner, random(4, index))
            }))
            .chain(each(&scenario.band_noise, |keys, index| {
                band_noise(keys, inner, random(5, index))
            })),
        );
        let pink = scenario.noise.pink_nv_per_rthz_at_1khz;
        let sigma = (bench.derived.noise_v2_per_hz * behind / 2.0).sqrt();
        let corner = scenario.digitiser.ac_corner_hz;
        Self {
            bench,
            with_field: true,
            direct: bench.direct().map(DirectSignal::source),
            phase: scenario
                .phase_noise
                .as_ref()
                .map(|keys| PhaseWander::new(keys, inner, random(6, 0))),
            radio,
            hum: scenario
                .hum
                .as_ref()
                .map(|keys| hum(keys, behind, random(7, 0))),
            pink: (pink > 0.0).then(|| PinkNoise::new(pink, behind, random(8, 0))),
            white: (
                sigma,
                NormalDeviates::new(),
                generator(scenario.seed.0, Stream::Noise),
            ),
            detector: bench
                .is_envelope()
                .then(|| Smoother::new(scenario.probe.detector_corner_hz, inner)),
            coupling: (corner > 0.0).then(|| Smoother::new(corner, behind)),
            given: 0,
            inner: 0,
            quadrature: Vec::new(),
            in_phase: Vec::new(),
        }
    }

    /// What is in the air beside the field, alone: no field, no tag, nothing of the instrument's own.
    pub(super) fn in_the_air(bench: &'a Bench) -> Self {
        Self {
            with_field: false,
            hum: None,
            pink: None,
            white: (
                0.0,
                NormalDeviates::new(),
                generator(bench.scenario.seed.0, Stream::Noise),
            ),
            coupling: None,
            ..Self::new(bench)
        }
    }

    /// Replaces the content of the vector by the next samples in volts, not yet rounded to the digitiser's steps, and returns how
    /// many there are; 0 at the end.
    pub fn next_block(&mut self, out: &mut Vec<f64>) -> usize {
        let digitiser = &self.bench.scenario.digitiser;
        let group = digitiser.peak_detect as usize;
        // Peak detection gives pairs of a lowest and a highest sample.
        let count = (self.bench.samples - self.given).min(BLOCK_SAMPLES as u64) as usize;
        let whole = if group > 1 {
            count.next_multiple_of(2)
        } else {
            count
        };
        let mut values = self.behind_detector(whole * group);
        if let Some(adder) = &mut self.hum {
            let mut block = vec![Complex64::ZERO; values.len()];
            adder(&mut block);
            values
                .iter_mut()
                .zip(block)
                .for_each(|(value, z)| *value += z.re);
        }
        if let Some(pink) = &mut self.pink {
            pink.add(&mut values);
        }
        let (sigma, normal, random) = &mut self.white;
        if *sigma > 0.0 {
            normal.add(*sigma, &mut values, random);
        }
        if let Some(coupling) = &mut self.coupling {
            for value in &mut values {
                *value -= coupling.next(*value);
            }
        }
        out.clear();
        if group > 1 {
            for pair in values.chunks(2 * group) {
                out.push(pair.iter().copied().fold(f64::INFINITY, f64::min));
                out.push(pair.iter().copied().fold(f64::NEG_INFINITY, f64::max));
            }
            out.truncate(count);
        } else {
            out.append(&mut values);
        }
        if digitiser.offset_v != 0.0 && self.with_field {
            out.iter_mut()
                .for_each(|value| *value += digitiser.offset_v);
        }
        self.given += count as u64;
        count
    }

    fn behind_detector(&mut self, count: usize) -> Vec<f64> {
        if self.detector.is_none() {
            return self.radio(count).iter().map(|z| z.re).collect();
        }
        let oversampling = DETECTOR_OVERSAMPLING as usize;
        let block = self.radio(count * oversampling);
        let detector = self.detector.as_mut().expect("checked above");
        block
            .chunks(oversampling)
            .map(|several| {
                several
                    .iter()
                    .map(|z| detector.next(z.norm_sqr().sqrt()))
                    .last()
                    .unwrap_or_default()
            })
            .collect()
    }

    /// Field, ripple and everything in the air.
    fn radio(&mut self, count: usize) -> Vec<Complex64> {
        let mut block = vec![Complex64::ZERO; count];
        let rate_hz = self.bench.inner_rate_hz();
        match &self.bench.field {
            _ if !self.with_field => {}
            Field::Circuits(moving) => {
                moving.fill(self.inner as f64 / rate_hz, 1.0 / rate_hz, &mut block);
            }
            Field::Direct(_) => {
                let source = self.direct.as_mut().expect("made for direct signals");
                for block in block.chunks_mut(BLOCK_SAMPLES) {
                    source.next_samples(block.len(), &mut self.in_phase, &mut self.quadrature);
                    for (z, (re, im)) in block
                        .iter_mut()
                        .zip(self.in_phase.iter().zip(&self.quadrature))
                    {
                        *z = Complex64::new(*re, *im);
                    }
                }
            }
        }
        self.inner += count as u64;
        if let Some(phase) = &mut self.phase {
            phase.turn(&mut block);
        }
        for adder in &mut self.radio {
            adder(&mut block);
        }
        block
    }
}
