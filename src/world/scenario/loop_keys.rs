//! The windings of an antenna that has several. Units are in the names; meaning, default and range of every key are in [`super::KEYS`].
#![allow(missing_docs)]

use super::super::coil::{Coil, Loop};
use super::{PlaceKeys, ReaderKeys, ScenarioError};
use serde::{Deserialize, Serialize};

/// More windings than this in one antenna are a typing error; what they share goes with the square of their number.
pub(super) const MOST_LOOPS: usize = 8;

/// A winding in series with the others: that of the coil's table once more, at this place.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct LoopKeys {
    #[serde(flatten)]
    pub place: PlaceKeys,
    pub reversed: bool,
}

impl Default for LoopKeys {
    fn default() -> Self {
        LoopKeys {
            place: PlaceKeys {
                distance_mm: 0.0,
                ..PlaceKeys::default()
            },
            reversed: false,
        }
    }
}

impl ReaderKeys {
    /// The winding at each of its places, in series; as it is where none are given.
    pub(super) fn wound_in_series(
        &self,
        coil: Coil,
        table: &'static str,
    ) -> Result<Coil, ScenarioError> {
        let loops = self.loops.iter().map(|keys| Loop {
            place: keys.place.place(),
            reversed: keys.reversed,
        });
        coil.in_series(loops.collect())
            .map_err(|error| ScenarioError::Coil { table, error })
    }
}
