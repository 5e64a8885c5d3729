//! One tag in one piece, read or not, and what reading it is to satisfy.

use std::ops::Range;

use super::effort::Effort;
use crate::receiver::decision::{Decision, Known};
use crate::receiver::fold::shape::Shape;

/// A telegram contradicted by more than noise this improbable does not fit. Of right ones one in 2000 is lost.
const LEAST_FIT: f64 = 5e-4;

/// On what terms a number counts as read; from odds alone, with nothing taken as known.
#[derive(Clone, Copy, Debug)]
pub struct Terms {
    /// Largest odds of a wrong number that count as read.
    pub odds: f64,
    /// What is taken as known of the number.
    pub known: Known,
}

impl From<f64> for Terms {
    fn from(odds: f64) -> Self {
        Self {
            odds,
            known: Known::Nothing,
        }
    }
}

impl Terms {
    /// The same for a ripple that is one real number, or a complex one.
    pub fn limits(self, real: bool) -> ReadLimits<'static> {
        ReadLimits {
            odds: self.odds,
            real,
            known: self.known,
            cleaned: false,
            effort: None,
        }
    }
}

/// Terms, and the work that a capture may cost.
#[derive(Clone, Copy, Debug)]
pub struct Asked<'a> {
    pub terms: Terms,
    pub effort: &'a Effort,
}

impl<'a> Asked<'a> {
    /// Limits for a ripple that is one real number, or a complex one.
    pub fn limits(self, real: bool) -> ReadLimits<'a> {
        ReadLimits {
            effort: Some(self.effort),
            ..self.terms.limits(real)
        }
    }
}

/// What the reading is to satisfy.
#[derive(Clone, Copy, Debug)]
pub struct ReadLimits<'a> {
    /// Largest odds of a wrong number that count as read.
    pub odds: f64,
    /// The ripple is one real number (no carrier): noise has one part, not two.
    pub real: bool,
    /// What is taken as known of the number.
    pub known: Known,
    /// Lines were removed the ripple, which may have been parts of a telegram: what is read must explain all that repeats.
    pub cleaned: bool,
    /// The work that other ways of reading may cost; `None` for any.
    pub effort: Option<&'a Effort>,
}

impl ReadLimits<'_> {
    /// Whether another way of reading may be tried.
    pub(crate) fn may_try_on(&self) -> bool {
        self.effort.is_none_or(Effort::is_left)
    }

    /// A decision is made.
    pub(crate) fn count_decision(&self) {
        if let Some(effort) = self.effort {
            effort.spend();
        }
    }
}

/// One tag in one piece, read or not.
#[derive(Clone, Debug)]
pub struct Attempt {
    /// The number and its odds.
    pub decision: Decision,
    /// Values of the piece that were used: those in which the tag was there.
    pub span: Range<usize>,
    /// Boundary timing: cycles from the span's first value to the boundary with index 0.
    pub timing: f64,
    /// Each telegram is inverted against the one before.
    pub inverts: bool,
    /// Ripple angle, radians in (−π/2, π/2].
    pub angle: f64,
    /// Rms ripple relative to the field.
    pub depth: f64,
    /// What the tanks do to an edge, as far as the decision took it into account.
    pub shape: Shape,
    /// Telegrams that were added up.
    pub telegrams: f64,
    /// Eb/N0 of a single telegram's bits, as a ratio.
    pub ebn0: f64,
    /// The ripple has the shape of ideal edges as far as the noise lets see.
    pub ideal_edges: bool,
}

impl Attempt {
    /// Whether the attempt counts as a number read.
    pub fn is_read(&self, limits: &ReadLimits) -> bool {
        self.decision.odds_wrong <= limits.odds && self.fits()
    }

    /// What contradicts the number is within what noise does.
    pub fn fits(&self) -> bool {
        fits_noise(self.decision.misfit)
    }

    /// Eb/N0 after adding up the telegrams, dB.
    pub fn folded_db(&self) -> f64 {
        10.0 * (self.ebn0 * self.telegrams).max(1e-30).log10()
    }
}

/// Whether noise contradicts a right number as much often enough.
pub fn fits_noise(misfit: f64) -> bool {
    misfit >= LEAST_FIT
}
