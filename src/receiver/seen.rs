//! What the receiver saw while reading, for what is measured afterwards.

use num_complex::Complex32;

use super::field::pieces::Piece;
use super::front::cycles::Cycles;

/// The receiver's own view of (the first telling window of) a capture.
#[derive(Clone, Debug)]
pub struct Seen {
    /// One complex value per field cycle.
    pub cycles: Cycles,
    /// The ripple in each stretch of field, the field divided out.
    pub pieces: Vec<Piece>,
    /// Field frequency that the pieces' values count.
    pub clock_hz: f64,
}

impl Seen {
    /// The field's own values over a piece.
    pub(super) fn over(&self, piece: &Piece) -> &[Complex32] {
        let values = &self.cycles.values;
        let from = (piece.from_s * self.cycles.field_hz).round() as usize;
        let from = from.saturating_sub(self.cycles.first).min(values.len());
        let to = (from + piece.ripple.len()).min(values.len());
        &values[from..to]
    }
}
