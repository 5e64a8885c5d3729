//! The bench that a capture was made on: what the receiver measured, and a bench as its builder thinks it is → the bench as it is.
//!
//! Free are the antenna's resonance and quality, the coupling, and the tag's resonance, quality and load ([`Parameter`]); everything else is
//! taken as thought. Fitted is the complex ripple relative to the field, line by line of its spectrum, against the ripple that the circuits of
//! [`world`](crate::world) make of the number that was read; where the field is switched, the ring of the antenna takes part. Neither volts
//! nor the probe's factor nor the drive matter for that.
//!
//! A pick-up coil hears antenna and tag. All places are taken as thought then: a coupling other than thought is that of a tag's coil with more or
//! less effective area, of which the pick-up coil hears more or less by the same factor. What is told is as uncertain then as at 17 dB where
//! Eb/N0 is better.
//!
//! What the antenna does to the ripple is in every change of the load, what the tag's open tank does only in those to open, and what the closed one
//! does only in those to closed: that tells antenna and tag apart. Where noise hides it, [`BenchFit::untold`] names what can change together;
//! where two benches fit alike, [`BenchFit::others`] has the other one.

mod change;
mod measured;
mod model;
mod parameters;
mod record;
mod search;
mod solve;
mod told;

use thiserror::Error;

pub use change::{Change, Kind as ChangeKind};
pub use parameters::{PARAMETERS, Parameter, Thought, Values};
pub use told::{Fitted, Trade, Untold};

use crate::receiver::Reception;
use crate::world::circuit::CircuitError;
use crate::world::link::{LinkError, Tap};
use measured::Measured;
use model::Model;
use solve::values_at;

/// Twice the natural logarithm of the odds at which another explanation is still told: e^−4.5, 1 in 90, as three deviations of one parameter.
const STILL_LIKELY: f64 = 9.0;
/// So many spreads ([`Parameter::spread`]) off what was thought nothing is believed: 1 in 16 000 of benches, and what is no bench at all (a ripple with
/// ideal edges) ends there.
const TOO_FAR: f64 = 4.0;
/// Eb/N0 (a ratio, 17 dB) above which a pick-up coil's capture tells no more than at it: benches of `check_fit.py --pick-up` came out
/// off by up to five standard deviations at 35 dB, for a reason that was not found. Measured, not derived.
const HEARD_TO: f64 = 50.0;

/// A misfit above 1 by this many of its standard deviations is not the noise's.
const NO_CHANCE: f64 = 5.0;

/// Why no bench can be fitted to a capture.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum FitError {
    /// Nothing was read.
    #[error(
        "no number was read, and without one nobody knows what the tag sent: fieldripple decode says why"
    )]
    NoNumber,
    /// More than one tag.
    #[error(
        "{count} numbers were read; a bench is fitted to the ripple of one tag alone: take the others away"
    )]
    Several {
        /// How many.
        count: usize,
    },
    /// Rectified, or two levels.
    #[error(
        "the capture holds no carrier, and with it the ripple's angle is gone: take it at the antenna, before any detector"
    )]
    NoCarrier,
    /// The peaks are cut off.
    #[error("{:.2} % of the samples are at the digitiser's limits, which takes away what lies along the field: set a larger range", 100.0 * share)]
    Clipped {
        /// Share of the samples.
        share: f64,
    },
    /// Too little of it.
    #[error(
        "the capture holds {telegrams:.1} telegrams of that tag; at least 3 are needed, 0.1 s of field"
    )]
    Short {
        /// Telegrams.
        telegrams: f64,
    },
    /// No band beside the field.
    #[error(
        "the capture keeps only {band_hz:.0} Hz beside the field: a higher sample rate is needed"
    )]
    Narrow {
        /// Half its band.
        band_hz: f64,
    },
    /// A pick-up coil that hears no field.
    #[error(
        "the scenario's pick-up coil hears nothing of the antenna where it is, so its capture is not of this bench: give probe.distance_mm, offset_mm and tilt_deg as they are"
    )]
    PickUp,
    /// Nothing fits.
    #[error(
        "no bench near the scenario's makes such a ripple: reader and tag of the scenario must be roughly those of the capture"
    )]
    NothingFits,
    /// The circuits cannot be joined.
    #[error(transparent)]
    Circuit(#[from] CircuitError),
    /// The half bits cannot be sent.
    #[error(transparent)]
    Link(#[from] LinkError),
}

/// Another bench that explains the capture nearly as well.
#[derive(Clone, Debug, PartialEq)]
pub struct Other {
    /// Its values, in the order of [`Parameter::ALL`].
    pub values: Values,
    /// How much less likely it is than the first, as a factor (0 to 1).
    pub likelihood: f64,
}

/// A bench, fitted.
#[derive(Clone, Debug)]
pub struct BenchFit {
    /// The parameters, in the order of [`Parameter::ALL`].
    pub parameters: Vec<Fitted>,
    /// What can change together without the capture showing it.
    pub untold: Vec<Untold>,
    /// Pairs that are told better together than each alone.
    pub trades: Vec<Trade>,
    /// Other benches that fit nearly as well, likeliest first.
    pub others: Vec<Other>,
    /// Power that the bench leaves, over what the noise is: 1 where it explains everything. Where the noise had to be taken from what is left
    /// (`noise_is_known` false) it is 1 by that.
    pub misfit: f64,
    /// The misfit is more than chance makes of noise: the standard deviations are widened by its root.
    pub misfits: bool,
    /// Noise was measured, from what differs between telegrams.
    pub noise_is_known: bool,
    /// Share of the ripple (rms) that the bench leaves unexplained beyond the noise.
    pub unexplained: f64,
    /// Whether the antenna's ring at the field's edges took part.
    pub ring: bool,
    /// The tag switches a capacitor: its load is in pF.
    pub switches_capacitor: bool,
    /// Telegrams used.
    pub telegrams: f64,
    /// Field at the probe that this bench would make with the drive and divider as thought, peak V.
    pub field_v: f64,
    /// Peak voltage across the antenna, with the drive as thought, V.
    pub antenna_v: f64,
    /// Where a tag as thought would have the fitted coupling, mm; `None`: nowhere on its line away from the antenna, or a pick-up coil's capture,
    /// in which all places are as thought.
    pub distance_mm: Option<f64>,
    /// Single changes that would buy something, the best first.
    pub changes: Vec<Change>,
}

/// Fits a bench to a reception of a capture with one tag, read at these odds.
///
/// # Errors
/// [`FitError`] says why a capture or a bench does not do.
pub fn fit(reception: &Reception, odds: f64, thought: &Thought<'_>) -> Result<BenchFit, FitError> {
    let mut measured = Measured::of(reception, odds)?;
    let model = Model::new(thought, measured.field_hz, measured.half_bits.clone())?;
    if model.is_deaf() {
        return Err(FitError::PickUp);
    }
    let models = [model.inverted(), model];
    let [_, model] = &models;
    let own = model.parts.thought;
    let found = search::explanations(&mut measured, &models)?;
    let Some((_, best)) = found.first() else {
        return Err(FitError::NothingFits);
    };
    if best.at[..PARAMETERS].iter().any(|off| off.abs() > TOO_FAR) {
        return Err(FitError::NothingFits);
    }
    let values = values_at(&own, &best.at);
    let numbers: usize = measured.records.iter().map(|r| r.spectrum.len()).sum();
    let degrees = 2.0 * numbers as f64 - PARAMETERS as f64 - 2.0;
    let misfit = best.left / degrees;
    let misfits = misfit > 1.0 + NO_CHANCE * (2.0 / degrees).sqrt();
    let widened = match thought.listening.tap {
        Tap::PickUp(..) => (measured.ebn0 / HEARD_TO).max(1.0),
        Tap::Antenna => 1.0,
    };
    let widened = if misfits {
        widened.max(misfit)
    } else {
        widened
    };
    let told = told::told(&own, best, widened).ok_or(FitError::NothingFits)?;
    let weight: f64 = measured
        .records
        .iter()
        .flat_map(|record| record.spectrum.iter().zip(&record.noise))
        .map(|(value, noise)| 2.0 * value.norm_sqr() / noise)
        .sum();
    let unexplained = ((best.left - degrees).max(0.0) / (weight - degrees).max(1.0)).sqrt();
    let others: Vec<Other> = found[1..]
        .iter()
        .map(|(_, other)| Other {
            values: values_at(&own, &other.at),
            likelihood: (-0.5 * (other.sum - best.sum) / widened).exp(),
        })
        .filter(|other| other.likelihood > (-0.5 * STILL_LIKELY).exp())
        .filter(|other| told::differ(&told.parameters, &other.values))
        .collect();
    Ok(BenchFit {
        untold: told.untold,
        trades: told.trades,
        others,
        misfit,
        misfits,
        noise_is_known: measured.records.iter().all(|r| r.noise_is_known()),
        unexplained,
        ring: best.ring,
        switches_capacitor: model.parts.switches_capacitor(),
        telegrams: measured.telegrams,
        field_v: thought.listening.scale * model.sent(&values)?.field_v,
        antenna_v: change::antenna_v(model, &values)?,
        distance_mm: match thought.listening.tap {
            Tap::Antenna => change::distance_mm(thought, values[2]),
            Tap::PickUp(..) => None,
        },
        changes: change::changes(thought, model, &values)?,
        parameters: told.parameters,
    })
}
