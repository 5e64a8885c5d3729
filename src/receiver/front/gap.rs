//! A place where the record was interrupted.

/// A lost buffer across which the phase goes on within this (cycles) was lost in its place: time went on as well.
const GOES_ON: f64 = 0.05;

/// A place where the record was interrupted while the field went on.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Gap {
    /// Values that hold nothing of the signal; what is in their place is the field that was seen on both sides.
    pub from: usize,
    /// See `from`.
    pub to: usize,
    /// What it left.
    pub kind: GapKind,
    /// By how much the field's phase has jumped, cycles from −½ to ½: the time lost is this many cycles and any number of
    /// whole ones.
    pub jump_cycles: f64,
    /// Length of what was filled up, seconds; 0 for dropped samples.
    pub filled_s: f64,
}

impl Gap {
    /// Nothing tells how a telegram goes on behind it.
    pub fn breaks(&self) -> bool {
        self.kind == GapKind::Dropped || self.jump_cycles.abs() > GOES_ON
    }
}

/// What an interruption left in the record.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum GapKind {
    /// Nothing: the samples before and after it stand side by side.
    Dropped,
    /// One value all through.
    Held,
    /// The samples before it once more.
    Repeated,
}
