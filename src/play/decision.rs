//! Steps at the boundaries between bits → what the program decides from them.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::words::odds_words;
use super::{Unanswered, within};
use crate::receiver::decision::{Boundaries, Known, decide};
use crate::receiver::fits_noise;
use crate::telegram::{Identity, TELEGRAM_BITS};

/// Odds of a wrong number at which `decode` and `link` call a capture read.
pub const READ_ODDS: f64 = 1e-5;

/// The question.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct DecisionQuestion {
    /// Half the step at each of the 128 boundaries, in any unit.
    pub steps: Vec<f64>,
    /// Variance of the noise in each, in the unit's square.
    pub noise_var: f64,
}

impl DecisionQuestion {
    pub(super) fn answer(&self) -> Result<Value, Unanswered> {
        let steps: [f64; TELEGRAM_BITS] =
            self.steps.as_slice().try_into().map_err(|_| {
                Unanswered::new(format!("{} steps: 128 are needed", self.steps.len()))
            })?;
        for step in steps {
            within("a step", step, -1e6, 1e6)?;
        }
        let noise_var = within("noise_var", self.noise_var, 1e-12, 1e12)?;
        Ok(decided(steps, noise_var))
    }
}

/// What is decided from steps with noise of that variance: number, odds, whether it fits; null where nothing is.
pub(super) fn decided(steps: [f64; TELEGRAM_BITS], noise_var: f64) -> Value {
    let boundaries = Boundaries {
        // The last bit is a control bit, a 1: it turns the next boundary over.
        inverts: steps[TELEGRAM_BITS - 1] * steps[0] > 0.0,
        sums: steps,
        energies: [1.0; TELEGRAM_BITS],
        overlap: 0.0,
        noise_var,
        amplitude: None,
        known: Known::Nothing,
    };
    match decide(&boundaries) {
        Some(decision) => {
            let fits = fits_noise(decision.misfit);
            json!({
                "id": Identity::from_code(decision.telegram.code).to_string(),
                "odds": decision.odds_wrong,
                "words": odds_words(decision.odds_wrong),
                "fits": fits,
                "contradicted": decision.contradicted,
                "read": fits && decision.odds_wrong <= READ_ODDS,
            })
        }
        None => Value::Null,
    }
}
