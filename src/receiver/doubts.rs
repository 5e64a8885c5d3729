//! What the capture itself says of what was stated of it.

/// Two frequencies of the field nearer to each other than this are one, Hz: the bits tell it within a cycle over the capture.
const SAME_HZ: f64 = 15.0;

/// What the capture itself says of what was stated.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Doubts {
    /// The stated rate, where another one was taken: with that the field is at 134.2 kHz and a number reads.
    pub stated_rate_hz: Option<f64>,
    /// Centre of complex samples as stated or assumed; `None` for real ones.
    pub centre_hz: Option<f64>,
    /// Field frequency as the centre makes it, where the tag's bits count another one.
    pub shown_hz: Option<f64>,
}

impl Doubts {
    /// Centre with which the field is where the tag's bits have it.
    pub fn fitting_centre_hz(&self, field_hz: f64) -> Option<f64> {
        Some(self.centre_hz? + field_hz - self.shown_hz?)
    }

    /// With I and Q exchanged the field lies on the centre's other side: where the tag's bits have it?
    pub fn exchanged(&self, field_hz: f64) -> bool {
        let (Some(centre_hz), Some(shown_hz)) = (self.centre_hz, self.shown_hz) else {
            return false;
        };
        (2.0 * centre_hz - shown_hz - field_hz).abs() < SAME_HZ
    }
}
