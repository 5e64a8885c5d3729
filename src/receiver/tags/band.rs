//! What the receiver's band does to a piece of ripple.

use crate::receiver::field::pieces::Piece;
use crate::receiver::fold::band::Kept;
use crate::receiver::front::edge::Edge;

/// What the receiver's band does to ripple and noise.
pub struct Band<'a> {
    /// Its response to a sudden change.
    pub edge: &'a Edge,
    /// What it leaves of boundary pulses.
    pub kept: Kept,
    /// Independent values among as many cycles, as a share.
    pub fullness: f64,
}

impl<'a> Band<'a> {
    /// The band of a piece.
    pub fn of(piece: &'a Piece, field_hz: f64) -> Self {
        Self {
            edge: &piece.edge,
            kept: Kept::new(piece.band_hz, field_hz),
            fullness: (2.0 * piece.band_hz / field_hz).min(1.0),
        }
    }
}
