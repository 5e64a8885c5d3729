//! Scenes that must raise a finding and neighbours that must not: shared by the matrix (a bench) and its short version (a
//! test).

use std::f64::consts::TAU;

use fieldripple::findings::findings;
use fieldripple::linecode;
use fieldripple::receiver::{Samples, Signal, receive};
use fieldripple::telegram::{TELEGRAM_BITS, Telegram};
use fieldripple::world::Bench;
use fieldripple::world::scenario::Scenario;
use rand::{RngExt, SeedableRng};

pub const ODDS: f64 = 1e-5;

/// A capture ready for the receiver.
pub struct Capture {
    pub samples: Vec<f32>,
    pub rate_hz: Option<f64>,
    pub logic: bool,
}

/// How a scene's samples are made.
pub enum Make {
    /// A scenario file.
    Bench(&'static str),
    /// A scenario file, its samples changed after.
    Changed(&'static str, fn(&mut [f64], f64, u64)),
    /// A scenario file, nothing saying how fast it was sampled.
    NoRate(&'static str),
    /// Bits of our own on a field, 200 ms at 500 kS/s.
    Bits(fn(u64) -> Sent),
    /// Two levels at random times, 100 kS/s.
    RandomLogic,
}

/// Bits on a field: repeated, each time from the beginning where the tag restarts.
pub struct Sent {
    pub bits: Vec<bool>,
    /// Bits after which it begins anew, and how many it then is silent; none: never.
    pub restart: Option<(usize, usize)>,
}

pub struct Scene {
    pub name: &'static str,
    /// Findings that must be raised.
    pub due: &'static [&'static str],
    /// Findings that follow from the scene as well and may or may not be.
    pub may: &'static [&'static str],
    pub make: Make,
}

impl Scene {
    /// Codes raised with a seed.
    pub fn codes(&self, seed: u64) -> Vec<&'static str> {
        let capture = self.capture(seed);
        let reception = receive(
            &Signal {
                samples: Samples::Real(&capture.samples),
                rate_hz: capture.rate_hz,
                centre_hz: 0.0,
                logic: capture.logic,
            },
            ODDS,
        );
        let mut codes: Vec<&'static str> = findings(&reception, ODDS)
            .into_iter()
            .map(|finding| finding.code)
            .collect();
        codes.dedup();
        codes
    }

    pub fn capture(&self, seed: u64) -> Capture {
        match &self.make {
            Make::Bench(text) => bench(text, seed, |_, _, _| {}),
            Make::Changed(text, change) => bench(text, seed, change),
            Make::NoRate(text) => Capture {
                rate_hz: None,
                ..bench(text, seed, |_, _, _| {})
            },
            Make::Bits(sent) => bits(&sent(seed), seed),
            Make::RandomLogic => random_logic(seed),
        }
    }
}

fn bench(text: &str, seed: u64, change: impl Fn(&mut [f64], f64, u64)) -> Capture {
    let settings = [("seed".to_string(), seed.to_string())];
    let scenario =
        Scenario::read(text, &settings).unwrap_or_else(|error| panic!("{text}: {error}"));
    let bench = Bench::new(&scenario).unwrap_or_else(|error| panic!("{text}: {error}"));
    let rate_hz = scenario.rate_hz();
    let mut source = bench.source();
    let (mut all, mut block) = (Vec::new(), Vec::new());
    loop {
        block.clear();
        if source.next_block(&mut block) == 0 {
            break;
        }
        all.extend_from_slice(&block);
    }
    change(&mut all, rate_hz, seed);
    let samples = all
        .iter()
        .map(|&x| match bench.digitiser() {
            Some(digitiser) => digitiser.value(digitiser.code(x).0) as f32,
            None => x as f32,
        })
        .collect();
    Capture {
        samples,
        rate_hz: Some(rate_hz),
        logic: false,
    }
}

fn generator(seed: u64) -> rand::rngs::ChaCha8Rng {
    rand::rngs::ChaCha8Rng::seed_from_u64(seed ^ 0x5eed)
}

fn bits(sent: &Sent, seed: u64) -> Capture {
    const RATE_HZ: f64 = 500e3;
    let mut rng = generator(seed);
    let phase = rng.random_range(0.0..TAU);
    let angle: f64 = rng.random_range(-1.0..1.0);
    let start = rng.random_range(0.0..4096.0);
    let half_bits = (0.2 * 134_200.0 / 16.0) as usize + 300;
    let mut states: Vec<i8> = Vec::new();
    let mut last = 1;
    let run = sent.restart.map_or(usize::MAX, |(after, _)| after);
    while states.len() < half_bits {
        let mut left = run;
        while left > 0 && states.len() < half_bits {
            let some = &sent.bits[..sent.bits.len().min(left)];
            let these = linecode::load_states(some, -last);
            last = *these.last().unwrap();
            left -= some.len();
            states.extend(these);
        }
        if let Some((_, silent)) = sent.restart {
            states.extend(std::iter::repeat_n(0, 2 * silent));
        }
    }
    let samples = (0..(0.2 * RATE_HZ) as usize)
        .map(|n| {
            let cycles = n as f64 * 134_200.0 / RATE_HZ;
            let state = f64::from(states[((cycles + start) / 16.0) as usize]);
            let turn = TAU * cycles + phase;
            // Uniform noise of the size of a 9-bit digitiser's steps: Eb/N0 of 24 dB a telegram at 1 %.
            let noise = rng.random_range(-0.004..0.004);
            (turn.cos() + 0.01 * state * (turn + angle).cos() + noise) as f32
        })
        .collect();
    Capture {
        samples,
        rate_hz: Some(RATE_HZ),
        logic: false,
    }
}

fn random_logic(seed: u64) -> Capture {
    let mut rng = generator(seed);
    let mut state = 0.0;
    let samples = (0..30_000)
        .map(|_| {
            if rng.random_range(0.0..1.0) < 0.05 {
                state = 1.0 - state;
            }
            state
        })
        .collect();
    Capture {
        samples,
        rate_hz: Some(100e3),
        logic: true,
    }
}

fn telegram(seed: u64) -> Telegram {
    let national: u64 = generator(seed ^ 0xc0de).random_range(0..1 << 38);
    Telegram::new(0x8000_F9C0_0000_0000 | national)
}

/// A telegram whose check is another one.
fn checked(seed: u64, check: impl Fn(u64) -> u16) -> Sent {
    let telegram = telegram(seed);
    let check = check(telegram.code);
    let mut bits = telegram.bits().to_vec();
    for (index, bit) in bits.iter_mut().enumerate() {
        if let fieldripple::telegram::Part::Crc { bit: weight } =
            fieldripple::telegram::part_of(index)
        {
            *bit = (check >> weight) & 1 == 1;
        }
    }
    Sent {
        bits,
        restart: None,
    }
}

/// The standard's check with another start, bit by bit.
fn check_from(start: u16, code: u64) -> u16 {
    (0..64).fold(start, |register, k| {
        let out = (register ^ ((code >> k) & 1) as u16) & 1;
        (register >> 1) ^ if out == 1 { 0x8408 } else { 0 }
    })
}

/// Random bits without a header.
fn foreign(seed: u64, count: usize) -> Sent {
    let mut rng = generator(seed ^ 0xf0);
    let mut bits: Vec<bool> = (0..count).map(|_| rng.random()).collect();
    // A 1 at least every eighth bit: no ten 0s anywhere.
    for bit in bits.iter_mut().step_by(8) {
        *bit = true;
    }
    Sent {
        bits,
        restart: None,
    }
}

fn restarting(seed: u64, after: usize, silent: usize) -> Sent {
    Sent {
        bits: telegram(seed).bits().to_vec(),
        restart: Some((after, silent)),
    }
}

fn field_hum(samples: &mut [f64], rate_hz: f64, hum_hz: f64, share: f64) {
    for (n, x) in samples.iter_mut().enumerate() {
        *x *= 1.0 + share * (TAU * hum_hz * n as f64 / rate_hz).sin();
    }
}

fn ramp(samples: &mut [f64], by: f64) {
    let count = samples.len() as f64;
    for (n, x) in samples.iter_mut().enumerate() {
        *x *= 1.0 + by * (n as f64 / count - 0.5);
    }
}

const fn scene(
    name: &'static str,
    due: &'static [&'static str],
    may: &'static [&'static str],
    make: Make,
) -> Scene {
    Scene {
        name,
        due,
        may,
        make,
    }
}

/// A given ripple of 1 % at 30°, 140 ms, with more lines of a scenario.
macro_rules! given {
    ($more:literal) => {
        given!("", $more)
    };
    ($direct:literal, $more:literal) => {
        concat!(
            "duration_s = 0.14\n[direct]\n",
            $direct,
            "\n[[direct.tag]]\n",
            $more,
        )
    };
}

/// The same without a tag.
macro_rules! bare_field {
    ($direct:literal, $more:literal) => {
        concat!("duration_s = 0.14\n[direct]\n", $direct, "\n", $more)
    };
}

pub const SCENES: &[Scene] = &[
    // Clean captures: nothing is said.
    scene(
        "clean, 500 kS/s",
        &[],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "clean, 1 MS/s, angle -60°",
        &[],
        &[],
        Make::Bench(given!("angle_deg = -60\n[noise]\nebn0_db = 12")),
    ),
    scene(
        "clean, 8 bits at 80 % of the range",
        &[],
        &[],
        Make::Bench(given!(
            "[digitiser]\nbits = 8\nrange_v = 1.25\n[noise]\nebn0_db = 25"
        )),
    ),
    scene(
        "clean, depth 0.2 %, 12 bits, 2 MS/s",
        &[],
        &[],
        Make::Bench(given!(
            "depth = 0.002\n[digitiser]\nbits = 12\nrate_hz = 2000000\n[noise]\nebn0_db = 10"
        )),
    ),
    scene(
        "clean bench of coils",
        &[],
        &[],
        Make::Bench("duration_s = 0.2\n[[tag]]\ndistance_mm = 60\n[digitiser]\nrate_hz = 500000"),
    ),
    scene(
        "clean bench, pulsed 50/3 ms, tuned",
        &[],
        &[],
        Make::Bench(
            "duration_s = 0.17\n[reader]\non_ms = 50\noff_ms = 3\n[[tag]]\ndistance_mm = 60\n[digitiser]\nrate_hz = 500000",
        ),
    ),
    scene(
        "clean given ripple, pulsed 70/10 ms",
        &[],
        &[],
        Make::Bench(given!(
            "on_ms = 70\noff_ms = 10",
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15"
        )),
    ),
    scene(
        "clean, behind a detector",
        &[],
        &[],
        Make::Bench(
            "duration_s = 0.25\n[probe]\nat = \"pickup\"\ndetector = \"diode\"\ndistance_mm = 30\n[digitiser]\nac_corner_hz = 10\n[noise]\nwhite_nv_per_rthz = 300\n[[tag]]\ndistance_mm = 50",
        ),
    ),
    // Field.
    scene(
        "noise only, 1 MS/s",
        &["no-field"],
        &[],
        Make::Bench(bare_field!(
            "amplitude_v = 1e-6",
            "[digitiser]\nrange_v = 0.01\n"
        )),
    ),
    scene(
        "noise only, 500 kS/s, 8 bits",
        &["no-field"],
        &[],
        Make::Bench(bare_field!(
            "amplitude_v = 1e-6",
            "[digitiser]\nbits = 8\nrate_hz = 500000\nrange_v = 0.005\n"
        )),
    ),
    scene(
        "a tone at 90 kHz and no field",
        &["no-field"],
        &[],
        Make::Bench(bare_field!(
            "amplitude_v = 1e-6",
            "[digitiser]\nrange_v = 1\n[[tone]]\nfrequency_hz = 90000\namplitude_v = 0.1"
        )),
    ),
    scene(
        "noise only, 48 kS/s",
        &["nothing-to-read"],
        &[],
        Make::Bench(bare_field!(
            "amplitude_v = 1e-6",
            "[digitiser]\nrate_hz = 48000\nrange_v = 0.01\n"
        )),
    ),
    scene(
        "noise only, 96 kS/s",
        &["nothing-to-read"],
        &[],
        Make::Bench(bare_field!(
            "amplitude_v = 1e-6",
            "[digitiser]\nrate_hz = 96000\nrange_v = 0.01\n"
        )),
    ),
    scene(
        "two levels at random times",
        &["nothing-to-read"],
        &[],
        Make::RandomLogic,
    ),
    scene(
        "field at 125 kHz, no tag",
        &["field-off-frequency", "no-ripple"],
        &[],
        Make::Bench(bare_field!(
            "field_hz = 125000",
            "[digitiser]\nrate_hz = 500000"
        )),
    ),
    scene(
        "field 700 Hz low",
        &["field-off-frequency"],
        &[],
        Make::Bench(given!(
            "field_hz = 133500",
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15"
        )),
    ),
    scene(
        "sample clock 2000 ppm fast",
        &["field-off-frequency"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\nclock_ppm = 2000\n[noise]\nebn0_db = 15"
        )),
    ),
    scene(
        "field 50 Hz high",
        &["clock-off"],
        &[],
        Make::Bench(given!(
            "field_hz = 134250",
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15"
        )),
    ),
    scene(
        "field 30 Hz low",
        &["clock-off"],
        &[],
        Make::Bench(given!("field_hz = 134170", "[noise]\nebn0_db = 15")),
    ),
    scene(
        "sample clock 400 ppm slow",
        &["clock-off"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\nclock_ppm = -400\n[noise]\nebn0_db = 15"
        )),
    ),
    scene(
        "field 13 Hz high: within the tolerance",
        &[],
        &[],
        Make::Bench(given!(
            "field_hz = 134213",
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15"
        )),
    ),
    scene(
        "10 ms",
        &["record-too-short"],
        &[],
        Make::Bench("duration_s = 0.01\n[direct]\n[[direct.tag]]"),
    ),
    scene(
        "20 ms",
        &["record-too-short"],
        &[],
        Make::Bench("duration_s = 0.02\n[direct]\n[[direct.tag]]\n[digitiser]\nrate_hz = 500000"),
    ),
    scene(
        "28 ms, no tag",
        &["record-too-short"],
        &[],
        Make::Bench("duration_s = 0.028\n[direct]\n[digitiser]\nrate_hz = 400000"),
    ),
    scene(
        "40 ms are enough",
        &[],
        &[],
        Make::Bench(
            "duration_s = 0.04\n[direct]\n[[direct.tag]]\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15",
        ),
    ),
    scene(
        "pulses 12/5 ms",
        &["pulses-too-short"],
        &["no-ripple", "ripple-too-weak"],
        Make::Bench(given!(
            "on_ms = 12\noff_ms = 5",
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15"
        )),
    ),
    scene(
        "pulses 20/5 ms of a bench",
        &["pulses-too-short"],
        &["no-ripple", "ripple-too-weak"],
        Make::Bench(
            "duration_s = 0.17\n[reader]\non_ms = 20\noff_ms = 5\n[[tag]]\ndistance_mm = 60\n[digitiser]\nrate_hz = 500000",
        ),
    ),
    scene(
        "pulses 26/4 ms",
        &["pulses-too-short"],
        &["no-ripple", "ripple-too-weak"],
        Make::Bench(given!("on_ms = 26\noff_ms = 4", "[noise]\nebn0_db = 15")),
    ),
    scene(
        "pulses 30/70 ms of a bench",
        &["pulses-too-short"],
        &["no-ripple", "ripple-too-weak", "little-margin"],
        Make::Bench(
            "duration_s = 0.4\n[reader]\non_ms = 30\noff_ms = 70\n[[tag]]\ndistance_mm = 55\n[digitiser]\nrate_hz = 500000\nbits = 12\n[noise]\nwhite_nv_per_rthz = 9000",
        ),
    ),
    scene(
        "level falls by 15 %",
        &["field-unsteady"],
        &[],
        Make::Changed(
            given!("[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15"),
            |x, _, _| ramp(x, -0.15),
        ),
    ),
    scene(
        "level rises by 10 %, no tag",
        &["field-unsteady", "no-ripple"],
        &[],
        Make::Changed(
            bare_field!("", "[digitiser]\nrate_hz = 500000\n"),
            |x, _, _| ramp(x, 0.10),
        ),
    ),
    scene(
        "level swings by 5 % at 7 Hz",
        &["field-unsteady"],
        &[],
        Make::Changed(given!("[noise]\nebn0_db = 15"), |x, rate, _| {
            field_hum(x, rate, 7.0, 0.05)
        }),
    ),
    scene(
        "field hums 1 % at 100 Hz",
        &["hum"],
        &[],
        Make::Changed(
            given!("[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15"),
            |x, rate, _| field_hum(x, rate, 100.0, 0.01),
        ),
    ),
    scene(
        "field hums 2 % at 60 Hz, no tag",
        &["hum", "no-ripple"],
        &[],
        Make::Changed(
            bare_field!("", "[digitiser]\nrate_hz = 500000\n"),
            |x, rate, _| field_hum(x, rate, 60.0, 0.02),
        ),
    ),
    scene(
        "hum of 10 % beside the field",
        &["hum"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15\n[hum]\namplitude_v = 0.1"
        )),
    ),
    scene(
        "60 Hz hum of 5 % on 8 bits",
        &["hum"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nbits = 8\nrange_v = 1.25\n[noise]\nebn0_db = 15\n[hum]\nmains_hz = 60\namplitude_v = 0.05"
        )),
    ),
    scene(
        "hum of 1 % beside the field does nothing",
        &[],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15\n[hum]\namplitude_v = 0.01"
        )),
    ),
    // The capture itself.
    scene(
        "90 kS/s: the image lies on the data",
        &["rate-too-low"],
        &[
            "no-ripple",
            "ripple-too-weak",
            "little-margin",
            "stray-tone",
            "second-reader",
            "field-unsteady",
            "telegram-does-not-fit",
        ],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 90000\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "270 kS/s, just above twice the field",
        &["rate-too-low"],
        &[
            "no-ripple",
            "ripple-too-weak",
            "little-margin",
            "stray-tone",
            "second-reader",
            "field-unsteady",
            "telegram-does-not-fit",
        ],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 270000\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "66 kS/s, a twice folded field",
        &["rate-too-low"],
        &[
            "no-ripple",
            "ripple-too-weak",
            "little-margin",
            "stray-tone",
            "second-reader",
            "field-unsteady",
            "telegram-does-not-fit",
        ],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 66000\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "100 kS/s, folded well",
        &["folded"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 100000\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "192 kS/s, folded well",
        &["folded"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 192000\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "105 kS/s, folded, no tag",
        &["folded", "no-ripple"],
        &[],
        Make::Bench(bare_field!("", "[digitiser]\nrate_hz = 105000\n")),
    ),
    scene(
        "300 kS/s",
        &[],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 300000\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "clipped by 2 %, 8 bits",
        &["clipping"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nbits = 8\nrange_v = 0.98\nrate_hz = 500000\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "clipped by a third, 12 bits",
        &["clipping"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nbits = 12\nrange_v = 0.67\nrate_hz = 500000\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "clipped to a square, 16 bits, no tag",
        &["clipping"],
        &["no-ripple"],
        Make::Bench(bare_field!("", "[digitiser]\nrange_v = 0.2\n")),
    ),
    scene(
        "clipped by 10 % with an offset",
        &["clipping"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nbits = 10\nrange_v = 1.1\noffset_v = 0.2\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "8 bits, a tenth of the range",
        &["few-bits"],
        &["little-margin", "ripple-too-weak", "no-ripple"],
        Make::Bench(given!(
            "[digitiser]\nbits = 8\nrange_v = 10\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "5 bits",
        &["few-bits"],
        &["little-margin", "ripple-too-weak", "no-ripple"],
        Make::Bench(given!(
            "[digitiser]\nbits = 5\nrange_v = 1.25\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "8 bits, a quarter of the range, no tag",
        &["few-bits", "no-ripple"],
        &[],
        Make::Bench(bare_field!(
            "",
            "[digitiser]\nbits = 8\nrange_v = 4.5\nrate_hz = 500000\n[noise]\nwhite_nv_per_rthz = 20000"
        )),
    ),
    scene(
        "nothing says the rate",
        &["rate-assumed"],
        &[],
        Make::NoRate(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 20"
        )),
    ),
    scene(
        "nothing says the rate, 1 MS/s",
        &["rate-assumed"],
        &[],
        Make::NoRate(given!("[noise]\nebn0_db = 20")),
    ),
    scene(
        "nothing says the rate, no tag",
        &["rate-assumed", "no-ripple"],
        &[],
        Make::NoRate(bare_field!("", "[digitiser]\nrate_hz = 400000\n")),
    ),
    scene(
        "detector with a corner of 1 kHz",
        &["envelope-narrow"],
        &[],
        Make::Bench(
            "duration_s = 0.25\n[probe]\nat = \"pickup\"\ndetector = \"diode\"\ndetector_corner_hz = 1000\ndistance_mm = 30\n[digitiser]\nac_corner_hz = 10\n[noise]\nwhite_nv_per_rthz = 100\n[[tag]]\ndistance_mm = 40",
        ),
    ),
    scene(
        "detector with a corner of 1.5 kHz",
        &["envelope-narrow"],
        &[],
        Make::Bench(
            "duration_s = 0.25\n[probe]\nat = \"pickup\"\ndetector = \"diode\"\ndetector_corner_hz = 1500\ndistance_mm = 30\n[noise]\nwhite_nv_per_rthz = 100\n[[tag]]\ndistance_mm = 40",
        ),
    ),
    scene(
        "detector with a corner of 700 Hz",
        &["envelope-narrow"],
        &[],
        Make::Bench(
            "duration_s = 0.25\n[probe]\nat = \"pickup\"\ndetector = \"diode\"\ndetector_corner_hz = 700\ndistance_mm = 30\n[noise]\nwhite_nv_per_rthz = 100\n[[tag]]\ndistance_mm = 40",
        ),
    ),
    // Tuned circuits.
    scene(
        "antenna 5 kHz low, pulsed",
        &["antenna-mistuned"],
        &[
            "phase-only",
            "ripple-too-weak",
            "no-ripple",
            "little-margin",
        ],
        Make::Bench(
            "duration_s = 0.17\n[reader]\non_ms = 50\noff_ms = 3\ntuned_hz = 129200\n[[tag]]\ndistance_mm = 60\n[digitiser]\nrate_hz = 500000",
        ),
    ),
    scene(
        "antenna 8 kHz high, pulsed",
        &["antenna-mistuned"],
        &[
            "phase-only",
            "ripple-too-weak",
            "no-ripple",
            "little-margin",
        ],
        Make::Bench(
            "duration_s = 0.17\n[reader]\non_ms = 50\noff_ms = 3\ntuned_hz = 142200\n[[tag]]\ndistance_mm = 60\n[digitiser]\nrate_hz = 500000",
        ),
    ),
    scene(
        "820 µH on electronics for 550 µH, pulsed, no tag",
        &["antenna-mistuned"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.17\n[reader]\non_ms = 40\noff_ms = 5\ninductance_uh = 820\ncoil_ohm = 8\ncapacitance_pf = 2557.25\n[digitiser]\nrate_hz = 500000",
        ),
    ),
    scene(
        "tag tuned 5 kHz low",
        &["ripple-track-curved"],
        &["phase-only"],
        Make::Bench(
            "duration_s = 0.2\n[[tag]]\ndistance_mm = 50\ntuned_hz = 129200\n[digitiser]\nrate_hz = 500000",
        ),
    ),
    scene(
        "tag tuned 6 kHz high",
        &["ripple-track-curved"],
        &["phase-only"],
        Make::Bench(
            "duration_s = 0.2\n[[tag]]\ndistance_mm = 50\ntuned_hz = 140200\n[digitiser]\nrate_hz = 500000",
        ),
    ),
    scene(
        "antenna 5 kHz high, steady field",
        &["ripple-track-curved"],
        &["phase-only"],
        Make::Bench(
            "duration_s = 0.2\n[reader]\ntuned_hz = 139200\n[[tag]]\ndistance_mm = 50\n[digitiser]\nrate_hz = 500000",
        ),
    ),
    // Interference.
    scene(
        "second reader 220 Hz up, -20 dB",
        &["second-reader"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15\n[[tone]]\nfrequency_hz = 134420\nlevel_db = -20"
        )),
    ),
    scene(
        "second reader 1.3 kHz down, -40 dB",
        &["second-reader"],
        &["no-ripple"],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15\n[[tone]]\nfrequency_hz = 132905\nlevel_db = -40"
        )),
    ),
    scene(
        "second reader 49 Hz up, a hum to the eye",
        &["second-reader"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15\n[[tone]]\nfrequency_hz = 134249\nlevel_db = -24"
        )),
    ),
    scene(
        "second reader 50.5 Hz down, a hum to the eye",
        &["second-reader"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15\n[[tone]]\nfrequency_hz = 134149.5\nlevel_db = -24"
        )),
    ),
    scene(
        "125 kHz reader near by, no tag",
        &["second-reader", "no-ripple"],
        &[],
        Make::Bench(bare_field!(
            "",
            "[digitiser]\nrate_hz = 500000\n[[tone]]\nfrequency_hz = 125000\nlevel_db = -26"
        )),
    ),
    scene(
        "second reader of a bench, 90 Hz up",
        &["second-reader"],
        &[],
        Make::Bench(
            "duration_s = 0.3\n[second_reader]\nfield_hz = 134290\ndistance_mm = 800\n[[tag]]\ndistance_mm = 50\n[digitiser]\nrate_hz = 500000",
        ),
    ),
    scene(
        "a charger at 150 kHz, -30 dB",
        &["stray-tone"],
        &[],
        Make::Bench(given!(
            "[noise]\nebn0_db = 15\n[[tone]]\nfrequency_hz = 150020\nlevel_db = -30"
        )),
    ),
    scene(
        "a tone at 110 kHz, -40 dB",
        &["stray-tone"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15\n[[tone]]\nfrequency_hz = 110510\nlevel_db = -40"
        )),
    ),
    scene(
        "line scan at 140.6 kHz, no tag",
        &["stray-tone", "no-ripple"],
        &[],
        Make::Bench(bare_field!(
            "",
            "[digitiser]\nrate_hz = 500000\n[[tone]]\nfrequency_hz = 140625\nlevel_db = -45"
        )),
    ),
    scene(
        "radio ripple control at 129.1 kHz",
        &["in-band-transmitter"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15\n[[fsk]]\ncentre_hz = 129100\nlevel_db = -50"
        )),
    ),
    scene(
        "radio ripple control at 135.6 kHz",
        &["in-band-transmitter"],
        &["no-ripple"],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15\n[[fsk]]\ncentre_hz = 135600\nlevel_db = -45"
        )),
    ),
    scene(
        "radio ripple control at 139 kHz, no tag",
        &["in-band-transmitter", "no-ripple"],
        &[],
        Make::Bench(bare_field!(
            "",
            "[digitiser]\nrate_hz = 500000\n[[fsk]]\ncentre_hz = 139000\nlevel_db = -55"
        )),
    ),
    scene(
        "supply at 65.5 kHz, -40 dB",
        &["supply-harmonics"],
        &[],
        Make::Bench(given!(
            "[noise]\nebn0_db = 15\n[[supply]]\nfundamental_hz = 65500\nlevel_db = -40"
        )),
    ),
    scene(
        "supply at 43.7 kHz, -30 dB, jitter",
        &["supply-harmonics"],
        &[],
        Make::Bench(given!(
            "[noise]\nebn0_db = 15\n[[supply]]\nfundamental_hz = 43700\nlevel_db = -30\njitter_percent = 0.05"
        )),
    ),
    scene(
        "supply at 100.3 kHz, no tag",
        &["supply-harmonics"],
        &["no-ripple"],
        Make::Bench(bare_field!(
            "",
            "[[supply]]\nfundamental_hz = 100300\nlevel_db = -35\nharmonics = 4"
        )),
    ),
    scene(
        "100 impulses a second",
        &["impulses"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15\n[[impulses]]\nrate_per_s = 100\nlevel_db = -3"
        )),
    ),
    scene(
        "50 impulses a second, no tag",
        &["impulses", "no-ripple"],
        &[],
        Make::Bench(bare_field!(
            "",
            "[digitiser]\nrate_hz = 500000\n[[impulses]]\nrate_per_s = 60\nlevel_db = -10"
        )),
    ),
    scene(
        "300 weaker impulses a second, 1 MS/s",
        &["impulses"],
        &[],
        Make::Bench(given!(
            "[noise]\nebn0_db = 18\n[[impulses]]\nrate_per_s = 300\nlevel_db = -6"
        )),
    ),
    // Ripple.
    scene(
        "no tag, 500 kS/s",
        &["no-ripple"],
        &[],
        Make::Bench(bare_field!("", "[digitiser]\nrate_hz = 500000\n")),
    ),
    scene(
        "no tag, 8 bits",
        &["no-ripple"],
        &[],
        Make::Bench(bare_field!("", "[digitiser]\nbits = 8\nrange_v = 1.25\n")),
    ),
    scene(
        "tag across the field of a bench",
        &["no-ripple"],
        &[],
        Make::Bench(
            "duration_s = 0.2\n[[tag]]\ndistance_mm = 60\ntilt_deg = 90\n[digitiser]\nrate_hz = 500000",
        ),
    ),
    scene(
        "folded Eb/N0 0 dB (0.14 s)",
        &["ripple-too-weak"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = -6.6"
        )),
    ),
    scene(
        "folded Eb/N0 -0.5 dB (0.14 s, 1 MS/s)",
        &["ripple-too-weak"],
        &[],
        Make::Bench(given!("angle_deg = 80\n[noise]\nebn0_db = -7.1")),
    ),
    scene(
        "folded Eb/N0 0.3 dB (0.14 s, depth 0.1 %)",
        &["ripple-too-weak"],
        &[],
        Make::Bench(given!(
            "depth = 0.001\n[digitiser]\nrate_hz = 500000\nbits = 32\n[noise]\nebn0_db = -6.3"
        )),
    ),
    scene(
        "folded Eb/N0 4.5 dB",
        &["little-margin"],
        &[],
        Make::Bench(given!(
            "[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = -2.1"
        )),
    ),
    scene(
        "folded Eb/N0 4.8 dB, 1 MS/s",
        &["little-margin"],
        &[],
        Make::Bench(given!("angle_deg = -45\n[noise]\nebn0_db = -1.8")),
    ),
    scene(
        "folded Eb/N0 4.6 dB, depth 0.1 %",
        &["little-margin"],
        &[],
        Make::Bench(given!(
            "depth = 0.001\n[digitiser]\nrate_hz = 500000\nbits = 32\n[noise]\nebn0_db = -2.0"
        )),
    ),
    scene(
        "angle 85°",
        &["phase-only"],
        &[],
        Make::Bench(given!(
            "angle_deg = 85\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15"
        )),
    ),
    scene(
        "angle 90°",
        &["phase-only"],
        &[],
        Make::Bench(given!("angle_deg = 90\n[noise]\nebn0_db = 12")),
    ),
    scene(
        "angle -82°, no noise to speak of",
        &["phase-only"],
        &[],
        Make::Bench(given!(
            "angle_deg = -82\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 25"
        )),
    ),
    scene(
        "angle 68°",
        &[],
        &[],
        Make::Bench(given!(
            "angle_deg = 68\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15"
        )),
    ),
    scene(
        "two tags, 6 dB apart",
        &["several-tags"],
        &[],
        Make::Bench(given!(
            "[[direct.tag]]\ndepth = 0.005\nangle_deg = -20\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15"
        )),
    ),
    scene(
        "two tags, 10 dB apart",
        &["several-tags"],
        &[],
        Make::Bench(given!(
            "[[direct.tag]]\ndepth = 0.0032\nangle_deg = 70\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15"
        )),
    ),
    scene(
        "three tags",
        &["several-tags"],
        &["phase-only"],
        Make::Bench(given!(
            "[[direct.tag]]\ndepth = 0.006\nangle_deg = -40\n[[direct.tag]]\ndepth = 0.0035\nangle_deg = 80\n[noise]\nebn0_db = 18"
        )),
    ),
    // What is sent.
    scene(
        "check with start FFFF",
        &["check-of-another-kind"],
        &[],
        Make::Bits(|seed| checked(seed, |code| check_from(0xFFFF, code))),
    ),
    scene(
        "check with start FFFF, inverted",
        &["check-of-another-kind"],
        &[],
        Make::Bits(|seed| checked(seed, |code| !check_from(0xFFFF, code))),
    ),
    scene(
        "check's bits the other way round",
        &["check-of-another-kind"],
        &[],
        Make::Bits(|seed| checked(seed, |code| check_from(0, code).reverse_bits())),
    ),
    scene(
        "check with two bits wrong",
        &["telegram-does-not-fit"],
        &[],
        Make::Bits(|seed| checked(seed, |code| check_from(0, code) ^ 0x0410)),
    ),
    scene(
        "check with a bit wrong",
        &["telegram-does-not-fit"],
        &[],
        Make::Bits(|seed| checked(seed, |code| check_from(0, code) ^ 0x0020)),
    ),
    scene(
        "check of nothing",
        &["telegram-does-not-fit"],
        &["check-of-another-kind"],
        Make::Bits(|seed| {
            checked(seed, |code| {
                (code.wrapping_mul(0x9e37_79b9_7f4a_7c15) >> 48) as u16
            })
        }),
    ),
    scene(
        "another protocol, 64 bits",
        &["biphase-no-header"],
        &[],
        Make::Bits(|seed| foreign(seed, 64)),
    ),
    scene(
        "another protocol, 128 bits",
        &["biphase-no-header"],
        &[],
        Make::Bits(|seed| foreign(seed, TELEGRAM_BITS)),
    ),
    scene(
        "another protocol, 96 bits",
        &["biphase-no-header"],
        &[],
        Make::Bits(|seed| foreign(seed, 96)),
    ),
    scene(
        "another protocol that does not repeat",
        &["biphase-no-header"],
        &[],
        Make::Bits(|seed| foreign(seed, 2000)),
    ),
    scene(
        "the standard's telegram",
        &[],
        &[],
        Make::Bits(|seed| checked(seed, |code| check_from(0, code))),
    ),
    scene(
        "tag restarts after 1.7 telegrams",
        &["tag-restarts"],
        &["telegram-does-not-fit", "several-tags"],
        Make::Bits(|seed| restarting(seed, 217, 9)),
    ),
    scene(
        "tag restarts after 0.6 telegrams",
        &["tag-restarts"],
        &["telegram-does-not-fit", "several-tags", "no-ripple"],
        Make::Bits(|seed| restarting(seed, 77, 40)),
    ),
    scene(
        "tag restarts after 2.9 telegrams",
        &["tag-restarts"],
        &["telegram-does-not-fit", "several-tags"],
        Make::Bits(|seed| restarting(seed, 371, 20)),
    ),
    scene(
        "tag at the edge of its power, 12 bits",
        &["tag-restarts"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.5\n[reader]\nfield_hz = 134204\ndrive_v = 5.26\n[[tag]]\ndistance_mm = 66\ntuned_hz = 134900\n[digitiser]\nrate_hz = 1000000\nbits = 12\n[noise]\nwhite_nv_per_rthz = 1500",
        ),
    ),
    scene(
        "tag at the edge of its power, 14 bits",
        &["tag-restarts"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.5\n[reader]\nfield_hz = 134204\ndrive_v = 5.26\n[[tag]]\ndistance_mm = 66\ntuned_hz = 134900\n[digitiser]\nrate_hz = 500000\nbits = 14\n[noise]\nwhite_nv_per_rthz = 800",
        ),
    ),
    scene(
        "tag at the edge of its power, field as expected",
        &["tag-restarts"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.5\n[reader]\nfield_hz = 134200\ndrive_v = 5.26\n[[tag]]\ndistance_mm = 66\ntuned_hz = 134900\n[digitiser]\nrate_hz = 1000000\nbits = 14\n[noise]\nwhite_nv_per_rthz = 1500",
        ),
    ),
    // Tags of other kinds.
    scene(
        "half duplex, nominal tones",
        &["half-duplex-tag"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.3\n[direct]\non_ms = 50\noff_ms = 20\n[[other_tag]]\nkind = \"hdx\"\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 15",
        ),
    ),
    scene(
        "half duplex, tones 1.3 kHz apart from nominal",
        &["half-duplex-tag"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.3\n[direct]\non_ms = 40\noff_ms = 20\n[[other_tag]]\nkind = \"hdx\"\none_hz = 122900\nzero_hz = 135500\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 14",
        ),
    ),
    scene(
        "half duplex, dying away",
        &["half-duplex-tag"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.3\n[direct]\non_ms = 60\noff_ms = 20\n[[other_tag]]\nkind = \"hdx\"\ndecay_ms = 20\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 18",
        ),
    ),
    scene(
        "half duplex, too weak at 5 dB",
        &["half-duplex-unread"],
        &["no-ripple", "half-duplex-tag"],
        Make::Bench(
            "duration_s = 0.3\n[direct]\non_ms = 50\noff_ms = 20\n[[other_tag]]\nkind = \"hdx\"\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 5",
        ),
    ),
    scene(
        "half duplex, too weak at 5.2 dB",
        &["half-duplex-unread"],
        &["no-ripple", "half-duplex-tag"],
        Make::Bench(
            "duration_s = 0.3\n[direct]\non_ms = 50\noff_ms = 20\n[[other_tag]]\nkind = \"hdx\"\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 5.2",
        ),
    ),
    scene(
        "half duplex, too weak at 5.5 dB",
        &["half-duplex-unread"],
        &["no-ripple", "half-duplex-tag"],
        Make::Bench(
            "duration_s = 0.3\n[direct]\non_ms = 40\noff_ms = 20\n[[other_tag]]\nkind = \"hdx\"\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 5.5",
        ),
    ),
    scene(
        "125 kHz read-only tag, 64 cycles a bit",
        &["read-only-125-khz-tag", "field-off-frequency"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.2\n[direct]\nfield_hz = 125000\n[[other_tag]]\nkind = \"manchester\"\n[digitiser]\nrate_hz = 400000\n[noise]\nebn0_db = 15",
        ),
    ),
    scene(
        "125 kHz read-only tag, 32 cycles a bit",
        &["read-only-125-khz-tag", "field-off-frequency"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.2\n[direct]\nfield_hz = 124950\n[[other_tag]]\nkind = \"manchester\"\ncycles_per_bit = 32\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 12",
        ),
    ),
    scene(
        "125 kHz read-only tag, strong",
        &["read-only-125-khz-tag", "field-off-frequency"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.2\n[direct]\nfield_hz = 125060\n[[other_tag]]\nkind = \"manchester\"\ndepth = 0.05\n[digitiser]\nrate_hz = 1000000\n[noise]\nebn0_db = 18",
        ),
    ),
    scene(
        "125 kHz FSK tag, 50 cycles a bit",
        &["fsk-125-khz-tag", "field-off-frequency"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.2\n[direct]\nfield_hz = 125000\n[[other_tag]]\nkind = \"fsk\"\n[digitiser]\nrate_hz = 400000\n[noise]\nebn0_db = 15",
        ),
    ),
    scene(
        "125 kHz FSK tag, slow reader",
        &["fsk-125-khz-tag", "field-off-frequency"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.2\n[direct]\nfield_hz = 124950\n[[other_tag]]\nkind = \"fsk\"\n[digitiser]\nrate_hz = 500000\n[noise]\nebn0_db = 20",
        ),
    ),
    scene(
        "125 kHz FSK tag, strong",
        &["fsk-125-khz-tag", "field-off-frequency"],
        &["no-ripple"],
        Make::Bench(
            "duration_s = 0.2\n[direct]\nfield_hz = 125060\n[[other_tag]]\nkind = \"fsk\"\ndepth = 0.05\n[digitiser]\nrate_hz = 1000000\n[noise]\nebn0_db = 18",
        ),
    ),
];
