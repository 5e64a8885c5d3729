//! Places where the record was interrupted and the field was not: samples that were dropped, buffers that were lost.
//!
//! Behind dropped samples the phase of a steady field has jumped, from one sample to the next and with the level as it was.
//! What else moves the phase does it otherwise: a field that hops or drifts changes its frequency and not its phase; a reader's
//! pause takes the level down and the antenna needs many cycles for that and for coming back; two fields of like strength
//! beat, and their level falls to nothing around every jump; a tag that restarts, or a second one, leaves the field where it
//! is. Buffers that were filled up show in the samples themselves (`holes.rs`).

use num_complex::{Complex32, Complex64};

use super::holes::holes;
use super::track::{block_means, phase_advance};
use crate::receiver::dsp::phasor::{Oscillator, single, size, wide};
use crate::receiver::front::cycles::{Cycles, Tuning};
use crate::receiver::front::gap::{Gap, GapKind};
use crate::receiver::signal::Samples;

/// Cycles averaged on either side in the search for jumps: a bit, over which the ripple of a 0 is nil.
const SIDE: usize = 32;
/// Cycles taken on either side for measuring one: sixteen bits.
const FIT: usize = 512;
/// … and the fewest.
const LEAST_FIT: usize = 96;
/// Cycles added to the front end's reach on either side of an interruption.
const GUARD: usize = 3;

/// Least jump, radians: a 25th of a cycle. Ripple of a few per cent moves the mean of a bit by a tenth of a radian.
const LEAST_JUMP: f64 = 0.25;
/// What is as large as the largest departure but for this share belongs to the same jump.
const ALMOST: f64 = 0.97;
/// See [`LEAST_JUMP`]; in standard deviations of the difference of two means.
const LEAST_DEVIATIONS: f64 = 8.0;
/// Largest change of level across a jump.
const LEVEL_RATIO: f64 = 1.15;
/// Level of the sides against the capture's upper one.
const LEAST_LEVEL: f64 = 0.5;
/// Largest scatter of the sides about a steady field, rms against it; two fields of like strength scatter by more.
const LARGEST_SCATTER: f64 = 0.3;
/// Right beside a jump the field is as steady as further away, but for this share.
const AS_STEADY: f64 = 1.6;
/// See [`AS_STEADY`]; ripple comes and goes.
const RIPPLE: f64 = 0.03;
/// Cycles right beside a jump.
const BESIDE: usize = 24;

/// Jumps a second beyond which it is not the record that is interrupted.
const MOST_A_SECOND: f64 = 100.0;

/// Finds interruptions, puts the field in their place, and turns what follows so that the field's phase goes on.
pub fn mend(cycles: &mut Cycles, samples: Samples<'_>, tuning: &Tuning) {
    if cycles.values.len() < 4 * LEAST_FIT {
        return;
    }
    let reach = cycles.edge.reach().ceil() as usize + GUARD;
    let step = tuning.rate_hz / tuning.field_hz;
    let index = |sample: usize| {
        let cycle = (sample as f64 / step).floor() as usize;
        cycle.saturating_sub(cycles.first).min(cycles.values.len())
    };
    let filled: Vec<Gap> = holes(samples, tuning.rate_hz, tuning.field_hz)
        .iter()
        .map(|hole| Gap {
            from: index(hole.samples.start).saturating_sub(reach),
            to: (index(hole.samples.end) + reach + 1).min(cycles.values.len()),
            kind: if hole.repeated {
                GapKind::Repeated
            } else {
                GapKind::Held
            },
            jump_cycles: 0.0,
            filled_s: hole.samples.len() as f64 / tuning.rate_hz,
        })
        .collect();
    let mut upper = None;
    if !filled.is_empty() {
        upper = Some(upper_level(&cycles.values));
    }
    let mut gaps = Vec::new();
    for gap in filled {
        let before = gaps.last().map_or(0, |last: &Gap| last.to);
        let Some(sides) = Sides::of(&cycles.values, before, gap.from, gap.to) else {
            continue;
        };
        if upper.is_some_and(|upper| sides.are_a_field(upper)) {
            gaps.push(sides.mend(&mut cycles.values, gap));
        }
    }
    let most = (MOST_A_SECOND * cycles.values.len() as f64 / cycles.field_hz).max(2.0);
    let places = places(&cycles.values, reach);
    if !places.is_empty() && places.len() as f64 <= most {
        let upper = upper.unwrap_or_else(|| upper_level(&cycles.values));
        let mut dropped: Vec<Gap> = Vec::new();
        for place in places {
            let before = dropped.last().map_or(0, |last| last.to);
            let (from, to) = (place.saturating_sub(reach), place + reach + 1);
            let beyond = gaps.iter().all(|gap| to < gap.from || from > gap.to);
            let Some(sides) = Sides::of(&cycles.values, before, from, to).filter(|_| beyond) else {
                continue;
            };
            if sides.are_a_field(upper) && sides.jump() && sides.are_steady_at_once() {
                let gap = Gap {
                    from,
                    to,
                    kind: GapKind::Dropped,
                    jump_cycles: 0.0,
                    filled_s: 0.0,
                };
                dropped.push(sides.mend(&mut cycles.values, gap));
            }
        }
        gaps.append(&mut dropped);
    }
    gaps.sort_by_key(|gap| gap.from);
    cycles.gaps = gaps;
}

/// Level that nine in ten values stay below.
fn upper_level(values: &[Complex32]) -> f64 {
    let mut sizes: Vec<f32> = values.iter().map(|v| size(*v)).collect();
    let place = (sizes.len() - 1) * 9 / 10;
    f64::from(*sizes.select_nth_unstable_by(place, f32::total_cmp).1)
}

/// Values at which the phase of the mean before and of the mean after differ, most where they differ most.
fn places(values: &[Complex32], reach: usize) -> Vec<usize> {
    let far = SIDE + reach;
    let departures = Departures::of(values, reach);
    let mut found: Vec<(usize, f64)> = Vec::new();
    for &(n, now) in departures.0.iter().filter(|(_, now)| *now >= LEAST_JUMP) {
        match found.last_mut() {
            Some(last) if n - last.0 <= far => {
                if now > last.1 {
                    *last = (n, now);
                }
            }
            _ => found.push((n, now)),
        }
    }
    // The largest departure lasts as long as both sides are clear of the jump; its middle is the jump.
    found
        .into_iter()
        .map(|(n, most)| departures.middle(n, ALMOST * most) + far)
        .collect()
}

/// By how much the phase turns at each value, radians, against what it does all the time: those that may count, in their order.
struct Departures(Vec<(usize, f64)>);

impl Departures {
    fn of(values: &[Complex32], reach: usize) -> Self {
        let far = SIDE + reach;
        if values.len() < 4 * far {
            return Self(Vec::new());
        }
        let count = values.len() - 2 * far;
        // What the field does all the time is not a jump: its offset and its drift show on both sides as well.
        let beside = 2 * far;
        // Fresh memory costs more than what is done with it, so that only what is in use is kept.
        let mut running = Recent::of(2 * far + 1);
        let mut units = Recent::of(2 * beside + 1);
        let mut found = Vec::new();
        let (mut first, mut last) = (Complex64::default(), Complex64::default());
        let mut take = |n: usize, units: &Recent, left: Complex64, right: Complex64| {
            let now = departure(units.get(n), left + right);
            if now > 0.0 {
                found.push((n, now));
            }
        };
        let mut total = Complex64::default();
        running.push(total);
        for (n, &value) in values.iter().enumerate() {
            total += wide(value);
            running.push(total);
            let Some(middle) = (n + 1).checked_sub(2 * far) else {
                continue;
            };
            if middle == count {
                break;
            }
            let at = |cycles: usize| running.get(middle + cycles);
            let before = at(SIDE) - at(0);
            let after = at(2 * far) - at(far + reach);
            let product = after * before.conj();
            last = product / product.norm_sqr().sqrt().max(f64::MIN_POSITIVE);
            if middle == 0 {
                first = last;
            }
            units.push(last);
            if let Some(centre) = middle.checked_sub(beside) {
                let left = centre.checked_sub(beside);
                take(
                    centre,
                    &units,
                    left.map_or(first, |left| units.get(left)),
                    last,
                );
            }
        }
        for centre in count.saturating_sub(beside)..count {
            let left = centre.checked_sub(beside);
            take(
                centre,
                &units,
                left.map_or(first, |left| units.get(left)),
                last,
            );
        }
        Self(found)
    }

    /// The middle of the values around one that depart by more than so much.
    fn middle(&self, n: usize, least: f64) -> usize {
        let (before, behind) = self.0.split_at(self.0.partition_point(|one| one.0 < n));
        let (mut first, mut last) = (n, n);
        for &(at, now) in before.iter().rev() {
            if at + 1 < first || now <= least {
                break;
            }
            first = at;
        }
        for &(at, now) in behind {
            if at > last + 1 || now <= least {
                break;
            }
            last = at;
        }
        usize::midpoint(first, last)
    }
}

/// By how much a phase departs from the usual one, given as a sum of two; 0 where it does hardly.
fn departure(unit: Complex64, usual: Complex64) -> f64 {
    // Where a jump lies just beside, the two have nothing in common.
    if usual.norm_sqr() < 1.0 {
        return 0.0;
    }
    let turned = unit * usual.conj();
    // Most are far below what counts: their angle, which is less than its tangent, is not needed.
    if turned.im.abs() < ALMOST * LEAST_JUMP * turned.re {
        return 0.0;
    }
    turned.arg().abs()
}

/// The last few of a row of values.
struct Recent {
    values: Vec<Complex64>,
    count: usize,
}

impl Recent {
    /// Of at least so many.
    fn of(least: usize) -> Self {
        Self {
            values: vec![Complex64::default(); least.next_power_of_two()],
            count: 0,
        }
    }

    fn push(&mut self, value: Complex64) {
        let place = self.count & (self.values.len() - 1);
        self.values[place] = value;
        self.count += 1;
    }

    /// By its number in the row.
    fn get(&self, number: usize) -> Complex64 {
        debug_assert!(number < self.count && number + self.values.len() >= self.count);
        self.values[number & (self.values.len() - 1)]
    }
}

/// The field on either side of an interruption, on one frequency.
struct Sides {
    /// Phase per value, radians.
    slope: f64,
    /// The field at value 0, as either side continues there.
    phasors: [Complex64; 2],
    /// Values taken of each.
    counts: [usize; 2],
    /// Scatter about the field, rms against it, of all of each side.
    scatter: [f64; 2],
    /// … and right beside the interruption.
    beside: [f64; 2],
}

impl Sides {
    fn of(values: &[Complex32], least: usize, from: usize, to: usize) -> Option<Self> {
        let spans = [
            from.saturating_sub(FIT).max(least)..from,
            to..(to + FIT).min(values.len()),
        ];
        if spans.iter().any(|span| span.len() < LEAST_FIT) {
            return None;
        }
        let slopes = spans
            .clone()
            .map(|span| phase_advance(&block_means(&values[span], 8)) / 8.0);
        let slope = 0.5 * (slopes[0] + slopes[1]);
        let (mut phasors, mut counts) = ([Complex64::default(); 2], [0; 2]);
        let (mut scatter, mut beside) = ([0.0; 2], [0.0; 2]);
        for (side, span) in spans.into_iter().enumerate() {
            let oscillator = Oscillator::new(-slope / std::f64::consts::TAU);
            let mut turned = values[span.clone()].to_vec();
            oscillator.turn(&mut turned, Complex64::cis(-slope * span.start as f64));
            let mean = turned.iter().map(|&v| wide(v)).sum::<Complex64>() / turned.len() as f64;
            let off = |some: &[Complex32]| {
                let square: f64 = some.iter().map(|&v| (wide(v) - mean).norm_sqr()).sum();
                (square / some.len() as f64).sqrt() / mean.norm().max(f64::MIN_POSITIVE)
            };
            phasors[side] = mean;
            counts[side] = turned.len();
            scatter[side] = off(&turned);
            beside[side] = off(match side {
                0 => &turned[turned.len() - BESIDE..],
                _ => &turned[..BESIDE],
            });
        }
        Some(Self {
            slope,
            phasors,
            counts,
            scatter,
            beside,
        })
    }

    /// Both are one field of about the same level.
    fn are_a_field(&self, upper: f64) -> bool {
        let [before, after] = self.phasors.map(|phasor| phasor.norm());
        before.min(after) > LEAST_LEVEL * upper
            && before.max(after) < LEVEL_RATIO * before.min(after)
            && self
                .scatter
                .iter()
                .all(|&scatter| scatter < LARGEST_SCATTER)
    }

    fn turned(&self) -> f64 {
        (self.phasors[1] * self.phasors[0].conj()).arg()
    }

    fn jump(&self) -> bool {
        // The phase of a mean scatters by what lies across it, half of the power.
        let variance: f64 = (0..2)
            .map(|side| 0.5 * self.scatter[side].powi(2) / self.counts[side] as f64)
            .sum();
        self.turned().abs() > LEAST_JUMP.max(LEAST_DEVIATIONS * variance.sqrt())
    }

    fn are_steady_at_once(&self) -> bool {
        (0..2).all(|side| self.beside[side] < AS_STEADY * self.scatter[side] + RIPPLE)
    }

    /// Puts the field into the gap and turns what follows.
    fn mend(&self, values: &mut [Complex32], gap: Gap) -> Gap {
        let turned = self.turned();
        let back = single(Complex64::cis(-turned));
        values[gap.to..].iter_mut().for_each(|value| *value *= back);
        let [before, after] = self.phasors.map(|phasor| phasor.norm());
        let level = self.phasors[0] * (0.5 * (before + after) / before);
        let within = &mut values[gap.from..gap.to];
        within.fill(Complex32::new(1.0, 0.0));
        let oscillator = Oscillator::new(self.slope / std::f64::consts::TAU);
        oscillator.turn(within, level * Complex64::cis(self.slope * gap.from as f64));
        Gap {
            jump_cycles: turned / std::f64::consts::TAU,
            ..gap
        }
    }
}
