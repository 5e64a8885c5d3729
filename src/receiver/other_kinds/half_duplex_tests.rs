//! Answers written out in the test, in white noise: how many are read, how many bits are wrong, and that noise and foreign
//! answers never give a number.

use num_complex::{Complex32, Complex64};
use rand::rngs::ChaCha8Rng;
use rand::{Rng, SeedableRng};

use super::half_duplex::half_duplex;
use crate::receiver::front::cycles::Cycles;
use crate::receiver::front::edge::Edge;
use crate::telegram::{HALF_DUPLEX_BITS as BITS, HALF_DUPLEX_HEADER, Telegram};

const FIELD_HZ: f64 = 134_200.0;
const ODDS: f64 = 1e-5;

struct Random(ChaCha8Rng);

impl Random {
    fn new(seed: u64) -> Self {
        Self(ChaCha8Rng::seed_from_u64(seed))
    }

    fn uniform(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Complex, mean square 1 (Box and Muller).
    fn normal(&mut self) -> Complex64 {
        let size = (-(1.0 - self.uniform(0.0, 1.0)).ln()).sqrt();
        Complex64::from_polar(size, self.uniform(0.0, std::f64::consts::TAU))
    }
}

/// What is sent in the pause.
struct Sent {
    bits: [bool; BITS],
    tone_hz: [f64; 2],
    delay_s: f64,
    ebn0_db: f64,
}

impl Sent {
    fn random(random: &mut Random, ebn0_db: f64) -> Self {
        let code = random.0.next_u64();
        Self {
            bits: Telegram {
                code,
                trailer: (random.0.next_u64() >> 40) as u32,
            }
            .half_duplex_bits(),
            tone_hz: [
                134_200.0 + random.uniform(-2e3, 2e3),
                124_200.0 + random.uniform(-2e3, 2e3),
            ],
            delay_s: random.uniform(1e-3, 2e-3),
            ebn0_db,
        }
    }
}

/// A field that ends after 20 ms with an antenna of Q 42, a pause of 20 ms, the field again. The noise's mean square is 1 in
/// each value; a bit of either tone then has the energy A²·(mean length).
fn capture(random: &mut Random, sent: Option<&Sent>) -> Cycles {
    let count = |seconds: f64| (seconds * FIELD_HZ) as usize;
    let (on, off) = (count(0.02), count(0.02));
    let mut values: Vec<Complex64> = (0..2 * on + off)
        .map(|n| {
            let field = if n < on || n >= on + off {
                1e3
            } else {
                1e3 * (-((n - on) as f64) / 13.4).exp()
            };
            random.normal() + field
        })
        .collect();
    if let Some(sent) = sent {
        let length = |bit: bool| 16.0 * FIELD_HZ / sent.tone_hz[usize::from(bit)];
        let mean = 0.5 * (length(false) + length(true));
        let amplitude = (10f64.powf(0.1 * sent.ebn0_db) / mean).sqrt();
        let (mut bit, mut begin) = (0, on as f64 + sent.delay_s * FIELD_HZ);
        let phase = random.uniform(0.0, 1.0);
        for (n, value) in values.iter_mut().enumerate() {
            let at = n as f64 + 0.5;
            while bit < BITS && at >= begin + length(sent.bits[bit]) {
                begin += length(sent.bits[bit]);
                bit += 1;
            }
            if at < begin || bit == BITS {
                continue;
            }
            let cycles =
                sent.tone_hz[usize::from(sent.bits[bit])] / FIELD_HZ * (at - begin) + phase;
            // Values are seen from the field, which turns once a value.
            *value += amplitude * Complex64::cis(std::f64::consts::TAU * (cycles - at));
        }
    }
    Cycles {
        values: values
            .iter()
            .map(|v| Complex32::new(v.re as f32, v.im as f32))
            .collect(),
        first: 0,
        field_hz: FIELD_HZ,
        band_hz: 67_100.0,
        edge: Edge::ideal(),
        gaps: Vec::new(),
    }
}

fn code(bits: &[bool; BITS]) -> u64 {
    Telegram::from_half_duplex_bits(bits).unwrap().code
}

/// Numbers read and wrong among so many answers; bits and those decided wrongly in the answers read.
fn trial(ebn0_db: f64, answers: u64, seed: u64) -> (u64, u64, u64, u64) {
    let mut random = Random::new(seed);
    let (mut read, mut wrong, mut bits, mut errors) = (0, 0, 0, 0);
    for _ in 0..answers {
        let sent = Sent::random(&mut random, ebn0_db);
        let cycles = capture(&mut random, Some(&sent));
        for reading in half_duplex(&cycles, ODDS).0 {
            if reading.telegram.code == code(&sent.bits) {
                read += 1;
                bits += BITS as u64;
                errors += reading
                    .bits
                    .iter()
                    .zip(&sent.bits)
                    .filter(|(a, b)| a != b)
                    .count() as u64;
            } else {
                wrong += 1;
            }
        }
    }
    println!(
        "{ebn0_db} dB: {read} of {answers} read, {wrong} wrong; {errors} of {bits} bits wrong"
    );
    (read, wrong, bits, errors)
}

/// 300 answers at 10 dB: a true share of 99.7 % gives less than 297 once in 200.
#[test]
fn answers_at_10_db_are_read() {
    let (read, wrong, _, _) = trial(10.0, 300, 1);
    assert!(read >= 297 && wrong == 0, "{read} read, {wrong} wrong");
}

/// Bits decided one by one, begin and tones unknown, against ½·exp(−Eb/2N0) 1 dB lower (Proakis, Digital Communications, noncoherent
/// orthogonal FSK; these tones are nearly so). Errors of 300 answers are Poisson; four deviations are allowed.
#[test]
fn bit_errors_are_within_1_db_of_the_formula() {
    for (ebn0_db, seed) in [(10.0, 2), (11.0, 3)] {
        let (_, _, bits, errors) = trial(ebn0_db, 150, seed);
        let allowed = |db: f64| 0.5 * (-0.5 * 10f64.powf(0.1 * db)).exp() * bits as f64;
        let most = allowed(ebn0_db - 1.0);
        println!(
            "{errors} errors; the formula has {:.1}, 1 dB lower {most:.1}",
            allowed(ebn0_db)
        );
        assert!(
            (errors as f64) < most + 4.0 * most.sqrt(),
            "{ebn0_db} dB: {errors} of {bits}"
        );
    }
}

#[test]
fn noise_in_pauses_gives_no_number() {
    let mut random = Random::new(4);
    let mut unread = 0;
    for trial in 0..2000 {
        let (readings, answers) = half_duplex(&capture(&mut random, None), ODDS);
        assert!(readings.is_empty(), "{trial}: {readings:?}");
        unread += u32::from(answers.is_some());
    }
    // An answer is claimed where noise looks like one with less than 1e-5: none is expected in 2000.
    assert_eq!(unread, 0);
}

/// FSK of random bits, with the right header or without: it fits no CRC but by one chance in 65 536 a begin.
#[test]
fn foreign_answers_give_no_number() {
    for (ebn0_db, header) in [(12.0, true), (12.0, false), (20.0, true), (20.0, false)] {
        let mut random = Random::new(5 + header as u64);
        for trial in 0..60 {
            let mut sent = Sent::random(&mut random, ebn0_db);
            sent.bits = std::array::from_fn(|k| match HALF_DUPLEX_HEADER.get(k) {
                Some(&bit) if header => bit,
                _ => random.0.next_u64() & 1 == 1,
            });
            let (readings, _) = half_duplex(&capture(&mut random, Some(&sent)), ODDS);
            assert!(
                readings.is_empty(),
                "{ebn0_db} dB, header {header}, {trial}: {readings:?}"
            );
        }
    }
}

/// A steady tone in the pause, at the field's frequency or near it, is no answer.
#[test]
fn a_steady_tone_gives_no_number() {
    let mut random = Random::new(6);
    for offset_hz in [0.0, 60.0, -700.0, -10_000.0] {
        let mut cycles = capture(&mut random, None);
        for (n, value) in cycles.values.iter_mut().enumerate() {
            let turns = offset_hz / FIELD_HZ * n as f64;
            let tone = Complex64::cis(std::f64::consts::TAU * turns) * 20.0;
            *value += Complex32::new(tone.re as f32, tone.im as f32);
        }
        assert!(half_duplex(&cycles, ODDS).0.is_empty(), "{offset_hz}");
    }
}

/// `spare_db` counts from where half of all answers are read: 1 dB below it fewer than half are, 1 dB above more. Of 60 answers
/// of a share of one half, 40 or more (20 or fewer) come once in a hundred.
#[test]
fn half_of_all_answers_are_read_at_the_level_spare_db_counts_from() {
    let (below, ..) = trial(super::half_duplex::NEEDED_DB.0 - 1.0, 60, 7);
    let (above, ..) = trial(super::half_duplex::NEEDED_DB.0 + 1.0, 60, 8);
    assert!(below <= 20 && above >= 40, "{below} and {above} of 60");
}
