//! Which tags are there at the same time, and what they are of the ripple then.

use std::ops::Range;

use nalgebra::{DMatrix, DVector};
use num_complex::{Complex32, Complex64};

use super::attempt::ReadLimits;
use super::refine::Refined;
use crate::receiver::dsp::phasor::wide;
use crate::receiver::fold::sums::TELEGRAM;

/// Tags that share less than half a telegram are there one after the other, …
const SHARED: usize = TELEGRAM / 2;
/// … and so are those of which one is less than this share of itself in what they share: it was measured over more of the record than
/// it is there.
const THERE: f64 = 0.5;

/// Waveforms of which another explains all but this share are not told apart.
const ALIKE: f64 = 1e-6;

/// The tags that are to be asked together: all of them where they are there at the same time, else each pair that is, and those
/// that are there alone.
pub fn at_once(ripple: &[Complex32], tags: &[Refined], limits: &ReadLimits) -> Vec<Vec<Refined>> {
    let meet = |some: &[&Refined]| {
        Shared::of(some).is_some_and(|shared| {
            let amplitudes = shared.amplitudes(ripple, limits.real);
            let there =
                |(tag, amplitude): (&&Refined, Complex64)| (amplitude / tag.amplitude()).re > THERE;
            amplitudes.is_none_or(|all| some.iter().zip(all).all(there))
        })
    };
    if meet(&tags.iter().collect::<Vec<_>>()) {
        return vec![tags.to_vec()];
    }
    let mut groups: Vec<Vec<Refined>> = Vec::new();
    let mut alone = vec![true; tags.len()];
    for (k, tag) in tags.iter().enumerate() {
        for (other, before) in tags[..k].iter().enumerate() {
            if meet(&[before, tag]) {
                groups.push(vec![before.clone(), tag.clone()]);
                (alone[k], alone[other]) = (false, false);
            }
        }
    }
    let alone = tags.iter().zip(alone).filter(|(_, alone)| *alone);
    groups.extend(alone.map(|(tag, _)| vec![tag.clone()]));
    groups
}

/// The part of the ripple that several tags share, and their waveforms in it.
pub struct Shared<'a> {
    /// Values of the ripple.
    pub span: Range<usize>,
    /// One each.
    pub waves: Vec<&'a [Complex32]>,
}

impl<'a> Shared<'a> {
    /// `None` where they share none.
    pub fn of(tags: &[&'a Refined]) -> Option<Self> {
        let from = tags.iter().map(|tag| tag.attempt.span.start).max()?;
        let upto = tags.iter().map(|tag| tag.attempt.span.end).min()?;
        let wave = |tag: &&'a Refined| {
            let at = from - tag.attempt.span.start;
            &tag.plain[at..at + upto - from]
        };
        (upto >= from + SHARED).then(|| Self {
            span: from..upto,
            waves: tags.iter().map(wave).collect(),
        })
    }

    /// Complex amplitudes of the waveforms in a ripple, least squares; `None` where they are all but alike.
    pub fn amplitudes(&self, ripple: &[Complex32], real: bool) -> Option<Vec<Complex64>> {
        let (ripple, waves) = (&ripple[self.span.clone()], &self.waves);
        let count = waves.len();
        let product = |a: &[Complex32], b: &[Complex32]| -> Complex64 {
            let sum: Complex64 = a
                .iter()
                .zip(b)
                .map(|(a, b)| wide(*a) * wide(*b).conj())
                .sum();
            if real {
                Complex64::new(sum.re, 0.0)
            } else {
                sum
            }
        };
        let gram = DMatrix::from_fn(count, count, |row, column| {
            product(waves[column], waves[row])
        });
        let along = DVector::from_fn(count, |row, _| product(ripple, waves[row]));
        let factors = gram.clone().cholesky()?;
        // A factor's diagonal holds what the waveforms before leave of each.
        let lower = factors.l();
        let apart = |k: usize| lower[(k, k)].norm_sqr() >= ALIKE * gram[(k, k)].re;
        (0..count)
            .all(apart)
            .then(|| factors.solve(&along).iter().copied().collect())
    }
}
