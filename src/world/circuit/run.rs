//! Steps the circuits from switching to switching.

use super::clamp::Shunt;
use super::clamp_level::{CLAMP_CYCLES, level_s};
use super::clock::Clock;
use super::first_above::first_above;
use super::modes::Modes;
use super::network::Network;
use super::plan::{Change, CircuitPlan, LoadPlan, PlanError};
use super::probe::Probe;
use super::track::{Piece, Terms, Track};
use nalgebra::DVector;
use std::collections::HashMap;
use std::sync::Arc;

/// Longest piece, in field cycles, while a voltage is watched for crossing a level: looking further ahead would be in vain whenever
/// something switches first.
const LOOK_AHEAD_CYCLES: f64 = 32.0;
/// Solved circuits kept (some kilobytes each); several clamps at work could make millions.
const MOST_SHAPES: usize = 20_000;
/// Field cycles in half a bit: the tag divides by 32 for a bit (ISO 11785).
const HALF_BIT_CYCLES: f64 = 16.0;
#[derive(Clone, Copy, Debug)]
enum Sender {
    Silent,
    Fixed {
        next: usize,
    },
    Off,
    Starting {
        at_s: f64,
    },
    Sending {
        half_bit: usize,
        clock: Clock,
        sufficient_s: f64,
        since_s: f64,
    },
}

/// Circuits solved so far, by network, switches and clamp levels.
struct Shapes(HashMap<(usize, Vec<bool>, Vec<u16>), Arc<Modes>>);

impl Shapes {
    fn get(
        &mut self,
        number: usize,
        network: &Network,
        closed: &[bool],
        levels: &[u16],
    ) -> Arc<Modes> {
        if self.0.len() >= MOST_SHAPES {
            self.0.clear();
        }
        self.0
            .entry((number, closed.to_vec(), levels.to_vec()))
            .or_insert_with(|| {
                let clamps: Vec<Shunt> = levels
                    .iter()
                    .enumerate()
                    .map(|(tag, &level)| match network.clamp(tag) {
                        Some(table) => table.at(level_s(level, network.tags()[tag].loss_s())).1,
                        None => Shunt::default(),
                    })
                    .collect();
                Arc::new(Modes::new(network, closed, &clamps))
            })
            .clone()
    }
}

pub(super) struct Runner<'a> {
    plan: &'a CircuitPlan,
    pub(super) network: Arc<Network>,
    number: usize,
    shapes: Shapes,
    on: Vec<bool>,
    closed: Vec<bool>,
    pub(super) levels: Vec<u16>,
    senders: Vec<Sender>,
    state: DVector<f64>,
    pub(super) now_s: f64,
    next_change: usize,
    pub(super) clamp_cycles: f64,
    track: Track,
}

/// Runs the plan from rest at time 0.
///
/// Exact between switchings for linear circuits. A conducting clamp is stepped with the conductance it has at the end of the step
/// (implicit, hence stable), at least twice a field cycle while the voltage changes; against brute force it agrees within
/// 1 % of the tag's voltage (checked in the tests).
pub fn run(network: &Network, plan: &CircuitPlan) -> Result<Track, PlanError> {
    plan.check(network)?;
    let tags = network.tags().len();
    let mut runner = Runner {
        plan,
        network: Arc::new(network.clone()),
        number: 0,
        shapes: Shapes(HashMap::new()),
        on: vec![false; network.readers().len()],
        closed: vec![false; tags],
        levels: vec![0; tags],
        senders: plan
            .loads
            .iter()
            .map(|load| match load {
                LoadPlan::Idle => Sender::Silent,
                LoadPlan::Fixed(_) => Sender::Fixed { next: 0 },
                LoadPlan::Clocked(_) | LoadPlan::ClockedLate { .. } => Sender::Off,
            })
            .collect(),
        state: DVector::zeros(network.states()),
        now_s: 0.0,
        next_change: 0,
        clamp_cycles: CLAMP_CYCLES.0,
        track: Track {
            pieces: Vec::new(),
            end_s: plan.duration_s,
            edges: vec![Vec::new(); tags],
            on_times: vec![Vec::new(); tags],
        },
    };
    while runner.now_s < plan.duration_s {
        runner.step();
    }
    runner.finish();
    Ok(runner.track)
}

impl Runner<'_> {
    pub(super) fn cycle_s(&self) -> f64 {
        1.0 / self.network.readers()[0].frequency_hz
    }

    pub(super) fn piece(&mut self, levels: &[u16]) -> Piece {
        let modes = self
            .shapes
            .get(self.number, &self.network, &self.closed, levels);
        Piece::start(
            self.now_s,
            self.network.clone(),
            modes,
            self.on.clone(),
            &self.state,
        )
    }

    pub(super) fn tag_terms(&self, piece: &Piece, tag: usize) -> Terms {
        piece.terms(&Probe::TagVoltage { tag }.row(&self.network, &piece.modes))
    }

    /// One piece: apply what is due now, then go on to the next event.
    fn step(&mut self) {
        self.apply_changes();
        self.apply_switchings();
        let mut horizon = self.plan.duration_s;
        if let Some(change) = self.plan.changes.get(self.next_change) {
            horizon = horizon.min(change.at_s());
        }
        let watched = self.network.tags().iter().any(|tag| tag.clamp.is_some())
            || self
                .senders
                .iter()
                .any(|sender| matches!(sender, Sender::Off));
        if watched {
            horizon = horizon.min(self.now_s + LOOK_AHEAD_CYCLES * self.cycle_s());
        }
        // Fixed times first, then what depends on the voltages up to there.
        for (tag, sender) in self.senders.iter().enumerate() {
            match (sender, &self.plan.loads[tag]) {
                (Sender::Fixed { next }, LoadPlan::Fixed(edges)) => {
                    if let Some(edge) = edges.get(*next) {
                        horizon = horizon.min(edge.0);
                    }
                }
                (Sender::Starting { at_s }, _) => horizon = horizon.min(*at_s),
                _ => {}
            }
        }
        let levels = self.clamp_levels(&mut horizon);
        let piece = self.piece(&levels);
        self.levels = levels;
        let cycle = self.cycle_s();
        let before = self.senders.clone();
        let mut due = vec![None; before.len()];
        for (tag, due) in due.iter_mut().enumerate() {
            match &mut self.senders[tag] {
                Sender::Off => {
                    let minimum = self.network.tags()[tag].minimum_v;
                    let terms = self.tag_terms(&piece, tag);
                    *due = first_above(&terms, minimum, self.now_s, horizon, cycle);
                }
                Sender::Sending { .. } => {
                    let terms = self.tag_terms(&piece, tag);
                    if let Sender::Sending { clock, .. } = &mut self.senders[tag] {
                        *due = clock.follow(&terms, self.now_s, horizon, cycle);
                    }
                }
                _ => {}
            }
            if let Some(at_s) = *due {
                horizon = horizon.min(at_s);
            }
        }
        // Clocks that were followed past the final horizon are followed again, only up to it.
        for tag in 0..before.len() {
            if matches!(before[tag], Sender::Sending { .. })
                && due[tag].is_none_or(|at| at > horizon)
            {
                self.senders[tag] = before[tag];
                let terms = self.tag_terms(&piece, tag);
                if let Sender::Sending { clock, .. } = &mut self.senders[tag] {
                    due[tag] = clock.follow(&terms, self.now_s, horizon, cycle);
                }
            }
        }
        self.state = piece.state(horizon);
        let began_s = std::mem::replace(&mut self.now_s, horizon);
        for (tag, due) in due.iter().enumerate() {
            if due.is_some_and(|at| at <= horizon) {
                let peak_v = self.tag_terms(&piece, tag).analytic(horizon).norm();
                self.tag_event(tag, peak_v);
            }
        }
        // Pieces of no length leave no trace.
        if horizon > began_s {
            self.track.pieces.push(piece);
        }
    }

    fn apply_changes(&mut self) {
        while let Some(change) = self.plan.changes.get(self.next_change) {
            if change.at_s() > self.now_s {
                break;
            }
            match change {
                Change::Field { reader, on, .. } => self.on[*reader] = *on,
                Change::Moved { network, .. } => {
                    let coils = network.coils();
                    let flux = DVector::from_fn(coils, |row, _| {
                        (0..coils)
                            .map(|c| self.network.inductance_h(row, c) * self.state[c])
                            .sum::<f64>()
                    });
                    self.network = Arc::new(network.clone());
                    self.state
                        .rows_mut(0, coils)
                        .copy_from(&network.currents(&flux));
                    self.number += 1;
                    self.shapes.0.clear();
                }
            }
            self.next_change += 1;
            self.clamp_cycles = CLAMP_CYCLES.0;
        }
    }

    fn apply_switchings(&mut self) {
        for tag in 0..self.senders.len() {
            match (self.senders[tag], &self.plan.loads[tag]) {
                (Sender::Fixed { mut next }, LoadPlan::Fixed(edges)) => {
                    while let Some(&(at_s, closed)) = edges.get(next)
                        && at_s <= self.now_s
                    {
                        self.switch(tag, closed);
                        next += 1;
                    }
                    self.senders[tag] = Sender::Fixed { next };
                }
                (Sender::Starting { at_s }, load) if at_s <= self.now_s => {
                    let Some((half_bits, late)) = load.clocked() else {
                        continue;
                    };
                    let mut clock = Clock::default();
                    clock.add(HALF_BIT_CYCLES + late);
                    self.switch(tag, half_bits[0]);
                    self.senders[tag] = Sender::Sending {
                        half_bit: 0,
                        clock,
                        sufficient_s: self.now_s,
                        since_s: self.now_s,
                    };
                }
                _ => {}
            }
        }
    }

    fn switch(&mut self, tag: usize, closed: bool) {
        if self.closed[tag] != closed {
            self.closed[tag] = closed;
            self.track.edges[tag].push((self.now_s, closed));
            self.clamp_cycles = CLAMP_CYCLES.0;
        }
    }

    /// A clocked tag has enough voltage to start, or its half bit is over.
    fn tag_event(&mut self, tag: usize, peak_v: f64) {
        let at_s = self.now_s;
        let parts = self.network.tags()[tag];
        let Some((half_bits, _)) = self.plan.loads[tag].clocked() else {
            return;
        };
        match self.senders[tag] {
            Sender::Off => {
                self.senders[tag] = Sender::Starting {
                    at_s: at_s + parts.start_up_s,
                }
            }
            Sender::Sending {
                half_bit,
                mut clock,
                mut sufficient_s,
                since_s,
            } => {
                if peak_v >= parts.minimum_v {
                    sufficient_s = at_s;
                }
                if at_s - sufficient_s > parts.hold_up_s {
                    self.track.on_times[tag].push([since_s, at_s]);
                    self.switch(tag, false);
                    self.senders[tag] = Sender::Off;
                    return;
                }
                let half_bit = (half_bit + 1) % half_bits.len();
                clock.add(HALF_BIT_CYCLES);
                self.switch(tag, half_bits[half_bit]);
                self.senders[tag] = Sender::Sending {
                    half_bit,
                    clock,
                    sufficient_s,
                    since_s,
                };
            }
            _ => {}
        }
    }

    fn finish(&mut self) {
        for (tag, sender) in self.senders.iter().enumerate() {
            if let Sender::Sending { since_s, .. } = sender {
                self.track.on_times[tag].push([*since_s, self.plan.duration_s]);
            }
        }
    }
}
