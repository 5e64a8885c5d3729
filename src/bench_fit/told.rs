//! How well a capture tells what, and what it cannot tell apart.

use nalgebra::DMatrix;

use super::parameters::{PARAMETERS, Parameter, Values};
use super::solve::{Solution, values_at};

/// A parameter counts as told where the capture leaves less than this of the spread that it was thought to have.
const TOLD: f64 = 1.0 / 3.0;
/// A part of a direction that is worth a word.
const WORTH_A_WORD: f64 = 0.3;
/// Two that go together this closely leave each other more than twice as uncertain as they would be alone: 1/√(1 − 0.9²) = 2.3.
const TOGETHER: f64 = 0.9;
/// Beyond so many deviations two things differ: 3 in 1000 by chance.
const DIFFERS: f64 = 3.0;

/// One parameter, fitted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fitted {
    /// Which.
    pub parameter: Parameter,
    /// What was thought.
    pub thought: f64,
    /// What it is.
    pub value: f64,
    /// Standard deviation of `value`.
    pub sd: f64,
    /// By how many of them it differs from what was thought.
    pub sigmas: f64,
    /// The capture tells it; else what was thought beforehand still holds it.
    pub told: bool,
}

impl Fitted {
    /// Whether it differs from what was thought by more than chance makes likely.
    pub fn differs(&self) -> bool {
        self.sigmas.abs() > DIFFERS
    }
}

/// Parameters that can change together without the capture showing it.
#[derive(Clone, Debug, PartialEq)]
pub struct Untold {
    /// Each with the factor that it changes by while the others change by theirs: as far as the capture allows, or the spread thought of beforehand
    /// where that is less.
    pub factors: Vec<(Parameter, f64)>,
}

/// Two parameters that are each told, and better together than alone.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Trade {
    /// If this were 1 % more …
    pub one: Parameter,
    /// … this
    pub other: Parameter,
    /// would be so many per cent more.
    pub percent: f64,
    /// Correlation of the two.
    pub correlation: f64,
}

/// All of it.
pub(super) struct Told {
    pub parameters: Vec<Fitted>,
    pub untold: Vec<Untold>,
    pub trades: Vec<Trade>,
}

/// What a solution tells. `misfit`: what it leaves, over what the noise alone would.
pub(super) fn told(thought: &Values, solution: &Solution, misfit: f64) -> Option<Told> {
    // What no noise explains makes everything as uncertain as so much more noise would.
    let information = &solution.information / misfit.max(1.0);
    let own = DMatrix::identity(PARAMETERS, PARAMETERS) + &information;
    let covariance = own.try_inverse()?;
    let values = values_at(thought, &solution.at);
    let spreads: Vec<f64> = (0..PARAMETERS)
        .map(|k| covariance[(k, k)].max(0.0).sqrt())
        .collect();
    let parameters: Vec<Fitted> = Parameter::ALL
        .iter()
        .enumerate()
        .map(|(k, &parameter)| {
            let share = spreads[k] * parameter.spread();
            Fitted {
                parameter,
                thought: thought[k],
                value: values[k],
                sd: values[k] * share,
                sigmas: (values[k] / thought[k]).ln() / share,
                told: spreads[k] < TOLD,
            }
        })
        .collect();
    let mut untold = Vec::new();
    let eigen = information.symmetric_eigen();
    for (value, direction) in eigen
        .eigenvalues
        .iter()
        .zip(eigen.eigenvectors.column_iter())
    {
        let spread = 1.0 / value.max(1.0).sqrt();
        if spread < TOLD {
            continue;
        }
        let most = direction.amax();
        // Up or down is the same; the largest part goes up.
        let sign = if direction.max() == most { 1.0 } else { -1.0 };
        let mut parts: Vec<(Parameter, f64)> = Parameter::ALL
            .iter()
            .zip(direction.iter())
            .filter(|(_, part)| part.abs() > WORTH_A_WORD)
            .map(|(&parameter, part)| {
                let change = sign * part * spread * parameter.spread();
                (parameter, change.exp())
            })
            .collect();
        parts.sort_by(|a, b| b.1.ln().abs().total_cmp(&a.1.ln().abs()));
        untold.push(Untold { factors: parts });
    }
    let mut trades = Vec::new();
    let pairs = (0..PARAMETERS).flat_map(|i| (i + 1..PARAMETERS).map(move |j| (i, j)));
    for (i, j) in pairs {
        let correlation = covariance[(i, j)] / (spreads[i] * spreads[j]);
        if correlation.abs() < TOGETHER || !parameters[i].told || !parameters[j].told {
            continue;
        }
        let (one, other) = (Parameter::ALL[i], Parameter::ALL[j]);
        let slope = covariance[(i, j)] / covariance[(i, i)] * other.spread() / one.spread();
        trades.push(Trade {
            one,
            other,
            percent: slope,
            correlation,
        });
    }
    Some(Told {
        parameters,
        untold,
        trades,
    })
}

/// Whether two explanations are different benches: some parameter of the other lies outside what the first allows.
pub(super) fn differ(best: &[Fitted], other: &Values) -> bool {
    best.iter()
        .zip(other)
        .any(|(own, value)| (own.value - value).abs() > DIFFERS * own.sd)
}

#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::DVector;

    const THOUGHT: Values = [134e3, 20.0, 1e-3, 134e3, 30.0, 4e3];

    fn solution(information: DMatrix<f64>) -> Solution {
        Solution {
            at: [0.0; PARAMETERS + 2],
            sum: 0.0,
            left: 0.0,
            information,
            ring: false,
        }
    }

    /// A capture that tells everything but how far coupling and load go together names the two and nothing else.
    #[test]
    fn what_goes_together_is_named() {
        let mut unseen = DVector::<f64>::zeros(PARAMETERS);
        (unseen[2], unseen[5]) = (0.8, -0.6);
        let information =
            (DMatrix::identity(PARAMETERS, PARAMETERS) - &unseen * unseen.transpose()) * 1e6;
        let told = told(&THOUGHT, &solution(information), 1.0).unwrap();
        let names: Vec<Parameter> = told.untold[0].factors.iter().map(|part| part.0).collect();
        assert_eq!(told.untold.len(), 1);
        assert_eq!(names, [Parameter::Coupling, Parameter::Load]);
        // e^(0.8·1.0) and e^(−0.6·0.7): as far as was thought possible.
        assert!((told.untold[0].factors[0].1 - 0.8f64.exp()).abs() < 1e-6);
        assert!((told.untold[0].factors[1].1 - (-0.42f64).exp()).abs() < 1e-6);
        let untold: Vec<Parameter> = told
            .parameters
            .iter()
            .filter(|row| !row.told)
            .map(|row| row.parameter)
            .collect();
        assert_eq!(untold, names);
        // Others: 1e-3 of their spread.
        let sd = told.parameters[0].sd / (134e3 * Parameter::AntennaHz.spread());
        assert!((sd - 1e-3).abs() < 1e-6, "{sd}");
    }

    /// Noise four times as strong as was measured doubles every deviation.
    #[test]
    fn a_misfit_widens() {
        let information = DMatrix::identity(PARAMETERS, PARAMETERS) * 1e6;
        let [one, four] = [1.0, 4.0]
            .map(|misfit| told(&THOUGHT, &solution(information.clone()), misfit).unwrap());
        for (one, four) in one.parameters.iter().zip(&four.parameters) {
            assert!((four.sd / one.sd - 2.0).abs() < 1e-5, "{one:?} {four:?}");
            assert!(one.told && !one.differs());
        }
    }
}
