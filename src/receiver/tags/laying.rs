//! Where one piece's boundaries lie on those of others: every rotation, and how much likelier their signs are together than apart.

use num_complex::Complex64;

use crate::receiver::fold::sums::BoundarySums;
use crate::telegram::TELEGRAM_BITS;

/// Where a part goes: its boundary 0 lies on boundary `rotation`, its signs turned or not.
#[derive(Clone, Copy)]
pub struct Placement {
    rotation: usize,
    turned: bool,
}

impl Placement {
    /// Index in the part that lies on boundary j, and its sign.
    fn source(self, j: usize, inverts: bool) -> (usize, f64) {
        let index = j + TELEGRAM_BITS - self.rotation;
        let wrapped = index < TELEGRAM_BITS;
        let flip = (wrapped && inverts) != self.turned;
        (index % TELEGRAM_BITS, if flip { -1.0 } else { 1.0 })
    }

    /// The part as it lies.
    pub fn laid(self, part: &BoundarySums, inverts: bool) -> BoundarySums {
        let mut sums = BoundarySums::default();
        for j in 0..TELEGRAM_BITS {
            let (index, sign) = self.source(j, inverts);
            sums.sums[j] = part.sums[index] * sign;
            sums.energies[j] = part.energies[index];
        }
        sums
    }
}

/// Every placement with what it gains: how much likelier the signs are together than apart.
pub fn placements(
    to: &BoundarySums,
    part: &BoundarySums,
    inverts: bool,
    real: bool,
) -> Vec<(f64, Placement)> {
    let axis = if real {
        0.0
    } else {
        // The circuits are the same in every piece, so is the axis.
        0.5 * (to.square() + part.square()).arg()
    };
    let known = to.llr(axis).map(Sign::of);
    // The part behind itself: what a rotation wraps lies in the first half, turned as the code has it.
    let new = part.llr(axis);
    let wrap = if inverts { -1.0 } else { 1.0 };
    let twice: Vec<Sign> = (new.iter().map(|llr| wrap * llr).chain(new))
        .map(Sign::of)
        .collect();
    let mut found = Vec::with_capacity(2 * TELEGRAM_BITS);
    for rotation in 0..TELEGRAM_BITS {
        let laid = &twice[TELEGRAM_BITS - rotation..][..TELEGRAM_BITS];
        let gains = gains(&known, laid);
        for (turned, gain) in [false, true].into_iter().zip(gains) {
            found.push((gain, Placement { rotation, turned }));
        }
    }
    found
}

/// A sign by its log-likelihood ratio, and its mean: tanh of half of that.
#[derive(Clone, Copy)]
struct Sign {
    llr: f64,
    mean: f64,
}

impl Sign {
    fn of(llr: f64) -> Self {
        Self {
            llr,
            mean: (0.5 * llr).tanh(),
        }
    }
}

/// 1 + tanh·tanh has no digits left below: what signs surer than ln of it lose when they clash is added as it is.
const LEAST_LEFT: f64 = 1e-16;

/// Products taken beside each other.
const LANES: usize = 8;

/// How much likelier signs are together than apart, natural logarithm, as they lie and turned. Of two signs with log-likelihood ratios a
/// and b that is ln cosh(½(a+b)) − ln cosh(½a) − ln cosh(½b) = ln(1 + tanh ½a · tanh ½b); a logarithm is taken of sixteen at once.
fn gains(known: &[Sign; TELEGRAM_BITS], laid: &[Sign]) -> [f64; 2] {
    let sure = -LEAST_LEFT.ln();
    let mut likelier = [[1.0f64; LANES]; 2];
    let mut clash = [[0.0f64; LANES]; 2];
    for (known, laid) in known.chunks_exact(LANES).zip(laid.chunks_exact(LANES)) {
        for lane in 0..LANES {
            let (a, b) = (known[lane], laid[lane]);
            let both = a.mean * b.mean;
            likelier[0][lane] *= (1.0 + both).max(LEAST_LEFT);
            likelier[1][lane] *= (1.0 - both).max(LEAST_LEFT);
            let beyond = (a.llr.abs().min(b.llr.abs()) - sure).max(0.0);
            let differ = if both < 0.0 { 1.0 } else { 0.0 };
            clash[0][lane] += differ * beyond;
            clash[1][lane] += (1.0 - differ) * beyond;
        }
    }
    std::array::from_fn(|turned| {
        let agree: f64 = likelier[turned].iter().map(|product| product.ln()).sum();
        agree - clash[turned].iter().sum::<f64>()
    })
}

impl BoundarySums {
    pub(super) fn power(&self) -> f64 {
        self.sums.iter().map(|y| y.norm_sqr()).sum()
    }

    fn square(&self) -> Complex64 {
        self.sums.iter().map(|y| y * y).sum()
    }

    /// Weights the sums by how quiet their noise is.
    pub(super) fn scale(&mut self, weight: f64) {
        self.sums.iter_mut().for_each(|y| *y *= weight);
        self.energies.iter_mut().for_each(|e| *e *= weight);
    }

    /// Log-likelihood ratios along an axis, for sums scaled to noise 1, the amplitude taken from the sums themselves.
    pub(super) fn llr(&self, axis: f64) -> [f64; TELEGRAM_BITS] {
        let (along, _) = self.along(axis);
        let energy: f64 = self.energies.iter().sum();
        let amplitude = along.iter().map(|y| y.abs()).sum::<f64>() / energy.max(1e-300);
        along.map(|y| 2.0 * amplitude * y)
    }
}

#[cfg(test)]
mod tests {
    use rand::rngs::ChaCha8Rng;
    use rand::{RngExt, SeedableRng};

    use super::*;

    /// Sign by sign, from the definition.
    fn slowly(
        known: &[f64; TELEGRAM_BITS],
        new: &[f64; TELEGRAM_BITS],
        placement: Placement,
        inverts: bool,
    ) -> f64 {
        let log_cosh = |x: f64| x.abs() + (-2.0 * x.abs()).exp().ln_1p() - std::f64::consts::LN_2;
        (0..TELEGRAM_BITS)
            .map(|j| {
                let (index, sign) = placement.source(j, inverts);
                let (a, b) = (known[j], sign * new[index]);
                log_cosh(0.5 * (a + b)) - log_cosh(0.5 * a) - log_cosh(0.5 * b)
            })
            .sum()
    }

    fn sums(llr: &[f64; TELEGRAM_BITS]) -> BoundarySums {
        let mut sums = BoundarySums {
            sums: [Complex64::default(); TELEGRAM_BITS],
            energies: [1.0; TELEGRAM_BITS],
        };
        sums.sums
            .iter_mut()
            .zip(llr)
            .for_each(|(sum, &l)| *sum = l.into());
        sums
    }

    #[test]
    fn products_give_what_a_logarithm_a_sign_does() {
        let mut random = ChaCha8Rng::seed_from_u64(7);
        // Signs that noise nearly hides, and ones that are certain.
        for (largest, tolerance) in [(2.0, 1e-11), (200.0, 128.0 * 2.0f64.ln())] {
            for inverts in [false, true] {
                // Some signs are not known at all.
                let mut drawn = || -> [f64; TELEGRAM_BITS] {
                    std::array::from_fn(|_| match random.random_range(0..4) {
                        0 => 0.0,
                        _ => random.random_range(-largest..largest),
                    })
                };
                let (known, part) = (sums(&drawn()), sums(&drawn()));
                let (a, b) = (known.llr(0.0), part.llr(0.0));
                let all = placements(&known, &part, inverts, true);
                assert_eq!(all.len(), 2 * TELEGRAM_BITS);
                for (gain, placement) in all {
                    let expected = slowly(&a, &b, placement, inverts);
                    assert!((gain - expected).abs() < tolerance, "{gain} for {expected}");
                }
            }
        }
    }
}
