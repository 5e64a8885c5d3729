//! Three patterns of near numbers, each the product of the other two: how much likelier the best of them make what a number leaves of
//! its ripple, with edges of any shape (Wilks' lambda; Anderson, An Introduction to Multivariate Statistical Analysis, ch. 8).

use nalgebra::{DMatrix, DVector};
use num_complex::Complex64;

use super::near_patterns::{SumsOverBoundaries, WIDTH, turned_by_near_numbers};
use super::surroundings::GROUPS;

/// Patterns of near numbers at once: each is the product of the other two.
const NUMBERS: usize = 3;

/// The patterns of either kind that alone explain most are tried two by two with their product: of three tags' none is hidden …
const BEST_ALONE: usize = 48;
/// … and sets of three that one by one explain most are asked together.
const BEST: usize = 64;

/// A pattern that the edges' own shapes explain but for this share tells nothing.
const TELLING: f32 = 0.05;

/// Adds what is not a sum of those before (Gram and Schmidt).
pub fn orthonormal(
    mut all: Vec<DVector<f64>>,
    more: impl Iterator<Item = DVector<f64>>,
) -> Vec<DVector<f64>> {
    for wave in more {
        let size = wave.norm();
        let mut rest = wave;
        for known in &all {
            rest -= known * known.dot(&rest);
        }
        let left = rest.norm();
        if left > 1e-6 * size {
            all.push(rest / left);
        }
    }
    all
}

/// What waves with edges of any shape leave.
pub fn without(seen: &DMatrix<Complex64>, waves: &[DVector<f64>]) -> DMatrix<Complex64> {
    let mut left = seen.clone();
    for wave in waves {
        let wave = wave.map(Complex64::from);
        let shape = wave.tr_mul(&left);
        left -= wave * shape;
    }
    left
}

/// Rows in which noise of this covariance is 1 in each value and independent.
pub fn whitened(left: &DMatrix<Complex64>, noise: &DMatrix<Complex64>) -> DMatrix<Complex64> {
    let mut noise = noise.clone();
    // A band narrower than the groups leaves combinations of them without noise.
    let floor = 1e-3 * noise.trace().re / GROUPS as f64 + f64::MIN_POSITIVE;
    for k in 0..GROUPS {
        noise[(k, k)] += floor;
    }
    let Some(factor) = noise.cholesky() else {
        return DMatrix::zeros(left.nrows(), left.ncols());
    };
    let lower = factor.l().conjugate();
    let columns = lower.solve_lower_triangular(&left.transpose());
    columns.map_or_else(
        || DMatrix::zeros(left.nrows(), left.ncols()),
        |columns| columns.transpose(),
    )
}

/// What a number leaves, searched for the patterns of near ones.
pub struct Patterns<'a> {
    /// A row for each boundary, times its sign.
    pub left: &'a DMatrix<Complex64>,
    /// Waves that were taken away, orthonormal.
    pub own: &'a [DVector<f64>],
    /// Root of how many telegrams reached a boundary.
    pub weights: &'a DVector<f64>,
    /// A value has one part.
    pub real: bool,
}

/// Sums over the boundaries with a pattern's signs: what is left along it, both parts of each group, and then its part in each of the
/// number's own waves.
type Along = [f32; WIDTH];

fn in_own(one: &Along, other: &Along) -> f64 {
    let both = one[2 * GROUPS..].iter().zip(&other[2 * GROUPS..]);
    both.map(|(a, b)| f64::from(*a) * f64::from(*b)).sum()
}

impl Patterns<'_> {
    /// How much likelier the best three make what is left, −2 ln Λ, with this Σ x·xᴴ of noise and what is left in so many rows; and what
    /// they turn over.
    pub fn likelier(&self, both: &DMatrix<Complex64>, freedoms: f64) -> (f64, [u128; NUMBERS]) {
        let sums = self.sums(&whitened(self.left, both));
        let whole = sums.over(u128::MAX);
        let along = |turned: u128| sums.turned(&whole, turned);
        let all = self.weights.norm_squared() as f32;
        let explains = |turned: u128| {
            let [left, own] = sums.powers_of_halves(&whole, turned);
            let apart = all - own;
            if apart > TELLING * all {
                left / apart
            } else {
                0.0
            }
        };
        let mut threes: Vec<(f32, [u128; NUMBERS])> = Vec::new();
        for kind in turned_by_near_numbers() {
            let mut best: Vec<(f32, u128)> = (kind.iter())
                .map(|&turned| (explains(turned), turned))
                .collect();
            best.sort_by(|a, b| b.0.total_cmp(&a.0));
            best.truncate(BEST_ALONE);
            for (k, one) in best.iter().enumerate() {
                threes.extend(best[..k].iter().map(|other| {
                    let product = one.1 ^ other.1;
                    let explained = one.0 + other.0 + explains(product);
                    (explained, [one.1, other.1, product])
                }));
            }
        }
        threes.sort_by(|a, b| b.0.total_cmp(&a.0));
        threes.truncate(BEST);
        let scale = self.freedoms_of_lambda(freedoms);
        let likelier = threes.iter().map(|(_, three)| {
            let ln_lambda = self.lambda(&three.map(along), &whole).ln();
            (-scale * ln_lambda, *three)
        });
        likelier
            .max_by(|a, b| a.0.total_cmp(&b.0))
            .unwrap_or_default()
    }

    /// What three patterns explain of what is left.
    pub fn explained_by(&self, three: [u128; NUMBERS]) -> DMatrix<Complex64> {
        let wave = |turned: u128| {
            self.weights.map_with_location(|place, _, weight| {
                if turned >> place & 1 == 1 {
                    -weight
                } else {
                    weight
                }
            })
        };
        let waves = orthonormal(self.own.to_vec(), three.into_iter().map(wave));
        self.left - without(self.left, &waves[self.own.len()..])
    }

    /// Bartlett's factor of −ln Λ.
    fn freedoms_of_lambda(&self, freedoms: f64) -> f64 {
        let beside = (NUMBERS + GROUPS) as f64;
        match self.real {
            true => freedoms - 0.5 * beside,
            false => 2.0 * freedoms - beside,
        }
    }

    /// Of what is left three patterns, each the product of the others, leave this share, as a determinant.
    fn lambda(&self, three: &[Along; NUMBERS], whole: &Along) -> f64 {
        let all = self.weights.norm_squared();
        let alike = DMatrix::from_fn(NUMBERS, NUMBERS, |a, b| {
            // Σ n·a·b is the sum of n along the third.
            let both = if a == b {
                all
            } else {
                in_own(whole, &three[NUMBERS - a - b])
            };
            both - in_own(&three[a], &three[b])
        });
        let Some(factor) = alike.cholesky() else {
            return 1.0;
        };
        let lower = factor.l();
        if (0..NUMBERS).any(|k| lower[(k, k)].powi(2) < f64::from(TELLING) * all) {
            return 1.0;
        }
        let left = DMatrix::from_fn(NUMBERS, GROUPS, |k, g| {
            Complex64::new(f64::from(three[k][2 * g]), f64::from(three[k][2 * g + 1]))
        });
        let lower = lower.map(Complex64::from);
        let Some(left) = lower.solve_lower_triangular(&left) else {
            return 1.0;
        };
        let share = DMatrix::identity(NUMBERS, NUMBERS) - &left * left.adjoint();
        share.determinant().re.max(f64::MIN_POSITIVE)
    }

    /// Sums of what is left, in units of its noise, and of the number's own waves.
    fn sums(&self, left: &DMatrix<Complex64>) -> SumsOverBoundaries {
        let values = std::array::from_fn(|place| {
            let weight = self.weights[place];
            let mut values = [0.0; WIDTH];
            for g in 0..GROUPS {
                let value = left[(place, g)] * weight;
                (values[2 * g], values[2 * g + 1]) = (value.re as f32, value.im as f32);
            }
            for (value, own) in values[2 * GROUPS..].iter_mut().zip(self.own) {
                *value = (own[place] * weight) as f32;
            }
            values
        });
        SumsOverBoundaries::new(&values)
    }
}
