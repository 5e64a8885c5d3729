//! How often a finding is raised of captures that have nothing of the kind: measured, or not stated.
//!
//! The captures are made by numpy scripts under `tests/outside` (`check_findings.py --false-alarms` counts), not by this
//! crate's generator, and hold fields with and without tags under everything else that the scripts know.

/// Code, captures in which it was raised without its cause, captures without its cause.
const MEASURED: [(&str, u32, u32); 0] = [];

/// Upper end of Wilson's 95 % interval of the share of captures without the cause that get this finding; `None` where that
/// was not measured.
pub(super) fn false_alarm(code: &str) -> Option<f64> {
    let (_, raised, captures) = MEASURED.iter().find(|(measured, ..)| *measured == code)?;
    Some(upper(f64::from(*raised), f64::from(*captures)))
}

/// Wilson's upper limit (J. Am. Stat. Assoc. 22, 1927).
fn upper(raised: f64, captures: f64) -> f64 {
    const Z: f64 = 1.96;
    let share = raised / captures;
    let middle = share + Z * Z / (2.0 * captures);
    let spread = Z * (share * (1.0 - share) / captures + (Z / (2.0 * captures)).powi(2)).sqrt();
    (middle + spread) / (1.0 + Z * Z / captures)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// None of 100: 3.7 % (derived: z²/(n + z²)); never 0.
    #[test]
    fn nothing_raised_is_not_no_risk() {
        assert!((upper(0.0, 100.0) - 3.8416 / 103.8416).abs() < 1e-12);
        assert_eq!(false_alarm("no-such-code"), None);
        for (code, raised, captures) in MEASURED {
            let stated = false_alarm(code).unwrap();
            assert!(stated > f64::from(raised) / f64::from(captures) && stated < 1.0);
        }
    }
}
