//! The stepped solution against brute force, and what it must do by physics.

use super::network::tests::{reader, tag};
use super::*;
use num_complex::Complex64;
use std::f64::consts::PI;

const FIELD_HZ: f64 = 134_200.0;

fn field_on(reader: usize, at_s: f64) -> Change {
    Change::Field {
        at_s,
        reader,
        on: true,
    }
}

fn switchings(count: usize, from_s: f64) -> Vec<(f64, bool)> {
    (0..count)
        .map(|index| (from_s + index as f64 * 16.0 / FIELD_HZ, index % 2 == 0))
        .collect()
}

/// Largest and rms difference between the track and brute force, and the rms of the signal.
fn against_brute(
    network: &Network,
    plan: &CircuitPlan,
    probe: &Probe,
    steps: f64,
) -> (f64, f64, f64) {
    let step_s = 1.0 / FIELD_HZ / steps;
    let brute = integrate(network, plan, probe, step_s);
    let track = run(network, plan).unwrap();
    let mut fast = vec![0.0; brute.len()];
    track.samples(probe, 0.0, step_s, &mut fast);
    let (mut worst, mut square, mut power) = (0.0_f64, 0.0, 0.0);
    for (a, b) in fast.iter().zip(&brute) {
        worst = worst.max((a - b).abs());
        square += (a - b) * (a - b);
        power += b * b;
    }
    let count = brute.len() as f64;
    (worst, (square / count).sqrt(), (power / count).sqrt())
}

/// Runge–Kutta with 200 steps a cycle errs by about (2π/200)⁴·(2π)/120 a cycle, 5e-8, over a memory of some ten cycles.
#[test]
fn exact_stepping_is_brute_force() {
    let mut held = tag(30.0, 136_000.0, 1.0);
    held.modulator = Modulator::Capacitor {
        farad: 100e-12,
        ohm: 2_000.0,
    };
    let mut parallel = reader(20.0, 133_000.0);
    parallel.topology = Topology::Parallel;
    parallel.source_ohm = 6_000.0;
    for (reader, tag, k) in [
        (reader(20.0, FIELD_HZ), tag(30.0, FIELD_HZ, 500.0), 0.02),
        (reader(60.0, 131_000.0), tag(15.0, 139_000.0, 20_000.0), 0.1),
        (reader(20.0, FIELD_HZ), held, 0.05),
        (parallel, tag(30.0, FIELD_HZ, 3_000.0), 0.05),
    ] {
        let network = Network::pair(reader, tag, k).unwrap();
        let mut edges = switchings(9, 300e-6);
        edges[3].0 += 3.3e-6;
        let plan = CircuitPlan {
            duration_s: 2e-3,
            changes: vec![
                field_on(0, 10e-6),
                Change::Field {
                    at_s: 1.5e-3,
                    reader: 0,
                    on: false,
                },
            ],
            loads: vec![LoadPlan::Fixed(edges)],
        };
        for probe in [
            Probe::AntennaVoltage { reader: 0 },
            Probe::TagVoltage { tag: 0 },
            Probe::PickUp {
                mutual_h: vec![1e-6, 2e-7],
            },
        ] {
            let (worst, _, rms) = against_brute(&network, &plan, &probe, 200.0);
            assert!(worst < 2e-5 * rms, "{probe:?}: {worst} of {rms}");
        }
    }
}

proptest::proptest! {
    #![proptest_config(proptest::prelude::ProptestConfig::with_cases(24))]

    /// Any ordinary pair of circuits, any moments of switching: the exact solution is what brute force finds.
    #[test]
    fn any_pair_is_brute_force(
        q1 in 5.0..80.0_f64, q2 in 5.0..60.0_f64, tuned1 in 120e3..150e3_f64, tuned2 in 120e3..150e3_f64,
        k in -0.2..0.2_f64, ohm in 400.0..50e3_f64, field_hz in 125e3..145e3_f64,
        gaps in proptest::collection::vec(0.1e-6..200e-6_f64, 1..8),
    ) {
        let mut parts = reader(q1, tuned1);
        parts.frequency_hz = field_hz;
        let network = Network::pair(parts, tag(q2, tuned2, ohm), k).unwrap();
        let mut at_s = 100e-6;
        let edges = gaps.iter().enumerate().map(|(index, gap)| {
            at_s += gap;
            (at_s, index % 2 == 0)
        });
        let plan = CircuitPlan {
            loads: vec![LoadPlan::Fixed(edges.collect())],
            duration_s: 1e-3,
            changes: vec![field_on(0, 3e-6)],
        };
        let (worst, _, rms) = against_brute(&network, &plan, &Probe::AntennaVoltage { reader: 0 }, 200.0);
        proptest::prop_assert!(worst < 5e-5 * rms, "{} of {}", worst, rms);
    }
}

/// Two tags and a second reader at another frequency, all coupled.
#[test]
fn four_circuits_are_brute_force() {
    let mut second = reader(15.0, 129_000.0);
    second.frequency_hz = 128_300.0;
    second.drive_phase_deg = 70.0;
    let tags = vec![tag(30.0, FIELD_HZ, 800.0), tag(20.0, 138_000.0, 5_000.0)];
    let m = [
        [0.0, 1e-5, 2e-5, 1e-5],
        [1e-5, 0.0, 3e-5, -5e-6],
        [2e-5, 3e-5, 0.0, 2e-5],
        [1e-5, -5e-6, 2e-5, 0.0],
    ]
    .map(Vec::from);
    let network = Network::new(vec![reader(20.0, FIELD_HZ), second], tags, &m).unwrap();
    let late: Vec<_> = switchings(6, 400e-6)
        .iter()
        .map(|e| (e.0 + 50e-6, e.1))
        .collect();
    let plan = CircuitPlan {
        duration_s: 1.5e-3,
        changes: vec![field_on(0, 0.0), field_on(1, 100e-6)],
        loads: vec![
            LoadPlan::Fixed(switchings(8, 300e-6)),
            LoadPlan::Fixed(late),
        ],
    };
    for probe in [
        Probe::AntennaVoltage { reader: 0 },
        Probe::TagVoltage { tag: 1 },
    ] {
        let (worst, _, rms) = against_brute(&network, &plan, &probe, 200.0);
        assert!(worst < 2e-5 * rms, "{probe:?}: {worst} of {rms}");
    }
}

/// Mean over each field cycle of 2·x·e^{−jωt}: the fundamental without the harmonics a clamp makes.
fn cycle_phasors(values: &[f64], steps: usize) -> Vec<Complex64> {
    values
        .chunks_exact(steps)
        .map(|cycle| {
            let sum: Complex64 = cycle
                .iter()
                .enumerate()
                .map(|(i, x)| x * Complex64::cis(-2.0 * PI * i as f64 / steps as f64))
                .sum();
            sum * 2.0 / steps as f64
        })
        .collect()
}

fn rms(values: impl Iterator<Item = Complex64> + Clone) -> f64 {
    let count = values.clone().count() as f64;
    (values.map(|value| value.norm_sqr()).sum::<f64>() / count).sqrt()
}

/// The averaged clamp against the clipped current itself, cycle by cycle: 1 % of the tag's voltage, 3 % of the ripple.
#[test]
fn averaged_clamp_is_close_to_the_real_one() {
    let mut failures = Vec::new();
    for (q2, over, slope_ohm) in [
        (30.0, 1.5, 200.0),
        (30.0, 3.0, 200.0),
        (20.0, 2.0, 1_000.0),
        (20.0, 1.2, 50.0),
    ] {
        let mut parts = tag(q2, FIELD_HZ, 1_000.0);
        let open = Network::pair(reader(20.0, FIELD_HZ), parts, 0.01).unwrap();
        let free_v = settle(&open, &[false])
            .phasor(&Probe::TagVoltage { tag: 0 }, 0)
            .norm();
        parts.clamp = Some(Clamp {
            voltage_v: free_v / over,
            slope_ohm,
        });
        let network = Network::pair(reader(20.0, FIELD_HZ), parts, 0.01).unwrap();
        let start_s = 96.0 / FIELD_HZ;
        let plan = CircuitPlan {
            duration_s: 240.0 / FIELD_HZ,
            changes: vec![field_on(0, 0.0)],
            loads: vec![LoadPlan::Fixed(switchings(9, start_s))],
        };
        let track = run(&network, &plan).unwrap();
        let compare = |probe: &Probe| {
            let steps = 256;
            let step_s = 1.0 / FIELD_HZ / steps as f64;
            let slow = integrate(&network, &plan, probe, step_s);
            let mut fast = vec![0.0; slow.len()];
            track.samples(probe, 0.0, step_s, &mut fast);
            let (slow, fast) = (cycle_phasors(&slow, steps), cycle_phasors(&fast, steps));
            let sent = &slow[128..224];
            let mean = sent.iter().sum::<Complex64>() / sent.len() as f64;
            let error = rms(slow.iter().zip(&fast).map(|(a, b)| a - b));
            let sent_error = rms(slow[128..224]
                .iter()
                .zip(&fast[128..224])
                .map(|(a, b)| a - b));
            (
                error / mean.norm(),
                sent_error / rms(sent.iter().map(|a| a - mean)),
            )
        };
        let tag_error = compare(&Probe::TagVoltage { tag: 0 }).0;
        let ripple_error = compare(&Probe::AntennaVoltage { reader: 0 }).1;
        println!(
            "{over} x over, {slope_ohm} ohm: tag voltage {tag_error:.4}, ripple {ripple_error:.4}, {} pieces",
            track.pieces.len()
        );
        if tag_error > 0.01 || ripple_error > 0.03 {
            failures.push(over);
        }
        let settled = settle(&network, &[false]).phasor(&Probe::TagVoltage { tag: 0 }, 0);
        let mut before = [Complex64::from(0.0)];
        track.phasors(
            &Probe::TagVoltage { tag: 0 },
            FIELD_HZ,
            start_s - 1e-6,
            1.0,
            &mut before,
        );
        assert!(
            (before[0] - settled).norm() < 3e-3 * settled.norm(),
            "{} {settled}",
            before[0]
        );
    }
    assert!(failures.is_empty(), "{failures:?}");
}

/// With one steady field the tag's clock is the field: 16 cycles between switchings on average, to the phase the tank slips.
#[test]
fn the_field_is_the_clock() {
    let network =
        Network::pair(reader(20.0, FIELD_HZ), tag(30.0, 136_000.0, 2_000.0), 0.01).unwrap();
    let plan = CircuitPlan {
        duration_s: 20e-3,
        changes: vec![field_on(0, 0.0)],
        loads: vec![LoadPlan::Clocked(vec![true, false])],
    };
    let track = run(&network, &plan).unwrap();
    let edges = track.edges(0);
    assert!(edges.len() > 160, "{}", edges.len());
    let settled = &edges[edges.len() - 101..];
    for pair in settled.windows(3) {
        let cycles = (pair[2].0 - pair[0].0) * FIELD_HZ;
        assert!((cycles - 32.0).abs() < 1e-6, "{cycles}");
    }
    assert_eq!(track.on_times(0).len(), 1);
}

/// Two tags in one field keep their relative timing (both are clocked by it); one that is out of reach does not send and does not
/// stop the other.
#[test]
fn two_tags_share_the_clock() {
    let strong = tag(30.0, FIELD_HZ, 2_000.0);
    let network_with = |second: Tag| {
        let m = [[0.0, 2e-5, 1e-5], [2e-5, 0.0, 1e-7], [1e-5, 1e-7, 0.0]].map(Vec::from);
        Network::new(vec![reader(20.0, FIELD_HZ)], vec![strong, second], &m).unwrap()
    };
    let mut second = tag(20.0, 136_000.0, 5_000.0);
    second.start_up_s = 333e-6;
    let plan = CircuitPlan {
        duration_s: 40e-3,
        changes: vec![field_on(0, 0.0)],
        loads: vec![
            LoadPlan::Clocked(vec![true, false]),
            LoadPlan::Clocked(vec![true, false, true, true, false, false]),
        ],
    };
    let track = run(&network_with(second), &plan).unwrap();
    let late = |tag: usize| -> Vec<f64> {
        track
            .edges(tag)
            .iter()
            .map(|edge| edge.0)
            .filter(|&at| at > 5e-3)
            .collect()
    };
    let (first, other) = (late(0), late(1));
    // Edges at the same place of each pattern: two switchings a turn of the first, four of the second.
    let cycles = |edges: &[f64], apart: usize| -> f64 {
        let last = (edges.len() - 1) / apart * apart;
        (edges[last] - edges[0]) * FIELD_HZ
    };
    for total in [cycles(&first, 2), cycles(&other, 4)] {
        // Either tag's phase is moved by the other's load, by some thousandths of a cycle, but never runs away.
        assert!(
            (total - (total / 16.0).round() * 16.0).abs() < 0.05,
            "{total}"
        );
    }
    second.minimum_v = 1e6;
    let alone = run(&network_with(second), &plan).unwrap();
    assert!(alone.edges(1).is_empty() && alone.edges(0).len() > 300);
}

/// A pause longer than the hold-up stops the tag; it starts its telegram anew when the voltage is back.
#[test]
fn a_pause_restarts_the_tag() {
    let mut parts = tag(30.0, FIELD_HZ, 2_000.0);
    let open = Network::pair(reader(20.0, FIELD_HZ), parts, 0.01).unwrap();
    let free_v = settle(&open, &[false])
        .phasor(&Probe::TagVoltage { tag: 0 }, 0)
        .norm();
    parts.minimum_v = 0.5 * free_v;
    parts.start_up_s = 200e-6;
    let network = Network::pair(reader(20.0, FIELD_HZ), parts, 0.01).unwrap();
    let switch = |at_s, on| Change::Field {
        at_s,
        reader: 0,
        on,
    };
    let plan = CircuitPlan {
        duration_s: 30e-3,
        changes: vec![switch(0.0, true), switch(10e-3, false), switch(15e-3, true)],
        loads: vec![LoadPlan::Clocked(vec![true, true, false, true, false])],
    };
    let track = run(&network, &plan).unwrap();
    let on = track.on_times(0);
    assert_eq!(on.len(), 2, "{on:?}");
    assert!(on[0][0] > 200e-6 && on[0][0] < 400e-6, "{on:?}");
    // Hold-up 1 ms after the field ends, seen at the next half bit.
    assert!(on[0][1] > 10.9e-3 && on[0][1] < 11.5e-3, "{on:?}");
    assert!(
        on[1][0] > 15.2e-3 && on[1][0] < 15.4e-3 && on[1][1] == 30e-3,
        "{on:?}"
    );
    parts.minimum_v = 1.01 * free_v;
    let weak = Network::pair(reader(20.0, FIELD_HZ), parts, 0.01).unwrap();
    let silent = run(&weak, &plan).unwrap();
    assert!(silent.on_times(0).is_empty() && silent.edges(0).is_empty());
}

/// The clock counts zero crossings of the sum of two fields: exactly 16 rising crossings of the tag's own voltage between
/// switchings, and the stronger field leads.
#[test]
fn the_clock_follows_the_sum_of_the_fields() {
    let mut second = reader(15.0, 130_000.0);
    second.frequency_hz = 131_000.0;
    for (level, want_hz) in [(0.3, FIELD_HZ), (3.0, 131_000.0)] {
        second.drive_v = 5.0 * level;
        let m = [[0.0, 0.0, 2e-5], [0.0, 0.0, 2e-5], [2e-5, 2e-5, 0.0]].map(Vec::from);
        let network = Network::new(
            vec![reader(15.0, FIELD_HZ), second],
            vec![tag(10.0, 132_500.0, 20_000.0)],
            &m,
        )
        .unwrap();
        let plan = CircuitPlan {
            duration_s: 12e-3,
            changes: vec![field_on(0, 0.0), field_on(1, 0.0)],
            loads: vec![LoadPlan::Clocked(vec![true, false])],
        };
        let track = run(&network, &plan).unwrap();
        let edges: Vec<f64> = track
            .edges(0)
            .iter()
            .map(|edge| edge.0)
            .filter(|&t| t > 1e-3)
            .collect();
        let cycles = 16.0 * (edges.len() - 1) as f64;
        let mean_hz = cycles / (edges[edges.len() - 1] - edges[0]);
        // The beat moves single edges by part of a cycle; over 11 ms that is some 10 Hz.
        let slack = 0.5 / 11e-3;
        assert!((mean_hz - want_hz).abs() < slack, "{level}: {mean_hz}");
        let step_s = 1.0 / FIELD_HZ / 64.0;
        let mut voltage = vec![0.0; (12e-3 / step_s) as usize];
        track.samples(&Probe::TagVoltage { tag: 0 }, 0.0, step_s, &mut voltage);
        let crossings = |from: f64, to: f64| {
            let span = &voltage[(from / step_s) as usize..(to / step_s) as usize];
            span.windows(2)
                .filter(|pair| pair[0] < 0.0 && pair[1] >= 0.0)
                .count() as f64
        };
        let counted = crossings(edges[0], edges[edges.len() - 1]);
        assert!(
            (counted - cycles).abs() <= 1.0,
            "{level}: {counted} {cycles}"
        );
    }
}

/// Moving a coil keeps flux through every coil: a dead short keeps its flux linkage through the jump, and a track made of small steps is
/// smooth.
#[test]
fn coils_may_move() {
    let at = |k| Network::pair(reader(20.0, FIELD_HZ), tag(30.0, FIELD_HZ, 2_000.0), k).unwrap();
    let mut changes = vec![field_on(0, 0.0)];
    for index in 0..20 {
        let at_s = 1e-3 + f64::from(index) * 1e-3;
        changes.push(Change::Moved {
            at_s,
            network: at(0.005 + 0.0005 * f64::from(index)),
        });
    }
    let plan = CircuitPlan {
        duration_s: 22e-3,
        changes,
        loads: vec![LoadPlan::Idle],
    };
    let track = run(&at(0.005), &plan).unwrap();
    let probe = Probe::TagVoltage { tag: 0 };
    let mut last = [Complex64::from(0.0)];
    track.phasors(&probe, FIELD_HZ, 21.9e-3, 1.0, &mut last);
    let want = settle(&at(0.0145), &[false]).phasor(&probe, 0);
    assert!(
        (last[0] - want).norm() < 1e-5 * want.norm(),
        "{} {want}",
        last[0]
    );
}

/// All-0 data at k 2e-3, Q 20/30, 100 Ω: sidebands at 130.006 and 138.394 kHz (derived). How strong they are depends on where in a cycle
/// of the carrier the load switches: (part of a cycle, dB below the carrier) by ngspice (tests/outside/check_spice.py), half of each loss in
/// driver and chip.
const SIDEBANDS: [(f64, f64, f64); 4] = [
    (0.0, -70.968, -71.022),
    (0.125, -70.827, -71.148),
    (0.25, -70.703, -71.265),
    (0.375, -70.842, -71.133),
];

/// Over the phase of switching the sidebands range from −70.97 to −70.70 and from −71.27 to −71.02 dB (with 1 kΩ 0.1 dB less). A converged
/// simulation elsewhere gave −70.3 and −70.9 dB for these k and Q, without saying how the losses are split, what is switched and when: 0.4
/// and 0.1 dB above these ranges, which is not explained.
#[test]
fn sidebands_of_all_zeros() {
    let mut split = tag(60.0, FIELD_HZ, 100.0);
    split.chip_ohm = 60.0 * 2.0 * PI * FIELD_HZ * split.inductance_h;
    let network = Network::pair(reader(20.0, FIELD_HZ), split, 2e-3).unwrap();
    let probe = Probe::AntennaVoltage { reader: 0 };
    let half_s = 16.0 / FIELD_HZ;
    for (phase, want_lower, want_upper) in SIDEBANDS {
        // The driver's voltage is a cosine from the moment the field is on, in both.
        let plan = CircuitPlan {
            duration_s: 200.0 * half_s,
            changes: vec![field_on(0, 0.0)],
            loads: vec![LoadPlan::Fixed(switchings(200, phase / FIELD_HZ))],
        };
        let track = run(&network, &plan).unwrap();
        let points = 512 * 50;
        let step_s = 100.0 * half_s / points as f64;
        let mut phasors = vec![Complex64::from(0.0); points];
        track.phasors(&probe, FIELD_HZ, 100.0 * half_s, step_s, &mut phasors);
        let line = |offset_hz: f64| {
            let turn = -2.0 * PI * offset_hz * step_s;
            let sum: Complex64 = phasors
                .iter()
                .enumerate()
                .map(|(i, a)| a * Complex64::cis(turn * i as f64))
                .sum();
            sum.norm()
        };
        let bit_hz = FIELD_HZ / 32.0;
        for (offset_hz, want) in [(-bit_hz, want_lower), (bit_hz, want_upper)] {
            let level_db = 20.0 * (line(offset_hz) / line(0.0)).log10();
            // The decks' steps are good to 0.5 % of the ripple, 0.04 dB.
            assert!(
                (level_db - want).abs() < 0.04,
                "{phase}, {offset_hz} Hz: {level_db} {want}"
            );
            // Nothing between the lines: half way the level is far lower.
            assert!(
                line(offset_hz / 2.0) < 0.01 * line(offset_hz),
                "{offset_hz}"
            );
        }
    }
}
