//! How near the receiver comes to the exact limit in white noise, both on the same captures.
//!
//! ```text
//! cargo bench --bench limit -- SECONDS TRIALS EBN0_DB,EBN0_DB,… [BANDWIDTH_HZ DETUNING_HZ] [usual]
//! ```
//!
//! With a bandwidth the ripple passes a tank of that bandwidth, whose resonance lies the detuning off the field, and the
//! decoder is told the tank as well; Eb/N0 counts the ripple behind it. With `usual` both take the usual fields as known, and
//! 99 tags in 100 have them.
//!
//! Captures: 500 kS/s, ripple 1 %, random number, angle, start and phase, field within ±300 Hz of 134.2 kHz. A line per
//! level: the share the receiver reads at odds ≤ 1e-5, the share in which a decoder told frequency, phase, timing, parity,
//! angle, amplitude and noise (not the telegram's start) has exact odds ≤ 1e-5, wrong numbers, and the receiver's errors
//! of Eb/N0, depth, angle and frequency (mean ± standard deviation over the captures read).

use std::f64::consts::TAU;

use fieldripple::linecode;
use fieldripple::margin::Told;
use fieldripple::receiver::decision::{Known, USUAL_SHARE, usual_fields};
use fieldripple::receiver::{HALF, Samples, Signal, Terms, receive};
use fieldripple::telegram::Telegram;
use fieldripple::world::{DirectSignal, SampleForm, noise_sigma};
use num_complex::Complex64;
use rand::{RngExt, SeedableRng};
use rayon::prelude::*;

const RATE_HZ: f64 = 500e3;
const DEPTH: f64 = 0.01;
const ODDS: f64 = 1e-5;

fn main() {
    let arguments: Vec<String> = std::env::args()
        .skip(1)
        .filter(|argument| !argument.starts_with("--"))
        .collect();
    let (known, arguments) = match arguments.split_last() {
        Some((last, others)) if last == "usual" => (Known::UsualFields, others),
        _ => (Known::Nothing, &arguments[..]),
    };
    let (seconds, trials, levels, tank) = match arguments {
        [seconds, trials, levels] => (seconds, trials, levels, None),
        [seconds, trials, levels, bandwidth, detuning] => {
            let hz = |text: &String| text.parse::<f64>().expect("Hz as a number");
            let pole = Complex64::new(hz(bandwidth), hz(detuning)) * TAU;
            (seconds, trials, levels, Some(pole))
        }
        _ => {
            println!(
                "give SECONDS TRIALS EBN0_DB,… [BANDWIDTH_HZ DETUNING_HZ] [usual]; nothing was run"
            );
            return;
        }
    };
    let seconds: f64 = seconds.parse().expect("seconds as a number");
    let trials: u64 = trials.parse().expect("trials as a whole number");
    let terms = Terms { odds: ODDS, known };
    println!(
        "{trials} trials of {seconds} s a line, odds <= {ODDS:e}{}",
        match known {
            Known::Nothing => "",
            Known::UsualFields => ", usual fields taken as known",
        }
    );
    for level in levels.split(',') {
        let ebn0_db: f64 = level.parse().expect("Eb/N0 in dB as a number");
        let outcomes: Vec<Outcome> = (0..trials)
            .into_par_iter()
            .map(|trial| run(trial, seconds, ebn0_db, tank, terms))
            .collect();
        report(ebn0_db, &outcomes);
    }
}

struct Outcome {
    read: bool,
    wrong: bool,
    told_read: bool,
    /// Eb/N0 (dB), depth (share), angle (degrees), frequency (Hz).
    errors: [f64; 4],
}

fn run(trial: u64, seconds: f64, ebn0_db: f64, tank: Option<Complex64>, terms: Terms) -> Outcome {
    let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(20_261);
    rng.set_stream(trial);
    let field_hz = 134_200.0 + rng.random_range(-300.0..300.0);
    let angle_deg: f64 = rng.random_range(-90.0..90.0);
    let tag = Tag {
        telegram: draw_telegram(&mut rng, terms.known),
        start: rng.random_range(0.0..4096.0),
        pole: tank.map(|pole| pole / field_hz),
        ripple: Complex64::from_polar(DEPTH, angle_deg.to_radians()),
    };
    let samples = (seconds * RATE_HZ) as usize;
    let ripple = tag.phasors(samples, field_hz / RATE_HZ);
    let power = ripple.iter().map(|r| r.norm_sqr()).sum::<f64>() / samples as f64;
    let square = ripple.iter().map(|r| r * r).sum::<Complex64>();
    let sigma = noise_sigma(SampleForm::Real, ebn0_db, power.sqrt(), field_hz, RATE_HZ);
    let signal = DirectSignal {
        view: SampleForm::Real,
        rate_hz: RATE_HZ,
        clock_ppm: 0.0,
        samples: samples as u64,
        field_hz,
        amplitude: 1.0,
        phase_deg: rng.random_range(0.0..360.0),
        offset: 0.0,
        tags: Vec::new(),
        pulses: None,
        noise_sigma: sigma,
        seed: rng.random(),
    };
    let field = |n: usize| {
        let turns = (field_hz / RATE_HZ * n as f64).fract();
        Complex64::cis(TAU * turns + signal.phase_deg.to_radians())
    };
    let received: Vec<f64> = signal
        .samples()
        .0
        .iter()
        .enumerate()
        .map(|(n, x)| x + (ripple[n] * field(n)).re)
        .collect();
    let singles: Vec<f32> = received.iter().map(|&x| x as f32).collect();
    let reception = receive(
        &Signal {
            samples: Samples::Real(&singles),
            rate_hz: Some(RATE_HZ),
            centre_hz: 0.0,
            logic: false,
        },
        terms,
    );
    let right = reception
        .readings
        .iter()
        .find(|reading| reading.attempt.decision.telegram.code == tag.telegram.code);
    let errors = right.map_or([0.0; 4], |reading| {
        let angle = reading.attempt.angle.to_degrees() - 0.5 * square.arg().to_degrees();
        [
            10.0 * reading.attempt.ebn0.log10() - ebn0_db,
            reading.attempt.depth / power.sqrt() - 1.0,
            angle - 180.0 * (angle / 180.0).round(),
            reception.field.frequency_hz.unwrap_or(0.0) - field_hz,
        ]
    });
    // The field itself is known and removed.
    let ripple_only = received.iter().enumerate().map(|(n, x)| x - field(n).re);
    let told = Told {
        cycles_per_sample: field_hz / RATE_HZ,
        start_cycles: tag.start,
        inverts: linecode::inverts(&tag.telegram.bits()),
        noise_var: sigma * sigma,
        known: terms.known,
        pulse_bits: if tank.is_some() { PULSE_BITS } else { 0 },
        pulse: |after| tag.pulse(after),
        turn: |n| field(n) * tag.ripple,
    };
    let told = told.read(ripple_only, ODDS) == Some(tag.telegram.code);
    Outcome {
        read: right.is_some(),
        wrong: reception.readings.len() > usize::from(right.is_some()),
        told_read: told,
        errors,
    }
}

fn draw_telegram(rng: &mut rand::rngs::ChaCha8Rng, known: Known) -> Telegram {
    let any = Telegram::new(rng.random());
    if known == Known::Nothing || rng.random::<f64>() > USUAL_SHARE {
        return any;
    }
    loop {
        // Reserved bits and data block flag off; the country code is drawn until it is one in use.
        let telegram = Telegram::new(rng.random::<u64>() & !(0x7F << 48));
        if usual_fields(&telegram) {
            return telegram;
        }
    }
}

/// A tag behind one tank.
struct Tag {
    telegram: Telegram,
    /// Field cycles from the first sample to a telegram's start.
    start: f64,
    /// The tank's pole per field cycle; `None` = ideal edges.
    pole: Option<Complex64>,
    ripple: Complex64,
}

impl Tag {
    /// The ripple's phasor at each sample: from one change of the load to the next an exponential.
    fn phasors(&self, samples: usize, cycles_per_sample: f64) -> Vec<Complex64> {
        let bits = self.telegram.bits();
        let states = linecode::load_states(&bits, 1);
        let inverts = linecode::inverts(&bits);
        let half_bits = states.len() as i64;
        let mut half = (-self.start / HALF as f64).floor() as i64 - 2 * half_bits;
        let change = |half: i64| self.start + (half * HALF as i64) as f64;
        let state = |half: i64| {
            let odd = half.div_euclid(half_bits).rem_euclid(2) == 1;
            let state = f64::from(states[half.rem_euclid(half_bits) as usize]);
            if odd && inverts { -state } else { state }
        };
        let within = |at_change: Complex64, half: i64, cycle: f64| match self.pole {
            None => Complex64::new(state(half), 0.0),
            Some(pole) => {
                let left = (-pole * (cycle - change(half))).exp();
                state(half) + (at_change - state(half)) * left
            }
        };
        let mut at_change = Complex64::default();
        (0..samples)
            .map(|n| {
                let cycle = n as f64 * cycles_per_sample;
                while change(half + 1) <= cycle {
                    at_change = within(at_change, half, change(half + 1));
                    half += 1;
                }
                self.ripple * within(at_change, half, cycle)
            })
            .collect()
    }

    /// What one boundary adds to the ripple, this many cycles after it, for a ripple of ±1.
    fn pulse(&self, after: f64) -> Complex64 {
        let half = HALF as f64;
        let Some(pole) = self.pole else {
            let inside = (-half..half).contains(&after);
            return Complex64::new(if inside { after.signum() } else { 0.0 }, 0.0);
        };
        let left = |cycles: f64| (-pole * cycles).exp();
        if after < -half {
            Complex64::default()
        } else if after < 0.0 {
            left(after + half) - 1.0
        } else if after < half {
            1.0 + (left(half) - 2.0) * left(after)
        } else {
            (1.0 + (left(half) - 2.0) * left(half)) * left(after - half)
        }
    }
}

/// Bits that a boundary's pulse is followed for behind a tank.
const PULSE_BITS: i64 = 5;

fn report(ebn0_db: f64, outcomes: &[Outcome]) {
    let count = outcomes.len() as f64;
    let share =
        |test: fn(&Outcome) -> bool| outcomes.iter().filter(|o| test(o)).count() as f64 / count;
    let read: Vec<&Outcome> = outcomes.iter().filter(|o| o.read).collect();
    let spread = |k: usize| {
        let n = read.len().max(1) as f64;
        let mean = read.iter().map(|o| o.errors[k]).sum::<f64>() / n;
        let square = read
            .iter()
            .map(|o| (o.errors[k] - mean).powi(2))
            .sum::<f64>()
            / n;
        format!("{mean:+.4} ± {:.4}", square.sqrt())
    };
    println!(
        "{ebn0_db:7.2} dB  read {:.4}  told {:.4}  wrong {}  Eb/N0 {} dB  depth {}  angle {} deg  field {} Hz",
        share(|o| o.read),
        share(|o| o.told_read),
        outcomes.iter().filter(|o| o.wrong).count(),
        spread(0),
        spread(1),
        spread(2),
        spread(3),
    );
}
