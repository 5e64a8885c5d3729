//! The receiver for streams, as a library's user has it: samples in, events out. The signal is written out here.

use std::f64::consts::TAU;

use fieldripple::decode::{Event, Live, Settings, Summary, decode_samples};
use fieldripple::linecode::{inverts, load_states};
use fieldripple::telegram::{Identity, Telegram};

const RATE_HZ: f64 = 400e3;
const FIELD_HZ: f64 = 134_190.0;

/// A tag that is there for a stretch of seconds.
struct Pass {
    national: u64,
    from_s: f64,
    to_s: f64,
    /// Place in its telegram at time 0, cycles.
    start: f64,
    depth: f64,
}

/// Samples of a field of 1 that is on in `on`, its load switched by the tags; uniform noise of ±0.05.
fn record(seconds: f64, on: &[(f64, f64)], passes: &[Pass]) -> Vec<f32> {
    let tags: Vec<(Vec<i8>, bool)> = passes
        .iter()
        .map(|pass| {
            let identity = Identity::new(999, pass.national).unwrap();
            let bits = Telegram::new(identity.code()).bits();
            (load_states(&bits, 1), inverts(&bits))
        })
        .collect();
    let mut state = 12_345_u64;
    let mut noise = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        0.1 * ((state >> 40) as f64 / (1u64 << 24) as f64 - 0.5)
    };
    (0..(seconds * RATE_HZ) as usize)
        .map(|index| {
            let time_s = index as f64 / RATE_HZ;
            let cycles = FIELD_HZ * time_s;
            let mut level = 1.0;
            for (pass, (states, inverts)) in passes.iter().zip(&tags) {
                if time_s >= pass.from_s && time_s < pass.to_s {
                    let half = ((cycles + pass.start) / 16.0) as usize;
                    let odd = (half / states.len()) % 2 == 1;
                    let sign = if odd && *inverts { -1.0 } else { 1.0 };
                    level += pass.depth * sign * f64::from(states[half % states.len()]);
                }
            }
            let there = on.iter().any(|on| time_s >= on.0 && time_s < on.1);
            let field = if there {
                level * (TAU * cycles).cos()
            } else {
                0.0
            };
            (field + noise()) as f32
        })
        .collect()
}

fn events(samples: &[f32], block: usize) -> (Vec<Event>, Summary) {
    let mut live = Live::new(RATE_HZ, &Settings::new()).unwrap();
    let mut all: Vec<Event> = Vec::new();
    for block in samples.chunks(block) {
        all.extend(live.push(block));
    }
    let (last, summary) = live.finish();
    all.extend(last);
    (all, summary)
}

fn lines(events: &[Event]) -> Vec<String> {
    let line = |event: &Event| serde_json::to_string(event).unwrap();
    events.iter().map(line).collect()
}

/// Two tags one after the other in a whole record: neither may pass for tones that the other's telegrams have none of.
#[test]
fn tags_in_turn_are_read_in_one_piece() {
    for seconds in [0.7, 0.9] {
        let passes =
            [(73, 0.0, 0.47, 811.0), (74, 0.53, 1.0, 3050.0)].map(|(national, from, to, start)| {
                Pass {
                    national,
                    from_s: from * seconds,
                    to_s: to * seconds,
                    start,
                    depth: 0.01,
                }
            });
        let samples = record(seconds, &[(0.0, 1.0)], &passes);
        let decoded = decode_samples(&samples, RATE_HZ, &Settings::new()).unwrap();
        let mut read: Vec<u64> = decoded.identities().iter().map(|i| i.national).collect();
        read.sort_unstable();
        assert_eq!(read, [73, 74], "{seconds} s");
    }
}

/// Two tags one after the other, and a field that goes off: each is told once, where it was.
#[test]
fn what_happens_is_told_once_and_in_its_place() {
    let passes = [(71, 0.6, 1.7, 300.0), (72, 2.0, 3.1, 2900.0)];
    let passes = passes.map(|(national, from_s, to_s, start)| Pass {
        national,
        from_s,
        to_s,
        start,
        depth: 0.01,
    });
    let samples = record(5.0, &[(0.0, 3.6), (4.3, 9.0)], &passes);
    let (events, summary) = events(&samples, 10_000);
    let mut told = Vec::new();
    let mut field = Vec::new();
    let mut states = 0;
    for event in &events {
        match event {
            Event::VisitEnded(visit) => {
                told.push((visit.identity.national, visit.from_s, visit.to_s))
            }
            Event::FieldThere { time_s, .. } | Event::FieldGone { time_s } => field.push(*time_s),
            Event::FindingRaised { finding, .. } => assert_eq!(finding.code, "no-ripple"),
            Event::State(_) => states += 1,
            _ => {}
        }
    }
    assert_eq!(told.len(), 2, "{told:?}");
    for (pass, (national, from_s, to_s)) in passes.iter().zip(&told) {
        assert_eq!(*national, pass.national);
        // Blocks of a quarter telegram, 7.6 ms, on either side.
        let near = |a: f64, b: f64| (a - b).abs() < 0.016;
        assert!(
            near(*from_s, pass.from_s) && near(*to_s, pass.to_s),
            "{told:?}"
        );
    }
    // The front's reach and the antenna's ring-down are a few milliseconds.
    let due = [0.0, 3.6, 4.3];
    assert!(
        field.len() == 3 && field.iter().zip(due).all(|(a, b)| (a - b).abs() < 0.01),
        "{field:?}"
    );
    // 25 glances, and 5 close looks; nothing is left for a last one.
    assert_eq!(states, 30);
    assert!(summary.is_read() && summary.visits == 2, "{summary:?}");
    assert_eq!(summary.samples, 2_000_000);
}

/// 6 s hold 8 dB more than a second: 5 dB below what that is read at there are 3 to spare.
#[test]
fn what_is_too_weak_for_a_second_adds_up() {
    let pass = Pass {
        national: 77,
        from_s: 0.0,
        to_s: 6.0,
        start: 1000.0,
        depth: 0.0011,
    };
    let samples = record(6.0, &[(0.0, 6.0)], &[pass]);
    for second in samples.chunks(RATE_HZ as usize) {
        let decoded = decode_samples(second, RATE_HZ, &Settings::new()).unwrap();
        assert!(!decoded.is_read());
    }
    let (events, summary) = events(&samples, 10_000);
    let number = Identity::new(999, 77).unwrap();
    assert_eq!(summary.numbers, [(number, 1)]);
    let visits: Vec<_> = (events.iter())
        .filter_map(|event| match event {
            Event::VisitEnded(visit) => Some(visit),
            _ => None,
        })
        .collect();
    assert_eq!(visits.len(), 1);
    assert_eq!(visits[0].identity, number);
    // What read it is as long as its stay is told to be: two of the six seconds at least.
    assert!(visits[0].from_s < 4.0 && visits[0].to_s > 5.9);
    let numbers = events.iter().filter_map(|event| match event {
        Event::NumberRead(read) => Some(read.identity),
        _ => None,
    });
    assert!(numbers.clone().count() > 0 && numbers.clone().all(|read| read == number));
    // Seconds are too weak by themselves, which is no reason for anything once the number is read.
    let is_read = |event: &Event| matches!(event, Event::NumberRead(_));
    let mut later = events.iter().skip_while(|event| !is_read(event));
    assert!(!later.any(|event| matches!(event, Event::FindingRaised { .. })));
}

#[test]
fn blocks_of_any_size_give_the_same() {
    let pass = Pass {
        national: 9,
        from_s: 0.3,
        to_s: 1.1,
        start: 0.0,
        depth: 0.01,
    };
    let samples = record(1.6, &[(0.0, 9.0)], &[pass]);
    let whole = lines(&events(&samples, samples.len()).0);
    assert!(
        whole.iter().any(|line| line.contains("number-read")),
        "{whole:?}"
    );
    assert_eq!(whole, lines(&events(&samples, 777).0));
}

#[test]
fn noise_is_no_number_and_no_field() {
    let (events, summary) = events(&record(2.0, &[], &[]), 50_000);
    let quiet = |event: &Event| match event {
        Event::State(state) => !state.field && state.margin_db.is_none(),
        Event::FindingRaised { finding, .. } => finding.code == "no-field",
        _ => false,
    };
    assert!(events.iter().all(quiet), "{events:?}");
    assert!(!summary.is_read() && summary.field_s == 0.0);
}

#[test]
fn rates_that_carry_nothing_are_refused() {
    for rate_hz in [0.0, -1.0, f64::NAN, f64::INFINITY, 999.0] {
        let refused = Live::new(rate_hz, &Settings::new())
            .err()
            .unwrap()
            .to_string();
        assert!(refused.contains("1000 Hz"), "{refused}");
    }
    // No samples at all are no error.
    let (events, summary) = Live::new(1e6, &Settings::new()).unwrap().finish();
    assert!(events.is_empty() && !summary.is_read());
}

/// A sample that is none (a broken link may send one) counts as 0, and the stream goes on.
#[test]
fn samples_that_are_not_finite_do_no_harm() {
    let pass = Pass {
        national: 9,
        from_s: 0.0,
        to_s: 9.0,
        start: 0.0,
        depth: 0.01,
    };
    let mut samples = record(0.6, &[(0.0, 9.0)], &[pass]);
    samples[100_000] = f32::NAN;
    samples[100_001] = f32::INFINITY;
    assert!(events(&samples, 5000).1.is_read());
}
