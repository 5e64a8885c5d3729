//! Which channel or channels make the signal.

use crate::capture::Layout;
use crate::receiver::{Samples, field_strength};

/// Shares of the best field, from which on a field shows as well: a decibel is noise's.
const NEARLY: f64 = 0.9;

/// The channel or channels that make the signal, counted from 0.
pub(super) enum Chosen {
    One(usize),
    Difference(usize, usize),
    Complex(usize, usize),
}

impl Chosen {
    /// The first of them.
    pub fn first(&self) -> usize {
        let (Self::One(first) | Self::Difference(first, _) | Self::Complex(first, _)) = self;
        *first
    }

    /// As it is called in messages.
    pub fn name(&self, layout: &Layout) -> String {
        let name = |k: usize| {
            layout
                .channels
                .get(k)
                .map_or("", |channel| channel.name.as_str())
        };
        match self {
            Self::One(k) => name(*k).to_string(),
            Self::Difference(a, b) => format!("{}-{}", name(*a), name(*b)),
            Self::Complex(a, b) => format!("{}+j{}", name(*a), name(*b)),
        }
    }
}

/// Channels by how well a field shows in them; of several in which it shows nearly as well the first is meant.
pub(super) fn by_field(channels: &[Vec<f32>], rate_hz: Option<f64>) -> Vec<usize> {
    let strength = |own: &Vec<f32>| field_strength(Samples::Real(own), rate_hz);
    let mut ranked: Vec<(usize, f64)> = channels.iter().map(strength).enumerate().collect();
    ranked.sort_by(|a, b| b.1.total_cmp(&a.1));
    let enough = NEARLY * ranked.first().map_or(0.0, |best| best.1);
    let well = (ranked.iter().enumerate()).filter(|(_, own)| own.1 > 0.0 && own.1 >= enough);
    if let Some((at, _)) = well.min_by_key(|(_, own)| own.0) {
        ranked[..=at].rotate_right(1);
    }
    ranked.into_iter().map(|(channel, _)| channel).collect()
}
