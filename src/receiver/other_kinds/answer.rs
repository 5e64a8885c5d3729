//! One pause of the field → the half-duplex answer in it: where it begins, its tones and levels, and its bits with their odds.

use num_complex::Complex32;

use super::bit_path::{Levels, Place};
use super::levels::{levels_of, unsteadiness};
use super::tone::ToneSums;
use crate::telegram::{HALF_DUPLEX_BITS as BITS, HALF_DUPLEX_HEADER as HEADER};

/// Nominal tones of a 0 and of a 1, Hz (the encyclopedia's article "ISO 11784 and ISO 11785").
const NOMINAL_HZ: [f64; 2] = [134_200.0, 124_200.0];

/// Real tags' tones are off by a kilohertz or two (from memory); a little beyond.
const WIDEST_OFF_HZ: f64 = 2_250.0;

/// Tones tried at first: at most 560 Hz off, where a bit loses 2 % of its energy (sinc² of 0.07 cycles).
const FIRST_STEP_HZ: f64 = 1_125.0;

/// Answers begin 1 to 2 ms after the field's end, some with up to sixteen 0s, 1.9 ms, before the header (from memory); the end is known
/// to 0.1 ms, and what rings on is over by then.
const EARLIEST_S: f64 = 0.5e-3;
/// See [`EARLIEST_S`].
const LATEST_S: f64 = 4.2e-3;

/// Values between begins tried at first: an eighth of a bit at most is lost at either end.
const FIRST_STEP: f64 = 2.0;

/// Headers that are followed up: the data may hold the same eight bits, and shifted ones that look alike.
const FOLLOWED: usize = 12;

/// Of these as many go on after the first steps, and as many to the end.
const GO_ON: [usize; 2] = [4, 2];

/// Steps of begin (values) and tones (Hz) in which the likelihood of the first so many bits is climbed: tones that are off shift late
/// bits against the values before they cost early ones anything. Over 112 bits 20 Hz are 2 % of a bit.
const FIRST_CLIMB: [(usize, f64, f64); 3] = [(20, 2.0, 700.0), (28, 1.0, 350.0), (40, 1.0, 200.0)];
/// See [`FIRST_CLIMB`].
const SECOND_CLIMB: [(usize, f64, f64); 2] = [(72, 1.0, 120.0), (BITS, 0.5, 60.0)];
/// See [`FIRST_CLIMB`].
const LAST_CLIMB: [(usize, f64, f64); 3] =
    [(BITS, 0.5, 60.0), (BITS, 0.5, 30.0), (BITS, 0.25, 15.0)];

/// Share of the values' power that goes with the header's tones rather than the other ones. The best place in a pause has (400
/// pauses each): of noise 0.18 half of the time, of answers of Eb/N0 = 8 dB more than 0.19 in all but one.
const LEAST_SHARE: f64 = 0.19;

/// ln 2^104: the likeliest of that many answers is taken.
const ANY_BITS: f64 = (BITS - HEADER.len()) as f64 * std::f64::consts::LN_2;

/// What one pause holds.
#[derive(Clone, Debug)]
pub struct Answer {
    /// ln P(1)/P(0) of the 112 bits.
    pub soft: [f64; BITS],
    /// Logarithm of how much likelier this answer is than noise alone.
    pub score: f64,
    /// How much likelier begins some bits beside this one are, all together, as a ratio; the header tells them apart.
    pub rivals: f64,
    /// Tones of a 0 and of a 1, Hz.
    pub tone_hz: [f64; 2],
    /// First value.
    pub begin: f64,
    /// Length, values.
    pub length: f64,
    /// Energy of a bit over the noise density, mean over the answer.
    pub ebn0: f64,
    /// Mean amplitude.
    pub amplitude: f64,
    /// See [`unsteadiness`].
    pub unsteadiness: f64,
}

struct Hypothesis {
    begin: f64,
    tone_hz: [f64; 2],
    score: f64,
    /// Bits from the beginning on as far as they were looked at.
    bits: Vec<bool>,
}

/// Looks for an answer in the values of a pause. `full_share` is the share of the values' bandwidth that the front end's filter
/// leaves: noise is that much weaker in a value than its density says.
pub fn answer(values: &[Complex32], field_hz: f64, full_share: f64) -> Option<Answer> {
    let climbed = |from: Vec<Hypothesis>, steps: &[(usize, f64, f64)]| -> Vec<Hypothesis> {
        let mut all: Vec<Hypothesis> = from
            .into_iter()
            .filter_map(|start| climb(values, field_hz, full_share, start, steps))
            .collect();
        all.sort_by(|a, b| b.score.total_cmp(&a.score));
        all
    };
    let mut left = climbed(headers(values, field_hz), &FIRST_CLIMB);
    // Noise stops here: the bits beyond the header, any of 2^104, must be worth more than their choice.
    left.retain(|hypothesis| hypothesis.score > ANY_BITS);
    left.truncate(GO_ON[0]);
    left = climbed(left, &SECOND_CLIMB);
    left.truncate(GO_ON[1]);
    let best = climbed(left, &LAST_CLIMB).into_iter().next()?;
    let tones = best.tone_hz.map(|hz| ToneSums::new(values, hz, field_hz));
    let mut place = Place {
        begin: best.begin,
        tones: [&tones[0], &tones[1]],
    };
    let mut levels = levels_of(values, &place, &best.bits, full_share)?;
    let mut rivals = 0.0;
    // Begin, levels and bits settle after a round or two.
    for _ in 0..3 {
        let (begin, beside) = best_shift(place, &levels, EARLIEST_S * field_hz);
        (place.begin, rivals) = (begin, beside);
        let bits = place.best(&levels, BITS).1;
        levels = levels_of(values, &place, &bits, full_share)?;
    }
    let (score, bits) = place.best(&levels, BITS);
    let ones = bits.iter().filter(|&&bit| bit).count();
    let share = ones as f64 / BITS as f64;
    let power = |bit: usize| levels.amplitude[bit].powi(2);
    let energy = |bit: usize| power(bit) * tones[bit].length / levels.noise;
    Some(Answer {
        soft: place.soft(&levels),
        score: score - ANY_BITS,
        tone_hz: best.tone_hz,
        rivals,
        begin: place.begin,
        length: place.begin_of(BITS, ones) - place.begin,
        ebn0: share * energy(1) + (1.0 - share) * energy(0),
        amplitude: (share * power(1) + (1.0 - share) * power(0)).sqrt(),
        unsteadiness: unsteadiness(&place, &bits, &levels),
    })
}

/// Bits beside the best begin that are tried.
const SHIFTS: i32 = 4;

/// The likeliest begin among those some bits beside this one, and how likely all others are against it.
fn best_shift(place: Place<'_>, levels: &Levels, earliest: f64) -> (f64, f64) {
    let scores: Vec<(f64, f64)> = (-SHIFTS..=SHIFTS)
        .map(|shift| {
            // The header's 0 and then its 1s.
            let ones = (shift.abs() - 1).max(0);
            let zeros = shift.abs() - ones;
            let size =
                f64::from(zeros) * place.tones[0].length + f64::from(ones) * place.tones[1].length;
            place.begin + f64::from(shift.signum()) * size
        })
        .filter(|&begin| begin >= earliest)
        .map(|begin| (begin, Place { begin, ..place }.best(levels, BITS).0))
        .collect();
    let best = scores
        .iter()
        .copied()
        .fold((place.begin, f64::NEG_INFINITY), |best, this| {
            if this.1 > best.1 { this } else { best }
        });
    let others = scores.iter().filter(|(begin, _)| *begin != best.0);
    (
        best.0,
        others.map(|(_, score)| (score - best.1).exp()).sum(),
    )
}

/// The likeliest headers, in places apart from each other.
fn headers(values: &[Complex32], field_hz: f64) -> Vec<Hypothesis> {
    let values = &limited(values);
    let steps = (WIDEST_OFF_HZ / FIRST_STEP_HZ).round() as i32;
    let grid = |nominal_hz: f64| -> Vec<ToneSums> {
        (-steps..=steps)
            .map(|k| ToneSums::new(values, nominal_hz + f64::from(k) * FIRST_STEP_HZ, field_hz))
            .collect()
    };
    let tones = NOMINAL_HZ.map(grid);
    let mut power = vec![0.0];
    for value in values {
        power.push(power[power.len() - 1] + f64::from(value.norm_sqr()));
    }
    let mut found: Vec<Hypothesis> = Vec::new();
    let mut begin = EARLIEST_S * field_hz;
    while begin < LATEST_S * field_hz {
        let mut best: Option<Hypothesis> = None;
        for zero in &tones[0] {
            for one in &tones[1] {
                let place = Place {
                    begin,
                    tones: [zero, one],
                };
                if let Some(score) = header_share(&place, &power)
                    && score > best.as_ref().map_or(LEAST_SHARE, |best| best.score)
                {
                    best = Some(Hypothesis {
                        begin,
                        tone_hz: [zero.hz, one.hz],
                        score,
                        bits: HEADER.to_vec(),
                    });
                }
            }
        }
        found.extend(best);
        begin += FIRST_STEP;
    }
    found.sort_by(|a, b| b.score.total_cmp(&a.score));
    let half_bit = 0.5 * tones[0][0].length;
    let mut apart: Vec<Hypothesis> = Vec::new();
    for hypothesis in found {
        if apart.len() < FOLLOWED
            && apart
                .iter()
                .all(|other| (other.begin - hypothesis.begin).abs() > half_bit)
        {
            apart.push(hypothesis);
        }
    }
    apart
}

/// The values with none larger than twice the median: an antenna that still rings would outweigh the header.
fn limited(values: &[Complex32]) -> Vec<Complex32> {
    let mut sizes: Vec<f32> = values.iter().map(|value| value.norm()).collect();
    let middle = sizes.len() / 2;
    let most = 2.0 * *sizes.select_nth_unstable_by(middle, f32::total_cmp).1;
    values
        .iter()
        .map(|&value| {
            let size = value.norm();
            if size > most {
                value * (most / size)
            } else {
                value
            }
        })
        .collect()
}

/// How much more of the power goes with the header's bits than with their opposites, as a share of all of it.
fn header_share(place: &Place<'_>, power: &[f64]) -> Option<f64> {
    let (mut ones, mut gain) = (0, 0.0);
    for (index, bit) in HEADER.into_iter().enumerate() {
        let from = place.begin_of(index, ones);
        let share = |bit: bool| {
            let tone = place.tones[usize::from(bit)];
            Some(tone.energy(from)? / tone.length)
        };
        gain += share(bit)? - share(!bit)?;
        ones += usize::from(bit);
    }
    let end = place.begin_of(HEADER.len(), ones) as usize;
    let all = power.get(end)? - power[place.begin as usize];
    (all > 0.0).then_some(gain / all)
}

/// Moves begin and tones to where the whole answer is likeliest.
fn climb(
    values: &[Complex32],
    field_hz: f64,
    full_share: f64,
    start: Hypothesis,
    steps: &[(usize, f64, f64)],
) -> Option<Hypothesis> {
    let mut here = Hypothesis {
        bits: Vec::new(),
        ..start
    };
    let mut tones = here.tone_hz.map(|hz| ToneSums::new(values, hz, field_hz));
    let mut known = start.bits;
    for &(count, step, step_hz) in steps {
        let place = Place {
            begin: here.begin,
            tones: [&tones[0], &tones[1]],
        };
        let levels = levels_of(values, &place, &known, full_share)?;
        let (score, bits) = place.best(&levels, count);
        here.score = score;
        known = bits;
        // A few rounds of one step each; the next finer step goes on from there.
        for _ in 0..4 {
            let before = here.score;
            for way in [-1.0, 1.0] {
                let begin = here.begin + way * step;
                if begin >= EARLIEST_S * field_hz {
                    let score = Place {
                        begin,
                        tones: [&tones[0], &tones[1]],
                    }
                    .best(&levels, count)
                    .0;
                    if score > here.score {
                        (here.begin, here.score) = (begin, score);
                    }
                }
            }
            for bit in 0..2 {
                for way in [-1.0, 1.0] {
                    let hz = here.tone_hz[bit] + way * step_hz;
                    if (hz - NOMINAL_HZ[bit]).abs() > WIDEST_OFF_HZ {
                        continue;
                    }
                    let moved = ToneSums::new(values, hz, field_hz);
                    let mut both = [&tones[0], &tones[1]];
                    both[bit] = &moved;
                    let score = Place {
                        begin: here.begin,
                        tones: both,
                    }
                    .best(&levels, count)
                    .0;
                    if score > here.score {
                        (here.tone_hz[bit], here.score) = (hz, score);
                        tones[bit] = moved;
                    }
                }
            }
            if here.score <= before {
                break;
            }
        }
    }
    // Compared with others by the whole answer: a begin too late or too early has less of it.
    let place = Place {
        begin: here.begin,
        tones: [&tones[0], &tones[1]],
    };
    let levels = levels_of(values, &place, &known, full_share)?;
    (here.score, here.bits) = place.best(&levels, BITS);
    Some(here)
}
