//! One way of looking at the samples: the field's cycles, what is beside the field removed, then all that is read.

use super::numbers::look_at;
use super::reception::Reception;
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
use crate::receiver::front::views::{CLOCKS, View};
use crate::receiver::tags::attempt::Terms;

/// A second line within this of the strongest one's amplitude (−16 dB; a ripple's own lines stay below for any depth a
/// tag reaches) may be the field of the reader that drives the tag.
const OTHER_CLOCK: f64 = 0.16;

/// A near field of this share of the own one at the probe may be as strong at the tag: then its part in the sum that the tag
/// modulates is worth another try.
const DRIVES: f64 = 0.1;

/// Values of a record in which nothing is to be seen between a telegram's lines.
const SHORT: usize = 5 * TELEGRAM / 2;

/// The field cycles of a view, mended where the record was interrupted.
pub(super) fn mended_cycles(signal: &Signal<'_>, view: &View) -> Cycles {
    let mut cycles = to_cycles(signal.samples, &view.tuning);
    if view.kind.has_carrier() {
        mend(&mut cycles, signal.samples, &view.tuning);
    }
    cycles
}

pub(super) fn look(
    signal: &Signal<'_>,
    view: &View,
    terms: Terms,
    rate_assumed: bool,
) -> Reception {
    let mut cycles = mended_cycles(signal, view);
    if !view.kind.has_carrier() {
        return look_at(signal, view, cycles, terms, rate_assumed);
    }
    let gain_steps = level_out(&mut cycles.values);
    // What beats slowly looks switched, unsteady and like much else: it goes before anything is asked.
    // A field whose frequency moves, its level steady, is alone.
    let switched = is_one_switched_field(&cycles.values);
    let clock = if switched {
        None
    } else {
        clock_moves(&cycles.values, view.tuning.field_hz)
    };
    let hopping_level = matches!(clock, Some(ClockMoves::Hops { .. }))
        .then(|| (power(&cycles.values) / cycles.values.len().max(1) as f64).sqrt());
    let before = cycles.values.clone();
    let beside = if switched || clock.is_some() {
        Vec::new()
    } else {
        take_off_near_fields(&mut cycles.values)
    };
    let strong = beside.first().is_some_and(|field| field.level > DRIVES);
    let before = strong.then_some(before);
    let mut reception = if clock.is_some() {
        look_at(signal, view, cycles, terms, rate_assumed)
    } else {
        look_without_near_fields(signal, view, cycles, terms, rate_assumed)
    };
    if reception.readings.is_empty()
        && let (Some(before), Some(seen)) = (before, &reception.seen)
    {
        // The tag hears both fields and modulates their sum.
        let cycles = Cycles {
            values: relative_to_sum(&before, &seen.cycles.values),
            ..seen.cycles.clone()
        };
        // Or it hears the weaker one alone, which is another one at the probe.
        let all_fields = Cycles {
            values: before,
            ..seen.cycles.clone()
        };
        let of_sum = look_at(signal, view, cycles, terms, rate_assumed);
        reception = read_or(of_sum, || {
            let of_weaker = look_without_near_fields(signal, view, all_fields, terms, rate_assumed);
            read_or(of_weaker, || reception)
        });
    }
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

/// What was made of another try where it gave a number, else something else.
fn read_or(again: Reception, otherwise: impl FnOnce() -> Reception) -> Reception {
    if again.readings.is_empty() {
        otherwise()
    } else {
        again
    }
}

fn look_without_near_fields(
    signal: &Signal<'_>,
    view: &View,
    cycles: Cycles,
    terms: Terms,
    rate_assumed: bool,
) -> Reception {
    let lines = if cycles.values.is_empty() {
        Vec::new()
    } else {
        clock_lines(&cycles.values, OTHER_CLOCK, CLOCKS)
    };
    if lines.len() < 2 {
        let mut reception = look_at(signal, view, cycles, terms, rate_assumed);
        if let Some((cycles, removed)) = without_one_sided_fields(&reception) {
            let is_short = cycles.values.len() < SHORT;
            let again = look_at(signal, view, cycles, terms, rate_assumed);
            // Longer records show what else they hold between the telegram's lines.
            if is_short || !again.readings.is_empty() {
                reception = again;
                reception.beside = removed;
                return reception;
            }
        }
        return match without_weaker_fields(&reception) {
            Some(cycles) => read_or(look_at(signal, view, cycles, terms, rate_assumed), || {
                reception
            }),
            None => reception,
        };
    }
    if is_one_switched_field(&cycles.values) {
        return look_at(signal, view, cycles, terms, rate_assumed);
    }
    // Two fields at once: either may be the one that the tag divides.
    let mut first: Option<Reception> = None;
    for &line in &lines {
        let reception = look_at_one_of(signal, view, &lines, line, terms, rate_assumed);
        if !reception.readings.is_empty() {
            return reception;
        }
        first.get_or_insert(reception);
    }
    first.unwrap_or_else(|| look_at(signal, view, cycles, terms, rate_assumed))
}

/// One of several fields, which are `lines` apart from the one the view is tuned to, in its frequency; the others are removed.
fn look_at_one_of(
    signal: &Signal<'_>,
    view: &View,
    lines: &[f64],
    line: f64,
    terms: Terms,
    rate_assumed: bool,
) -> Reception {
    let first_hz = view.tuning.field_hz;
    let view = view.tuned_beside(line * first_hz);
    let tuning = view.tuning;
    let mut cycles = mended_cycles(signal, &view);
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
    let mut reception = look_at(signal, &view, cycles, terms, rate_assumed);
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
