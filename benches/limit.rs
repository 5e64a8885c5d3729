//! How near the receiver comes to the exact limit (temporary generator).
use rand::{RngExt, SeedableRng};
use rand_distr::{Distribution, StandardNormal};
use rayon::prelude::*;
use ripplemark::receiver::*;
use ripplemark::{linecode, telegram::Telegram};

fn make(
    seed: u64,
    seconds: f64,
    rate: f64,
    ebn0_db: f64,
    depth: f64,
) -> (Vec<f32>, u64, f64, f64, f64) {
    let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(7);
    rng.set_stream(seed);
    let fc = 134_200.0 + rng.random_range(-300.0..300.0);
    let angle: f64 = rng.random_range(-90.0f64..90.0).to_radians();
    let phase: f64 = rng.random_range(0.0..std::f64::consts::TAU);
    let start: f64 = rng.random_range(0.0..4096.0);
    let code: u64 = rng.random();
    let tele = Telegram::new(code);
    let bits = tele.bits();
    let states = linecode::load_states(&bits, 1);
    let inverts = linecode::inverts(&bits);
    let n = (seconds * rate) as usize;
    let tb = 32.0 / fc;
    let n0 = depth * depth * tb / (2.0 * 10f64.powf(ebn0_db / 10.0));
    let sigma = (n0 * rate / 2.0).sqrt();
    let x = (0..n)
        .map(|k| {
            let cyc = fc * k as f64 / rate;
            let t = cyc + start;
            let tel = (t / 4096.0) as usize;
            let half = ((t - tel as f64 * 4096.0) / 16.0) as usize % 256;
            let s = f64::from(states[half]) * if inverts && tel % 2 == 1 { -1.0 } else { 1.0 };
            let w = std::f64::consts::TAU * cyc.fract() + phase;
            let z: f64 = StandardNormal.sample(&mut rng);
            ((w.cos()) + depth * s * (w + angle).cos() + sigma * z) as f32
        })
        .collect();
    (x, code, fc, depth, angle.to_degrees())
}

fn main() {
    let args: Vec<String> = std::env::args()
        .skip(1)
        .filter(|a| a != "--bench")
        .collect();
    let seconds: f64 = args[0].parse().unwrap();
    let trials: u64 = args[1].parse().unwrap();
    let rate = 500e3;
    for db in args[2].split(',').map(|s| s.parse::<f64>().unwrap()) {
        let results: Vec<_> = (0..trials)
            .into_par_iter()
            .map(|seed| {
                let (x, code, fc, depth, angle) = make(seed, seconds, rate, db, 0.01);
                let s = Signal {
                    samples: Samples::Real(&x),
                    rate_hz: Some(rate),
                    centre_hz: 0.0,
                    logic: false,
                };
                let t = std::time::Instant::now();
                let r = receive(&s, 1e-5);
                let dt = t.elapsed().as_secs_f64();
                let good = r
                    .readings
                    .iter()
                    .any(|r| r.attempt.decision.telegram.code == code);
                let wrong = r
                    .readings
                    .iter()
                    .any(|r| r.attempt.decision.telegram.code != code);
                let cand = r
                    .candidate
                    .as_ref()
                    .is_some_and(|c| c.attempt.decision.telegram.code == code);
                let at = r
                    .readings
                    .first()
                    .or(r.candidate.as_ref())
                    .map(|r| r.attempt.clone());
                let (e, d, an) = at.as_ref().map_or((f64::NAN, f64::NAN, f64::NAN), |a| {
                    let mut da = a.angle.to_degrees() - angle;
                    da -= 180.0 * (da / 180.0).round();
                    (10.0 * a.ebn0.log10() - db, a.depth / depth - 1.0, da)
                });
                if std::env::var("V").is_ok() && !good {
                    eprintln!(
                        "{seed}: fc {fc:.2} angle {angle:.1} -> {:?} {:?}",
                        r.field.frequency_hz,
                        at.map(|a| (
                            a.decision.odds_wrong,
                            a.decision.misfit,
                            a.inverts,
                            a.timing,
                            a.telegrams,
                            a.ebn0,
                            a.depth,
                            a.ideal_edges
                        ))
                    );
                }
                (
                    good,
                    wrong,
                    cand,
                    dt,
                    e,
                    d,
                    an,
                    r.field.frequency_hz.unwrap_or(0.0) - fc,
                )
            })
            .collect();
        let n = results.len() as f64;
        let read: Vec<_> = results.iter().filter(|r| r.0).collect();
        let m = read.len().max(1) as f64;
        let stat = |f: &dyn Fn(&(bool, bool, bool, f64, f64, f64, f64, f64)) -> f64| {
            let mean = read.iter().map(|r| f(r)).sum::<f64>() / m;
            let sd = (read.iter().map(|r| (f(r) - mean).powi(2)).sum::<f64>() / m).sqrt();
            format!("{mean:+.4}±{sd:.4}")
        };
        println!(
            "{seconds} s {db:6.2} dB: read {:.3} cand {:.3} wrong {} time {:.1} ms ebn0err {} depth {} angle {} f {}",
            read.len() as f64 / n,
            results.iter().filter(|r| r.2).count() as f64 / n,
            results.iter().filter(|r| r.1).count(),
            results.iter().map(|r| r.3).sum::<f64>() / n * 1e3,
            stat(&|r| r.4),
            stat(&|r| r.5),
            stat(&|r| r.6),
            stat(&|r| r.7),
        );
    }
}
