//! What is varied, and over which values.

use std::str::FromStr;

/// Most values of one axis: more is a typing error.
const MOST_VALUES: usize = 10_000;
/// Decimals that values are rounded to, beyond those of the numbers given.
const MOST_DECIMALS: usize = 12;

/// A name and its values: `NAME=FROM:TO:STEP` or `NAME=VALUE,VALUE,…`.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// Flag or scenario key.
    pub name: String,
    /// Values in the order given.
    pub values: Vec<f64>,
}

/// Why an axis cannot be understood.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum AxisError {
    /// No name, or no values.
    #[error("write NAME=FROM:TO:STEP or NAME=VALUE,VALUE,…, for example ebn0=-16:0:1")]
    Shape,
    /// Not a number.
    #[error("'{0}' is not a number")]
    Number(String),
    /// A step that does not lead from the first to the last value.
    #[error("a step of {0} does not lead from {1} to {2}")]
    Step(String, String, String),
    /// Too many values.
    #[error("{0} values; allowed are {MOST_VALUES}")]
    TooMany(u64),
    /// The same value twice.
    #[error("{0} stands there twice")]
    Twice(String),
}

fn number(text: &str) -> Result<f64, AxisError> {
    text.parse::<f64>()
        .ok()
        .filter(|value| value.is_finite())
        // −0 and 0 are one value.
        .map(|value| value + 0.0)
        .ok_or_else(|| AxisError::Number(text.into()))
}

/// Decimals of a number as written.
fn decimals(text: &str) -> usize {
    let (mantissa, exponent) = text
        .split_once(['e', 'E'])
        .map_or((text, 0), |(mantissa, e)| {
            (mantissa, e.parse::<i64>().unwrap_or(0))
        });
    let written = mantissa.split_once('.').map_or(0, |(_, tail)| tail.len()) as i64;
    written
        .saturating_sub(exponent)
        .clamp(0, MOST_DECIMALS as i64) as usize
}

impl FromStr for Axis {
    type Err = AxisError;

    fn from_str(text: &str) -> Result<Self, AxisError> {
        let (name, values) = text.split_once('=').ok_or(AxisError::Shape)?;
        let (name, values) = (name.trim(), values.trim());
        if name.is_empty() || values.is_empty() {
            return Err(AxisError::Shape);
        }
        let parts: Vec<&str> = values.split(':').map(str::trim).collect();
        let values = match parts.as_slice() {
            [list] => list
                .split(',')
                .map(|value| number(value.trim()))
                .collect::<Result<Vec<f64>, AxisError>>()?,
            &[from, to, step] => range(from, to, step)?,
            _ => return Err(AxisError::Shape),
        };
        if values.len() > MOST_VALUES {
            return Err(AxisError::TooMany(values.len() as u64));
        }
        let mut sorted = values.clone();
        sorted.sort_by(f64::total_cmp);
        if let Some(pair) = sorted.windows(2).find(|pair| pair[0] == pair[1]) {
            return Err(AxisError::Twice(pair[0].to_string()));
        }
        Ok(Self {
            name: name.into(),
            values,
        })
    }
}

/// Both ends belong to it, the last one if the steps lead there within a thousandth of a step.
fn range(from: &str, to: &str, step: &str) -> Result<Vec<f64>, AxisError> {
    let places = [from, to, step]
        .map(decimals)
        .into_iter()
        .max()
        .unwrap_or(0);
    let wrong = || AxisError::Step(step.into(), from.into(), to.into());
    let (first, last, by) = (number(from)?, number(to)?, number(step)?);
    let steps = ((last - first) / by + 1e-3).floor();
    if by == 0.0 || !steps.is_finite() || steps < 0.0 {
        return Err(wrong());
    }
    if steps >= MOST_VALUES as f64 {
        return Err(AxisError::TooMany((steps as u64).saturating_add(1)));
    }
    (0..=steps as u64)
        // Through its decimals: 0.1 + 2·0.1 is written, and becomes, 0.3.
        .map(|k| number(&format!("{:.places$}", first + k as f64 * by)))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ranges_and_lists_give_the_values_one_would_write() {
        let values = |text: &str| text.parse::<Axis>().unwrap().values;
        assert_eq!(values("ebn0=-16:-13:1"), [-16.0, -15.0, -14.0, -13.0]);
        assert_eq!(values("x=0.1:0.5:0.1"), [0.1, 0.2, 0.3, 0.4, 0.5]);
        assert_eq!(values("x=1:-1:-0.5"), [1.0, 0.5, 0.0, -0.5, -1.0]);
        assert!(values("x=1:-1:-0.5")[2].is_sign_positive());
        assert_eq!(values("x=1e-3:2e-3:5e-4"), [1e-3, 1.5e-3, 2e-3]);
        assert_eq!(values("x=0:1:0.3"), [0.0, 0.3, 0.6, 0.9]);
        assert_eq!(values("tag.1.tilt_deg=0,45,90"), [0.0, 45.0, 90.0]);
        assert_eq!(values("x=5:5:1"), [5.0]);
    }

    #[test]
    fn nonsense_is_refused() {
        for (text, want) in [
            ("ebn0", AxisError::Shape),
            ("=1:2:1", AxisError::Shape),
            ("x=", AxisError::Shape),
            ("x=1:2", AxisError::Shape),
            ("x=1,b", AxisError::Number("b".into())),
            ("x=nan", AxisError::Number("nan".into())),
            (
                "x=1:2:0",
                AxisError::Step("0".into(), "1".into(), "2".into()),
            ),
            (
                "x=1:2:-1",
                AxisError::Step("-1".into(), "1".into(), "2".into()),
            ),
            ("x=0:1e9:1", AxisError::TooMany(1_000_000_001)),
            ("x=0:1e300:1", AxisError::TooMany(u64::MAX)),
            (
                "x=1:2:1e-9223372036854775808",
                AxisError::Step("1e-9223372036854775808".into(), "1".into(), "2".into()),
            ),
            ("x=1,2,1", AxisError::Twice("1".into())),
        ] {
            assert_eq!(text.parse::<Axis>(), Err(want), "{text}");
        }
    }
}
