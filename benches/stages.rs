//! How long each stage of the receiver takes, and all of them together: one second of a tag at 500 kS/s, Eb/N0 −5 dB.
//!
//! ```text
//! cargo bench --bench stages
//! ```

use std::hint::black_box;

use criterion::{Criterion, Throughput, criterion_group, criterion_main};
use fieldripple::receiver::decision::{Boundaries, Known, decide};
use fieldripple::receiver::{
    Fold, ReadLimits, Samples, Signal, Tuning, read_piece, receive, to_cycles, with_carrier,
};
use fieldripple::telegram::{TELEGRAM_BITS, Telegram};
use fieldripple::world::{DirectSignal, RippleTag, SampleForm, noise_sigma, ripple_rms};

const RATE_HZ: f64 = 500e3;
const FIELD_HZ: f64 = 134_200.0;

fn stages(criterion: &mut Criterion) {
    let tag = RippleTag {
        telegram: Telegram::new(0x8000_F9C0_075B_CD15),
        flipped: 0,
        depth: 0.01,
        angle_deg: 60.0,
        start_cycles: 1234.5,
        sign: 1,
    };
    let rms = ripple_rms(SampleForm::Real, 1.0, tag.depth, tag.angle_deg);
    let samples: Vec<f32> = DirectSignal {
        view: SampleForm::Real,
        rate_hz: RATE_HZ,
        clock_ppm: 0.0,
        samples: RATE_HZ as u64,
        field_hz: FIELD_HZ,
        amplitude: 1.0,
        phase_deg: 10.0,
        offset: 0.0,
        tags: vec![tag],
        pulses: None,
        noise_sigma: noise_sigma(SampleForm::Real, -5.0, rms, FIELD_HZ, RATE_HZ),
        seed: 1,
    }
    .samples()
    .0
    .iter()
    .map(|&volts| volts as f32)
    .collect();
    let tuning = Tuning {
        rate_hz: RATE_HZ,
        field_hz: FIELD_HZ,
        apparent_hz: FIELD_HZ,
        mirrored: false,
    };
    let limits = ReadLimits {
        odds: 1e-5,
        real: false,
        known: Known::Nothing,
        cleaned: false,
        effort: None,
    };
    let mut group = criterion.benchmark_group("receiver");
    group.sample_size(20);
    group.throughput(Throughput::Elements(samples.len() as u64));
    group.bench_function("front: samples to field cycles", |bencher| {
        bencher.iter(|| to_cycles(Samples::Real(black_box(&samples)), &tuning));
    });
    let cycles = to_cycles(Samples::Real(&samples), &tuning);
    group.bench_function("pieces: field and interference removed", |bencher| {
        bencher.iter(|| with_carrier(black_box(&cycles)));
    });
    let pieces = with_carrier(&cycles);
    let ripple = &pieces[0].ripple;
    group.bench_function("fold: telegrams laid on each other", |bencher| {
        bencher.iter(|| Fold::new(black_box(ripple), false).timing_scores());
    });
    let sums = Fold::new(ripple, true).boundaries(2.5);
    let (along, across) = sums.along(sums.axis());
    let boundaries = Boundaries {
        sums: along,
        energies: sums.energies,
        overlap: 0.0,
        noise_var: across,
        inverts: true,
        amplitude: None,
        known: Known::Nothing,
    };
    group.bench_function("decision: one hypothesis with its odds", |bencher| {
        bencher.iter(|| decide(black_box(&boundaries)));
    });
    group.bench_function("decision, pulses overlapping", |bencher| {
        let overlapping = Boundaries {
            overlap: -0.2,
            energies: [1.0; TELEGRAM_BITS],
            ..boundaries.clone()
        };
        bencher.iter(|| decide(black_box(&overlapping)));
    });
    group.bench_function("read: ripple to numbers", |bencher| {
        bencher.iter(|| read_piece(black_box(&pieces[0]), FIELD_HZ, &limits));
    });
    group.bench_function("end to end: samples to reception", |bencher| {
        bencher.iter(|| {
            let signal = Signal {
                samples: Samples::Real(black_box(&samples)),
                rate_hz: Some(RATE_HZ),
                centre_hz: 0.0,
                logic: false,
            };
            receive(&signal, 1e-5)
        });
    });
    group.finish();
}

criterion_group!(benches, stages);
criterion_main!(benches);
