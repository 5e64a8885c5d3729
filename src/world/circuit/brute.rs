//! The circuits integrated by brute force: slow, obvious, and with the clamp as it is. Everything fast is checked against it.

use super::clamp::Shunt;
use super::modes::Modes;
use super::network::Network;
use super::plan::{Change, CircuitPlan, LoadPlan};
use super::probe::Probe;
use nalgebra::DVector;

/// Integrates a plan with fixed switchings by the classical Runge–Kutta method and returns the probe at 0, step, 2·step, … Steps are split
/// where something switches. Clocked tags stay open: give their edges as fixed ones.
pub fn integrate(network: &Network, plan: &CircuitPlan, probe: &Probe, step_s: f64) -> Vec<f64> {
    let tags = network.tags().len();
    let (mut on, mut closed) = (vec![false; network.readers().len()], vec![false; tags]);
    let none = vec![Shunt::default(); tags];
    let mut modes = Modes::new(network, &closed, &none);
    let mut state = DVector::zeros(network.states());
    let mut events: Vec<(f64, Event)> = plan
        .changes
        .iter()
        .filter_map(|change| match change {
            Change::Field { at_s, reader, on } => Some((*at_s, Event::Field(*reader, *on))),
            Change::Moved { .. } => None,
        })
        .collect();
    for (tag, load) in plan.loads.iter().enumerate() {
        if let LoadPlan::Fixed(edges) = load {
            events.extend(
                edges
                    .iter()
                    .map(|&(at, closed)| (at, Event::Load(tag, closed))),
            );
        }
    }
    events.sort_by(|a, b| a.0.total_cmp(&b.0));
    let mut next = 0;
    let steps = (plan.duration_s / step_s).floor() as usize;
    let mut values = Vec::with_capacity(steps + 1);
    let mut now = 0.0;
    for index in 0..=steps {
        let target = index as f64 * step_s;
        loop {
            let due = events
                .get(next)
                .map(|event| event.0)
                .filter(|&at| at <= target);
            let to = due.unwrap_or(target);
            if to > now {
                state = runge_kutta(network, &modes, &on, &state, now, to - now);
                now = to;
            }
            if due.is_none() {
                break;
            }
            match events[next].1 {
                Event::Field(reader, is_on) => on[reader] = is_on,
                Event::Load(tag, is_closed) => closed[tag] = is_closed,
            }
            modes = Modes::new(network, &closed, &none);
            next += 1;
        }
        values.push(read(network, &modes, probe, &on, &state, target));
    }
    values
}

#[derive(Clone, Copy)]
enum Event {
    Field(usize, bool),
    Load(usize, bool),
}

fn drive(network: &Network, reader: usize, on: &[bool], at: f64) -> f64 {
    let turn = num_complex::Complex64::cis(network.omega(reader) * at);
    if on[reader] {
        (network.drive(reader) * turn).re
    } else {
        0.0
    }
}

fn slope(
    network: &Network,
    modes: &Modes,
    on: &[bool],
    state: &DVector<f64>,
    at: f64,
) -> DVector<f64> {
    let mut slope = &modes.matrix * state;
    for (reader, input) in modes.inputs.iter().enumerate() {
        slope += input * drive(network, reader, on, at);
    }
    for (tag, parts) in network.tags().iter().enumerate() {
        if let Some(clamp) = parts.clamp {
            let v = network.voltage(network.readers().len() + tag);
            slope[v] -= clamp.current_a(state[v]) / parts.capacitance_f;
        }
    }
    slope
}

fn runge_kutta(
    network: &Network,
    modes: &Modes,
    on: &[bool],
    state: &DVector<f64>,
    at: f64,
    step: f64,
) -> DVector<f64> {
    let f = |state: &DVector<f64>, at: f64| slope(network, modes, on, state, at);
    let a = f(state, at);
    let b = f(&(state + &a * (step / 2.0)), at + step / 2.0);
    let c = f(&(state + &b * (step / 2.0)), at + step / 2.0);
    let d = f(&(state + &c * step), at + step);
    state + (a + (b + c) * 2.0 + d) * (step / 6.0)
}

fn read(
    network: &Network,
    modes: &Modes,
    probe: &Probe,
    on: &[bool],
    state: &DVector<f64>,
    at: f64,
) -> f64 {
    let row = probe.row(network, modes);
    let fed: f64 = (0..on.len())
        .map(|reader| row.feed[reader] * drive(network, reader, on, at))
        .sum();
    row.state.dot(state) + fed
}
