//! The interval of a share.

/// 97.5 % point of the normal distribution (NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7.1: 1.960).
const Z: f64 = 1.959_963_984_540_054;

/// Wilson's score interval of `count` out of `trials`, 95 %: the shares p for which |count/trials − p| ≤ z·√(p(1−p)/trials)
/// (Wilson, J. Am. Stat. Assoc. 22, 1927; NIST/SEMATECH e-Handbook 7.2.4.1). Without trials it is 0 to 1.
pub fn wilson95(count: u64, trials: u64) -> (f64, f64) {
    if trials == 0 {
        return (0.0, 1.0);
    }
    let n = trials as f64;
    let share = count as f64 / n;
    let square = Z * Z / n;
    let middle = (share + 0.5 * square) / (1.0 + square);
    let half = Z * (share * (1.0 - share) / n + 0.25 * square / n).sqrt() / (1.0 + square);
    // Exactly 0 and 1 at the ends, where rounding may leave 1e-17.
    let low = if count == 0 { 0.0 } else { middle - half };
    let high = if count >= trials { 1.0 } else { middle + half };
    (low.max(0.0), high.min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked examples of Newcombe, "Two-sided confidence intervals for the single proportion", Statistics in Medicine 17, 1998, table
    /// I, score method (from memory), which scipy 1.17 gives too: `binomtest(k, n).proportion_ci(method="wilson")`.
    #[test]
    fn published_examples() {
        for (count, trials, low, high) in [
            (81, 263, 0.2553, 0.3662),
            (15, 148, 0.0624, 0.1605),
            (0, 20, 0.0, 0.1611),
            (1, 29, 0.0061, 0.1718),
        ] {
            let (found_low, found_high) = wilson95(count, trials);
            assert!(
                (found_low - low).abs() < 5.1e-5,
                "{count}/{trials}: {found_low}"
            );
            assert!(
                (found_high - high).abs() < 5.1e-5,
                "{count}/{trials}: {found_high}"
            );
        }
    }

    /// The definition itself: both ends solve the score equation.
    #[test]
    fn ends_solve_the_score_equation() {
        for (count, trials) in [(3, 10), (50, 100), (999, 1000), (1, 100_000)] {
            let share = count as f64 / trials as f64;
            let (low, high) = wilson95(count, trials);
            for end in [low, high] {
                let reach = Z * (end * (1.0 - end) / trials as f64).sqrt();
                assert!(
                    ((share - end).abs() - reach).abs() < 1e-12,
                    "{count}/{trials}"
                );
            }
        }
        assert_eq!(wilson95(0, 0), (0.0, 1.0));
        assert_eq!(wilson95(7, 7).1, 1.0);
    }
}
