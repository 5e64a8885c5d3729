//! What happens to the circuits from outside, and what their tags send.

use super::network::Network;
use thiserror::Error;

/// What a tag's switch does.
#[derive(Clone, Debug, PartialEq)]
pub enum LoadPlan {
    /// Open all the time.
    Idle,
    /// Moves at these times (s), to closed or open.
    Fixed(Vec<(f64, bool)>),
    /// Sends these half bits (true: closed) over and over, clocked by its own coil, while its voltage suffices.
    Clocked(Vec<bool>),
    /// The same, every switching so many cycles (0 to 1) after a rising zero crossing of the coil's voltage, not at it: where within a
    /// cycle a chip switches is its maker's secret, and makes a difference of some per cent of the ripple.
    ClockedLate {
        /// What is sent.
        half_bits: Vec<bool>,
        /// Cycles from the crossing to the switching.
        cycles: f64,
    },
}

impl LoadPlan {
    /// What a clocked tag sends, and how many cycles late.
    pub(super) fn clocked(&self) -> Option<(&[bool], f64)> {
        match self {
            LoadPlan::Clocked(half_bits) => Some((half_bits, 0.0)),
            LoadPlan::ClockedLate { half_bits, cycles } => Some((half_bits, *cycles)),
            LoadPlan::Idle | LoadPlan::Fixed(_) => None,
        }
    }
}

/// Something done from outside.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// A reader's driver is switched. All are off before the first change.
    Field {
        /// When, in s.
        at_s: f64,
        /// Which reader.
        reader: usize,
        /// On or off.
        on: bool,
    },
    /// Coils have moved: other mutual inductances from here on. Flux through every coil is kept.
    Moved {
        /// When, in s.
        at_s: f64,
        /// The same parts with other couplings.
        network: Network,
    },
}

impl Change {
    pub(in super::super) fn at_s(&self) -> f64 {
        match self {
            Change::Field { at_s, .. } | Change::Moved { at_s, .. } => *at_s,
        }
    }
}

/// What happens to the circuits.
#[derive(Clone, Debug, PartialEq)]
pub struct CircuitPlan {
    /// How long.
    pub duration_s: f64,
    /// Changes from outside, in order of time.
    pub changes: Vec<Change>,
    /// One a tag.
    pub loads: Vec<LoadPlan>,
}

/// Why a plan cannot be run.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum PlanError {
    /// Not a positive time.
    #[error("the duration is {0} s: a positive number is needed")]
    Duration(f64),
    /// One load plan a tag.
    #[error("{plans} load plans for {tags} tags")]
    Loads {
        /// Plans given.
        plans: usize,
        /// Tags there are.
        tags: usize,
    },
    /// A time earlier than the one before, or not a number.
    #[error("{what} at {at_s} s is out of order: times must not fall and start at 0 or later")]
    Order {
        /// Which list.
        what: &'static str,
        /// The time.
        at_s: f64,
    },
    /// A clocked tag needs something to send.
    #[error("tag {0} has no half bits to send")]
    Empty(usize),
    /// A change that does not fit the network.
    #[error("the change at {at_s} s names a reader that is not there or a network of other parts")]
    Change {
        /// When.
        at_s: f64,
    },
}

impl CircuitPlan {
    pub(super) fn check(&self, network: &Network) -> Result<(), PlanError> {
        let plan = self;
        if !(plan.duration_s.is_finite() && plan.duration_s > 0.0) {
            return Err(PlanError::Duration(plan.duration_s));
        }
        if plan.loads.len() != network.tags().len() {
            return Err(PlanError::Loads {
                plans: plan.loads.len(),
                tags: network.tags().len(),
            });
        }
        let in_order = |what, times: &mut dyn Iterator<Item = f64>| {
            let mut last = 0.0;
            for at_s in times {
                if !(at_s >= last && at_s.is_finite()) {
                    return Err(PlanError::Order { what, at_s });
                }
                last = at_s;
            }
            Ok(())
        };
        in_order("a change", &mut plan.changes.iter().map(Change::at_s))?;
        for change in &plan.changes {
            let fits = match change {
                Change::Field { reader, .. } => *reader < network.readers().len(),
                Change::Moved { network: moved, .. } => moved.same_parts(network),
            };
            if !fits {
                return Err(PlanError::Change {
                    at_s: change.at_s(),
                });
            }
        }
        for (tag, load) in plan.loads.iter().enumerate() {
            match load {
                LoadPlan::Fixed(edges) => {
                    in_order("a switching", &mut edges.iter().map(|edge| edge.0))?
                }
                LoadPlan::Clocked(half_bits) | LoadPlan::ClockedLate { half_bits, .. }
                    if half_bits.is_empty() =>
                {
                    return Err(PlanError::Empty(tag + 1));
                }
                _ => {}
            }
        }
        Ok(())
    }
}
