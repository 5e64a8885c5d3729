//! One hypothesis of where the field is: its cycles, what is beside the field removed, then all that is read; where nothing is, others built on
//! what was seen.

use num_complex::Complex32;

use super::numbers::look_at;
use super::reception::Reception;
use super::seen::Seen;
use super::signal::Signal;
use crate::receiver::dsp::phasor::power;
use crate::receiver::field::clock_moves::{ClockMoves, clock_moves};
use crate::receiver::field::gain_steps::level_out;
use crate::receiver::field::gaps::mend;
use crate::receiver::field::interference::clock_lines;
use crate::receiver::field::near_fields::{NearField, relative_to_sum, take_off_near_fields};
use crate::receiver::field::one_sided::take_off_one_sided;
use crate::receiver::field::other_field::{OtherField, remove_other_field, remove_weaker_fields};
use crate::receiver::field::pieces::is_one_switched_field;
use crate::receiver::fold::sums::TELEGRAM;
use crate::receiver::front::cycles::{Cycles, to_cycles};
use crate::receiver::front::hypotheses::{CLOCKS, Hypothesis};
use crate::receiver::tags::attempt::Asked;

/// A second line within this of the strongest one's amplitude (−16 dB; a ripple's own lines stay below for any depth a
/// tag reaches) may be the field of the reader that drives the tag.
const OTHER_CLOCK: f64 = 0.16;

/// A near field of this share of the own one at the probe may be as strong at the tag: then its part in the sum that the tag
/// modulates is worth another try.
const DRIVES: f64 = 0.1;

/// Values of a record in which nothing is to be seen between a telegram's lines.
const SHORT: usize = 5 * TELEGRAM / 2;

/// The field cycles of a hypothesis, mended where the record was interrupted.
pub(super) fn mended_cycles(signal: &Signal<'_>, hypothesis: &Hypothesis) -> Cycles {
    let mut cycles = to_cycles(signal.samples, &hypothesis.tuning);
    if hypothesis.kind.has_carrier() {
        mend(&mut cycles, signal.samples, &hypothesis.tuning);
    }
    cycles
}

pub(super) fn look(
    signal: &Signal<'_>,
    hypothesis: &Hypothesis,
    asked: Asked<'_>,
    rate_assumed: bool,
) -> Reception {
    let mut cycles = mended_cycles(signal, hypothesis);
    if !hypothesis.kind.has_carrier() {
        return look_at(signal, hypothesis, cycles, asked, rate_assumed);
    }
    let gain_steps = level_out(&mut cycles.values);
    // What beats slowly looks switched, unsteady and like much else: it goes before anything is asked.
    // A field whose frequency moves, its level steady, is alone.
    let switched = is_one_switched_field(&cycles.values);
    let clock = if switched {
        None
    } else {
        clock_moves(&cycles.values, hypothesis.tuning.field_hz)
    };
    let hopping_level = matches!(clock, Some(ClockMoves::Hops { .. }))
        .then(|| (power(&cycles.values) / cycles.values.len().max(1) as f64).sqrt());
    let (beside, before) = if switched || clock.is_some() {
        (Vec::new(), None)
    } else {
        take_off_near_fields(&mut cycles.values)
    };
    let strong = beside.first().is_some_and(|field| field.level > DRIVES);
    let before = before.filter(|_| strong);
    let first = if clock.is_some() {
        look_at(signal, hypothesis, cycles, asked, rate_assumed)
    } else {
        look_without_near_fields(signal, hypothesis, cycles, asked, rate_assumed)
    };
    let with_values = |seen: &Seen, values: Vec<Complex32>| Cycles {
        values,
        ..seen.cycles.clone()
    };
    // The tag hears both fields and modulates their sum.
    let of_sum = |first: &Reception| {
        let (before, seen) = (before.as_ref()?, first.seen.as_ref()?);
        let values = relative_to_sum(before, &seen.cycles.values);
        let cycles = with_values(seen, values);
        Some(look_at(signal, hypothesis, cycles, asked, rate_assumed))
    };
    // Or it hears the weaker one alone, which is another one at the probe.
    let of_weaker = |first: &Reception| {
        let (before, seen) = (before.as_ref()?, first.seen.as_ref()?);
        let cycles = with_values(seen, before.clone());
        let all = look_without_near_fields(signal, hypothesis, cycles, asked, rate_assumed);
        Some(all)
    };
    let mut reception = first_to_read(first, asked, &[&of_sum, &of_weaker]);
    if hopping_level.is_some() {
        // The field's track is lost at every jump, its level is not.
        reception.field.amplitude = hopping_level;
        reception.field.level_swing = None;
    }
    reception.beside.splice(..0, beside);
    reception.gain_steps = gain_steps;
    reception.clock = clock.filter(ClockMoves::is_told);
    reception
}

/// Another hypothesis, built on what was seen under the first; `None` where it does not apply.
type Other<'a> = &'a dyn Fn(&Reception) -> Option<Reception>;

/// What the first hypothesis gave, or the first of the others, in their order and while effort is left, under which a number is read.
fn first_to_read(first: Reception, asked: Asked<'_>, others: &[Other<'_>]) -> Reception {
    if !first.readings.is_empty() {
        return first;
    }
    let may_try_on = |_: &&Other<'_>| asked.effort.is_left();
    let mut receptions = (others.iter().take_while(may_try_on)).filter_map(|other| other(&first));
    let read = receptions.find(|reception| !reception.readings.is_empty());
    read.unwrap_or(first)
}

fn look_without_near_fields(
    signal: &Signal<'_>,
    hypothesis: &Hypothesis,
    cycles: Cycles,
    asked: Asked<'_>,
    rate_assumed: bool,
) -> Reception {
    let lines = if cycles.values.is_empty() {
        Vec::new()
    } else {
        clock_lines(&cycles.values, OTHER_CLOCK, CLOCKS)
    };
    if lines.len() < 2 {
        let is_short = cycles.values.len() < SHORT;
        let first = look_at(signal, hypothesis, cycles, asked, rate_assumed);
        let no_one_sided = |first: &Reception| {
            let (cycles, removed) = without_one_sided_fields(first)?;
            let mut again = look_at(signal, hypothesis, cycles, asked, rate_assumed);
            again.beside = removed;
            Some(again)
        };
        let no_weaker = |first: &Reception| {
            let cycles = without_weaker_fields(first)?;
            Some(look_at(signal, hypothesis, cycles, asked, rate_assumed))
        };
        // Longer records show what else they hold between the telegram's lines.
        if is_short && let Some(again) = no_one_sided(&first) {
            return again;
        }
        return first_to_read(first, asked, &[&no_one_sided, &no_weaker]);
    }
    if is_one_switched_field(&cycles.values) {
        return look_at(signal, hypothesis, cycles, asked, rate_assumed);
    }
    // Two fields at once: either may be the one that the tag divides.
    let mut first: Option<Reception> = None;
    for &line in &lines {
        if first.is_some() && !asked.effort.is_left() {
            break;
        }
        let reception = look_at_one_of(signal, hypothesis, &lines, line, asked, rate_assumed);
        if !reception.readings.is_empty() {
            return reception;
        }
        first.get_or_insert(reception);
    }
    first.unwrap_or_else(|| look_at(signal, hypothesis, cycles, asked, rate_assumed))
}

/// One of several fields, which are `lines` apart from the one the hypothesis is tuned to, in its frequency; the others are removed.
fn look_at_one_of(
    signal: &Signal<'_>,
    hypothesis: &Hypothesis,
    lines: &[f64],
    line: f64,
    asked: Asked<'_>,
    rate_assumed: bool,
) -> Reception {
    let first_hz = hypothesis.tuning.field_hz;
    let hypothesis = hypothesis.tuned_beside(line * first_hz);
    let tuning = hypothesis.tuning;
    let mut cycles = mended_cycles(signal, &hypothesis);
    level_out(&mut cycles.values);
    // Fields of like strength beat down to nothing: the others go before anything asks when the field is on.
    let others = lines.iter().filter(|other| **other != line);
    let places: Vec<f64> = others
        .map(|other| (other - line) * first_hz / tuning.field_hz)
        .collect();
    let removed: Vec<OtherField> = places
        .iter()
        .map(|place| OtherField::measured(&cycles.values, *place, tuning.field_hz))
        .collect();
    for place in places {
        remove_other_field(&mut cycles.values, place);
    }
    take_off_near_fields(&mut cycles.values);
    let mut reception = look_at(signal, &hypothesis, cycles, asked, rate_assumed);
    reception.other_fields = removed;
    reception
}

/// For another try where nothing was read: what is in the way of any ripple, and cannot be one, goes.
fn without_one_sided_fields(reception: &Reception) -> Option<(Cycles, Vec<NearField>)> {
    let seen = reception.seen.as_ref()?;
    if !reception.readings.is_empty() || is_one_switched_field(&seen.cycles.values) {
        return None;
    }
    let mut cycles = seen.cycles.clone();
    let removed = take_off_one_sided(&mut cycles.values);
    (!removed.is_empty()).then_some((cycles, removed))
}

/// For another try where nothing was read: fields too weak to drive a tag may hide in the telegram's own lines.
fn without_weaker_fields(reception: &Reception) -> Option<Cycles> {
    let seen = reception.seen.as_ref()?;
    if !reception.readings.is_empty()
        || reception.tangled
        || is_one_switched_field(&seen.cycles.values)
    {
        return None;
    }
    let values = remove_weaker_fields(&seen.cycles.values)?;
    Some(Cycles {
        values,
        ..seen.cycles.clone()
    })
}
