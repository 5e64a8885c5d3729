//! What the panels show, as arrays.

use num_complex::{Complex32, Complex64};

use super::View;
use super::lines::around;
use super::spectrum::REACH_HZ;
use crate::capture::{ArrayValues, NamedArray};
use crate::receiver::TELEGRAM;

impl View<'_> {
    /// What was measured, array by array; what a capture does not show is missing.
    ///
    /// - `field_time_s`, `field`: the field at each of its cycles, a phasor in the capture's unit (peak); its size is the envelope.
    /// - `ripple_time_s`, `ripple`: the same as a share of the field, the field taken off, over each stretch that it was on.
    /// - `telegram_time_s`, `telegram`: the mean of all telegrams of the first number read, bit 0 first, along the ripple's axis the real part.
    /// - `bits`, `load_states`: that telegram's 128 bits, and ±1 in each of its 256 half bits.
    /// - `spectrum_offset_hz`, `spectrum_db`: power around the field, relative to it.
    pub fn arrays(&self) -> Vec<NamedArray> {
        let mut arrays = Vec::new();
        let mut add = |name, values| arrays.push(NamedArray { name, values });
        let seen = self.reception.seen.as_ref();
        let Some(seen) = seen.filter(|_| self.reception.field.present || !self.carrier()) else {
            return arrays;
        };
        let from_s = self.about.from_s;
        let cycles = &seen.cycles;
        let time = |index: usize| from_s + (cycles.first + index) as f64 / cycles.field_hz;
        add(
            "field_time_s",
            ArrayValues::Reals((0..cycles.values.len()).map(time).collect()),
        );
        add("field", ArrayValues::Complex(cycles.values.clone()));
        let (mut times, mut ripple) = (Vec::new(), Vec::new());
        for piece in &seen.pieces {
            let step_s = (piece.to_s - piece.from_s) / piece.ripple.len().max(1) as f64;
            times
                .extend((0..piece.ripple.len()).map(|i| from_s + piece.from_s + i as f64 * step_s));
            ripple.extend_from_slice(&piece.ripple);
        }
        add("ripple_time_s", ArrayValues::Reals(times));
        add("ripple", ArrayValues::Complex(ripple));
        if let Some(aligned) = &self.aligned {
            let time = |cell: usize| cell as f64 / seen.clock_hz;
            add(
                "telegram_time_s",
                ArrayValues::Reals((0..TELEGRAM).map(time).collect()),
            );
            let turn = Complex64::cis(-aligned.angle);
            let cell = |value: &Complex64| {
                let along = value * turn;
                Complex32::new(along.re as f32, along.im as f32)
            };
            add(
                "telegram",
                ArrayValues::Complex(aligned.cells.iter().map(cell).collect()),
            );
            add(
                "bits",
                ArrayValues::Small(aligned.bits.iter().map(|&bit| i8::from(bit)).collect()),
            );
            add("load_states", ArrayValues::Small(aligned.states.clone()));
        }
        if let Some(around) = around(self, REACH_HZ) {
            let (hz, db): (Vec<f64>, Vec<f64>) = around.points.into_iter().unzip();
            add("spectrum_offset_hz", ArrayValues::Reals(hz));
            add("spectrum_db", ArrayValues::Reals(db));
        }
        arrays
    }
}
