//! A stretch of one channel, as it is handed from the file to the receiver.

use std::ops::Range;

use num_complex::Complex32;

use crate::receiver::Samples;

/// A stretch of one channel.
#[derive(Clone, Debug, PartialEq)]
pub enum Window {
    /// Real samples.
    Real(Vec<f32>),
    /// Complex samples.
    Complex(Vec<Complex32>),
}

impl Window {
    /// As the receiver takes them.
    pub fn samples(&self) -> Samples<'_> {
        match self {
            Self::Real(samples) => Samples::Real(samples),
            Self::Complex(samples) => Samples::Complex(samples),
        }
    }

    /// Appends a part of another; the first one settles whether samples are real or complex.
    pub(super) fn append(&mut self, other: &Self, part: Range<usize>) {
        if let (Self::Real(own), Self::Complex(_)) = (&*self, other)
            && own.is_empty()
        {
            *self = Self::Complex(Vec::new());
        }
        let finite = |value: f32| if value.is_finite() { value } else { 0.0 };
        match (self, other) {
            (Self::Real(own), Self::Real(other)) => {
                own.extend(other[part].iter().map(|&value| finite(value)));
            }
            (Self::Complex(own), Self::Complex(other)) => {
                let mended = other[part]
                    .iter()
                    .map(|value| Complex32::new(finite(value.re), finite(value.im)));
                own.extend(mended);
            }
            (Self::Complex(own), Self::Real(other)) => {
                own.extend(
                    other[part]
                        .iter()
                        .map(|&value| Complex32::from(finite(value))),
                );
            }
            (Self::Real(own), Self::Complex(other)) => {
                own.extend(other[part].iter().map(|value| finite(value.re)));
            }
        }
    }

    /// Leaves out so many of the first samples.
    pub(super) fn drop_first(&mut self, count: usize) {
        match self {
            Self::Real(samples) => drop(samples.drain(..count)),
            Self::Complex(samples) => drop(samples.drain(..count)),
        }
    }
}
