//! Figures that are compared: the same axes for all of them, and a ghost of the one that they are compared with.

use super::{View, envelope, phasor};

/// What a capture is drawn beside.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Beside {
    /// Half the height of envelopes, in what ripples are measured in; `None` leaves it to the capture.
    pub envelope_reach: Option<f64>,
    /// Half the height of the phasor plane.
    pub phasor_reach: Option<f64>,
    /// Half the height of eyes.
    pub eye_reach: Option<f64>,
    /// The mean telegram in the other one's envelope: time in ms, change.
    pub envelope: Vec<(f64, f64)>,
    /// The other one's load states: in phase, quadrature.
    pub states: Vec<(f64, f64)>,
}

impl<'a> View<'a> {
    /// The same capture drawn beside another one.
    #[must_use]
    pub fn beside(self, beside: Beside) -> Self {
        Self {
            beside: Some(beside),
            ..self
        }
    }

    /// What others are drawn beside when this capture is the one to compare with.
    pub fn to_compare(&self) -> Beside {
        Beside {
            envelope_reach: envelope::reach(self),
            phasor_reach: phasor::reach(self),
            eye_reach: None,
            envelope: envelope::mean(self),
            states: phasor::states(self),
        }
    }
}
