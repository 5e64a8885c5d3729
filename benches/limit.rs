//! How near the receiver comes to the exact limit in white noise, both on the same captures.
//!
//! ```text
//! cargo bench --bench limit -- SECONDS TRIALS EBN0_DB,EBN0_DB,…
//! ```
//!
//! Captures: 500 kS/s, ripple 1 %, random number, angle, start and phase, field within ±300 Hz of 134.2 kHz. A line per
//! level: the share the receiver reads at odds ≤ 1e-5, the share in which a decoder told frequency, phase, timing, parity,
//! angle, amplitude and noise (not the telegram's start) has exact odds ≤ 1e-5, wrong numbers, and the receiver's errors
//! of Eb/N0, depth, angle and frequency (mean ± standard deviation over the captures read).

use rand::{RngExt, SeedableRng};
use rayon::prelude::*;
use ripplemark::margin::{Scene, told};
use ripplemark::receiver::receive;
use ripplemark::telegram::Telegram;
use ripplemark::world::{DirectSignal, RippleTag, View, noise_sigma, ripple_rms};

const RATE_HZ: f64 = 500e3;
const DEPTH: f64 = 0.01;
const ODDS: f64 = 1e-5;

fn main() {
    let arguments: Vec<String> = std::env::args()
        .skip(1)
        .filter(|argument| !argument.starts_with("--"))
        .collect();
    let [seconds, trials, levels] = arguments.as_slice() else {
        println!("give SECONDS TRIALS EBN0_DB,…; nothing was run");
        return;
    };
    let seconds: f64 = seconds.parse().expect("seconds as a number");
    let trials: u64 = trials.parse().expect("trials as a whole number");
    println!("{trials} trials of {seconds} s a line, odds <= {ODDS:e}");
    for level in levels.split(',') {
        let ebn0_db: f64 = level.parse().expect("Eb/N0 in dB as a number");
        let outcomes: Vec<Outcome> = (0..trials)
            .into_par_iter()
            .map(|trial| run(trial, seconds, ebn0_db))
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

fn run(trial: u64, seconds: f64, ebn0_db: f64) -> Outcome {
    let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(20_261);
    rng.set_stream(trial);
    let field_hz = 134_200.0 + rng.random_range(-300.0..300.0);
    let angle_deg = rng.random_range(-90.0..90.0);
    let tag = RippleTag {
        telegram: Telegram::new(rng.random()),
        depth: DEPTH,
        angle_deg,
        start_cycles: rng.random_range(0.0..4096.0),
        sign: 1,
    };
    let sigma = noise_sigma(
        View::Real,
        ebn0_db,
        ripple_rms(View::Real, 1.0, DEPTH, angle_deg),
        field_hz,
        RATE_HZ,
    );
    let signal = DirectSignal {
        view: View::Real,
        rate_hz: RATE_HZ,
        clock_ppm: 0.0,
        samples: (seconds * RATE_HZ) as u64,
        field_hz,
        amplitude: 1.0,
        phase_deg: rng.random_range(0.0..360.0),
        offset: 0.0,
        tags: vec![tag],
        pulses: None,
        noise_sigma: sigma,
        seed: rng.random(),
    };
    let scene = Scene::Direct {
        signal,
        digitiser: None,
    };
    let recording = scene.record();
    let reception = receive(&recording.signal(), ODDS);
    let right = reception
        .readings
        .iter()
        .find(|reading| reading.attempt.decision.telegram.code == tag.telegram.code);
    let errors = right.map_or([0.0; 4], |reading| {
        let angle = reading.attempt.angle.to_degrees() - angle_deg;
        [
            10.0 * reading.attempt.ebn0.log10() - ebn0_db,
            reading.attempt.depth / DEPTH - 1.0,
            angle - 180.0 * (angle / 180.0).round(),
            reception.field.frequency_hz.unwrap_or(0.0) - field_hz,
        ]
    });
    Outcome {
        read: right.is_some(),
        wrong: reception.readings.len() > usize::from(right.is_some()),
        told_read: told(&scene, &recording, ODDS) == Some(tag.telegram.code),
        errors,
    }
}

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
