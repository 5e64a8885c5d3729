//! The interval of a difference between two receivers that tried the same captures.

/// 97.5 % point of the normal distribution (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1: 1.960).
const Z: f64 = 1.959_963_984_540_054;

/// 95 % interval of p₂ − p₁ where, of `captures`, the first alone read `first_only` and the second alone `second_only`.
///
/// It holds the differences that McNemar's test, made for any difference, does not reject: the score interval of Tango, Statistics in
/// Medicine 17, 1998, 891 (from memory; `tests` in this file derive it again by a search for the likeliest shares). For no difference the
/// statistic is McNemar's own, (c − b)²/(b + c) (Psychometrika 12, 1947). Without captures it is −1 to 1.
pub fn paired95(captures: u64, first_only: u64, second_only: u64) -> (f64, f64) {
    if captures == 0 {
        return (-1.0, 1.0);
    }
    let (n, b, c) = (captures as f64, second_only as f64, first_only as f64);
    let found = (b - c) / n;
    let end = |beyond: f64| {
        // The statistic falls steadily as the difference asked about grows.
        let want = if beyond > 0.0 { -Z } else { Z };
        let (mut inside, mut outside) = (found, beyond);
        for _ in 0..60 {
            let middle = 0.5 * (inside + outside);
            if (score(n, b, c, middle) - want) * beyond > 0.0 {
                inside = middle;
            } else {
                outside = middle;
            }
        }
        0.5 * (inside + outside)
    };
    (end(-1.0), end(1.0))
}

/// How many standard deviations the difference found lies above `difference`, the other shares being the likeliest ones then.
fn score(n: f64, b: f64, c: f64, difference: f64) -> f64 {
    let p = likeliest(n, b, c, difference);
    let variance = n * (2.0 * p + difference * (1.0 - difference));
    let away = b - c - n * difference;
    if away == 0.0 {
        0.0
    } else {
        away / variance.max(0.0).sqrt()
    }
}

/// The likeliest share of captures that only the first reads, if the second reads `difference` more of all.
fn likeliest(n: f64, b: f64, c: f64, difference: f64) -> f64 {
    let a_2 = 2.0 * n;
    let b_2 = (2.0 * n - b + c) * difference - b - c;
    let c_2 = -c * difference * (1.0 - difference);
    ((b_2 * b_2 - 4.0 * a_2 * c_2).max(0.0).sqrt() - b_2) / (2.0 * a_2)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// At a difference of nothing the statistic squared is McNemar's.
    #[test]
    fn no_difference_is_mcnemars_test() {
        for (n, b, c) in [(100.0, 12.0, 3.0), (40.0, 5.0, 0.0), (1600.0, 86.0, 150.0)] {
            let square = score(n, b, c, 0.0f64).powi(2);
            let mcnemar = (b - c).powi(2) / (b + c);
            assert!((square - mcnemar).abs() < 1e-9 * mcnemar, "{n} {b} {c}");
        }
    }

    /// The closed form is the top of the likelihood b·ln(p + d) + c·ln p + (n − b − c)·ln(1 − 2p − d).
    #[test]
    fn the_closed_form_is_the_likeliest_share() {
        for (n, b, c, d) in [
            (50.0, 9.0, 4.0, 0.05),
            (50.0, 9.0, 4.0, -0.2),
            (30.0, 2.0, 7.0, 0.1),
        ] {
            let likelihood =
                |p: f64| b * (p + d).ln() + c * p.ln() + (n - b - c) * (1.0 - 2.0 * p - d).ln();
            let (low, high) = ((-d).max(0.0), (1.0 - d) / 2.0);
            let steps = 200_000;
            let best = (1..steps)
                .map(|k| low + (high - low) * f64::from(k) / f64::from(steps))
                .max_by(|x, y| likelihood(*x).total_cmp(&likelihood(*y)))
                .unwrap();
            assert!(
                (best - likeliest(n, b, c, d)).abs() < 2.0 / f64::from(steps),
                "{n} {b} {c} {d}"
            );
        }
    }

    /// The ends solve the equation, and the interval turns round with the receivers.
    #[test]
    fn ends_solve_the_score_equation() {
        for (n, first, second) in [
            (100, 3, 12),
            (20, 0, 5),
            (1000, 40, 41),
            (30, 0, 0),
            (7, 7, 0),
        ] {
            let (low, high) = paired95(n, first, second);
            assert!(low >= -1.0 && low < high && high <= 1.0);
            for end in [low, high] {
                let away = score(n as f64, second as f64, first as f64, end).abs();
                assert!(
                    (away - Z).abs() < 1e-6 || end.abs() > 1.0 - 1e-9,
                    "{n} {first} {second}: {away}"
                );
            }
            let (turned_low, turned_high) = paired95(n, second, first);
            assert!((low + turned_high).abs() < 1e-9 && (high + turned_low).abs() < 1e-9);
        }
        assert_eq!(paired95(0, 0, 0), (-1.0, 1.0));
    }

    /// Over all outcomes of 40 captures the interval holds the true difference about as often as it says: a sum, no chance in it.
    /// Score intervals are known to keep within a few per cent of 95 % (Newcombe, Statistics in Medicine 17, 1998, 2635; from memory).
    #[test]
    fn the_interval_holds_what_it_promises() {
        let n = 40u64;
        let log_factorial = |n: u64| libm::lgamma(n as f64 + 1.0);
        for (p_first, p_second) in [(0.1, 0.1), (0.05, 0.2), (0.3, 0.1), (0.02, 0.1)] {
            let mut held = 0.0;
            for first in 0..=n {
                for second in 0..=n - first {
                    let rest = n - first - second;
                    let ways = log_factorial(n)
                        - log_factorial(first)
                        - log_factorial(second)
                        - log_factorial(rest);
                    let chance = ways
                        + first as f64 * f64::ln(p_first)
                        + second as f64 * f64::ln(p_second)
                        + rest as f64 * f64::ln(1.0 - p_first - p_second);
                    let (low, high) = paired95(n, first, second);
                    if (low..=high).contains(&(p_second - p_first)) {
                        held += chance.exp();
                    }
                }
            }
            println!("{p_first} {p_second}: {held:.4}");
            assert!(
                (0.92..=0.985).contains(&held),
                "{p_first} {p_second}: {held}"
            );
        }
    }
}
