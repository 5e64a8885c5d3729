//! The whole receiver: samples → kind of capture, field, pieces, numbers.

use super::look::look;
use super::other_kinds::{other_kinds, phase_keyed};
use super::proof::Reading;
use super::reception::{Field, Reception};
use super::restated::{likely_rate, on_the_bits_clock};
use super::signal::{Kind, Samples, Signal};
use super::survey::{OfSamples, Survey};
use crate::receiver::fold::sums::TELEGRAM;
use crate::receiver::front::folded::is_no_field;
use crate::receiver::front::hypotheses::{FirstSight, NOMINAL_HZ, first_sight};
use crate::receiver::tags::attempt::{Asked, Terms};
use crate::receiver::tags::effort::Effort;

/// Only the numbers of FDX-B tags in a capture, nothing that serves to explain: no other kinds of tags, no survey.
pub fn read_numbers(signal: &Signal<'_>, terms: impl Into<Terms>) -> Vec<Reading> {
    glance(signal, terms).readings
}

/// The field and the numbers of FDX-B tags, nothing that serves to explain: no other kinds of tags, no survey.
pub fn glance(signal: &Signal<'_>, terms: impl Into<Terms>) -> Reception {
    let terms = terms.into();
    crate::threads::on_pool(|| {
        let sight = first_sight(signal);
        let effort = effort_for(signal, &sight);
        let asked = Asked {
            terms,
            effort: &effort,
        };
        let mut reception = receive_ripple(signal, &sight, asked);
        reception.doubt_folded_field(signal.samples);
        reception
    })
}

/// Reads a capture on these terms, or at these odds of a wrong number with nothing taken as known.
pub fn receive(signal: &Signal<'_>, terms: impl Into<Terms>) -> Reception {
    let terms = terms.into();
    crate::threads::on_pool(|| receive_at_once(signal, terms))
}

fn receive_at_once(signal: &Signal<'_>, terms: Terms) -> Reception {
    let sight = first_sight(signal);
    if let Some(rate_hz) = likely_rate(signal, &sight) {
        let other = Signal {
            rate_hz: Some(rate_hz),
            ..*signal
        };
        let mut reception = receive_as_stated(&other, &first_sight(&other), terms);
        if !reception.readings.is_empty() {
            reception.doubts.stated_rate_hz = signal.rate_hz;
            return reception;
        }
    }
    receive_as_stated(signal, &sight, terms)
}

fn receive_as_stated(signal: &Signal<'_>, sight: &FirstSight, terms: Terms) -> Reception {
    let (mut reception, samples) = crate::threads::join(
        || receive_all(signal, sight, terms),
        || OfSamples::of(signal, sight.rate_hz),
    );
    let spectrum = sight.spectrum.as_ref();
    let mut survey = Survey::of(samples, spectrum, &reception);
    survey.look_at_samples(signal, &reception);
    reception.survey = Some(survey);
    reception.field_is_brief();
    reception
}

fn effort_for(signal: &Signal<'_>, sight: &FirstSight) -> Effort {
    let seconds = signal.samples.len() as f64 / sight.rate_hz;
    Effort::of(seconds * NOMINAL_HZ / TELEGRAM as f64)
}

/// Numbers of all kinds.
fn receive_all(signal: &Signal<'_>, sight: &FirstSight, terms: Terms) -> Reception {
    let effort = effort_for(signal, sight);
    let asked = Asked {
        terms,
        effort: &effort,
    };
    let mut reception = receive_ripple(signal, sight, asked);
    reception.doubt_folded_field(signal.samples);
    if reception.kind == Kind::Iq {
        reception = on_the_bits_clock(signal, sight, asked, reception);
        reception.doubts.centre_hz = Some(signal.centre_hz);
    }
    reception.gave_up = reception.readings.is_empty() && effort.gave_up();
    if reception.kind.has_carrier()
        && let Some(seen) = &reception.seen
    {
        reception.others = other_kinds(seen, !reception.readings.is_empty(), terms.odds);
        reception.look_below(signal);
    }
    reception
}

/// Numbers in the ripple.
fn receive_ripple(signal: &Signal<'_>, sight: &FirstSight, asked: Asked<'_>) -> Reception {
    let mut best: Option<Reception> = None;
    let apart_hz = sight.rate_hz / signal.samples.len().max(1) as f64;
    let mut tried: Vec<f64> = Vec::new();
    for hypothesis in &sight.hypotheses {
        // Three fields or more beside each other were all tried in the first hypothesis that showed them. Two are worth a try from either
        // side: far apart, the one that a hypothesis is tuned to is seen better.
        let is_near = |hz: &f64| (hz - hypothesis.tuning.field_hz).abs() < 0.5 * apart_hz;
        if hypothesis.kind.has_carrier() && tried.iter().any(is_near) {
            continue;
        }
        asked.effort.begin_hypothesis();
        let reception = look(signal, hypothesis, asked, sight.rate_assumed);
        if reception.other_fields.len() > 1 {
            let others = reception.other_fields.iter();
            tried.extend(others.map(|other| other.frequency_hz));
        }
        if !reception.readings.is_empty() || reception.tangled {
            return reception;
        }
        // The first hypothesis is the likeliest; a later one replaces it only by reading.
        best.get_or_insert(reception);
    }
    best.unwrap_or_else(|| {
        let kind = match signal.samples {
            Samples::Complex(_) => Kind::Iq,
            Samples::Real(_) if signal.logic => Kind::Logic,
            Samples::Real(_) => Kind::Direct,
        };
        Reception::of_nothing(kind, sight.rate_hz, sight.rate_assumed)
    })
}

impl Reception {
    fn doubt_folded_field(&mut self, samples: Samples<'_>) {
        let Some(field_hz) = self.field.frequency_hz else {
            return;
        };
        if self.kind == Kind::Folded
            && self.rate_hz < NOMINAL_HZ
            && self.readings.is_empty()
            && is_no_field(samples, self.rate_hz, field_hz)
        {
            self.field = Field::default();
            self.beside.clear();
            self.seen = None;
            self.candidate = None;
            self.telegrams = 0.0;
        }
    }

    /// Looks for what stands far below a directly sampled field, where nothing was read.
    fn look_below(&mut self, signal: &Signal<'_>) {
        if let (Some(field_hz), Some(amplitude)) = (self.field.frequency_hz, self.field.amplitude)
            && self.kind == Kind::Direct
            && self.readings.is_empty()
        {
            self.others.phase_keyed =
                phase_keyed(signal.samples, self.rate_hz, field_hz, amplitude);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{RngExt, SeedableRng};

    /// A strong ripple of random signs is no telegram: with effort every way is tried, without it that some were not is kept in mind.
    #[test]
    fn without_effort_other_ways_are_not_tried() {
        let mut rng = rand::rngs::ChaCha8Rng::seed_from_u64(25);
        let loads: Vec<bool> = (0..4000).map(|_| rng.random()).collect();
        let samples: Vec<f32> = (0..300_000)
            .map(|k| {
                let cycles = NOMINAL_HZ / 1e6 * f64::from(k);
                let depth = if loads[(cycles / 16.0) as usize] {
                    0.01
                } else {
                    0.0
                };
                let noise = 0.01 * rng.random_range(-1.0..1.0);
                ((1.0 - depth) * (std::f64::consts::TAU * cycles).cos() + noise) as f32
            })
            .collect();
        let signal = Signal {
            samples: Samples::Real(&samples),
            rate_hz: Some(1e6),
            centre_hz: 0.0,
            logic: false,
        };
        let sight = first_sight(&signal);
        let spent = Effort::of(10.0);
        for _ in 0..10_000 {
            spent.spend();
        }
        for (effort, gives_up) in [(Effort::of(1000.0), false), (spent, true)] {
            let asked = Asked {
                terms: Terms::from(1e-5),
                effort: &effort,
            };
            let reception = receive_ripple(&signal, &sight, asked);
            assert!(reception.readings.is_empty());
            assert_eq!(effort.gave_up(), gives_up);
        }
    }
}
