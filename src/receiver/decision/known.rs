//! What is taken as known of a number before anything is received.

use super::code::{ANY, Code, USUAL};

/// Share of animal tags with the fields of [`Known::UsualFields`] (common practice, no source).
pub const USUAL_SHARE: f64 = 0.99;

/// What is taken as known of a number before anything is received.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Known {
    /// Nothing: every telegram of the standard is as likely as any other.
    #[default]
    Nothing,
    /// In the share [`USUAL_SHARE`] of all tags the reserved bits, the data block flag and the trailer are 0 and the country
    /// code is in use; the rest may be any.
    UsualFields,
}

impl Known {
    /// The telegrams there are, with the logarithm of the share of tags that send one of them.
    pub(super) fn codes(self) -> Vec<(&'static Code, f64)> {
        match self {
            Self::Nothing => vec![(&*ANY, 0.0)],
            Self::UsualFields => vec![
                (&*USUAL, USUAL_SHARE.ln()),
                (&*ANY, (1.0 - USUAL_SHARE).ln()),
            ],
        }
    }
}
