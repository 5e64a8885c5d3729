//! A bench with a metal sheet: the antenna beside it, and what may stand before it.

use super::super::coil::{Coil, MU_0, TagCoil};
use super::{PlaceKeys, ProbeAt, ReaderKeys, Scenario, ScenarioError};

/// A tag whose own inductance the sheet changes by more than this would be tuned otherwise than the numbers say: half of it in
/// frequency, a sixth of the bandwidth at Q 35.
const MOST_OF_TAG: f64 = 0.01;

impl ReaderKeys {
    /// The antenna beside its metal sheet, if it has one.
    pub(super) fn beside_metal(&self, coil: Coil) -> Result<Coil, ScenarioError> {
        let Some(keys) = &self.metal_sheet else {
            return Ok(coil);
        };
        coil.beside(&keys.sheet(), self.field_hz)
            .map_err(|error| ScenarioError::Coil {
                table: "reader.metal_sheet",
                error,
            })
    }
}

impl Scenario {
    /// Whether what is at this place is on the antenna's side of the metal sheet, if there is one, and a tag far enough from it.
    ///
    /// # Errors
    /// [`ScenarioError::Together`]: behind the sheet, where no image tells the field, or so near that the tag's own tuning changes.
    pub fn before_metal(
        &self,
        place: &PlaceKeys,
        tag: Option<&TagCoil>,
    ) -> Result<(), ScenarioError> {
        let Some(keys) = &self.reader.metal_sheet else {
            return Ok(());
        };
        let outward = keys.at_mm.signum();
        let half_mm = tag.map_or(0.0, |tag| {
            500.0 * tag.rod_length_m * place.place().axis().z.abs()
        });
        let gap_m = 1e-3 * (outward * (keys.at_mm - place.distance_mm) - half_mm);
        // Two dipoles face to face or side by side: M = µ0·A²·(1 + cos²θ)/(4π·(2d)³) between the tag and its image.
        let own = tag.map_or(0.0, |tag| {
            let along = 1.0 + place.place().axis().z.powi(2);
            let distance_m = 2.0 * (gap_m + 1e-3 * half_mm);
            MU_0 * tag.effective_area_m2.powi(2) * along
                / (4.0 * std::f64::consts::PI * distance_m.powi(3) * tag.inductance_h)
        });
        let refuse = |why: &str| {
            Err(ScenarioError::Together(format!(
                "a distance of {} mm is {why} the metal sheet at {} mm; allowed is the antenna's side of it{}",
                place.distance_mm,
                keys.at_mm,
                if gap_m > 0.0 { ", farther away" } else { "" }
            )))
        };
        match gap_m {
            gap if gap <= 0.0 => refuse("behind or in"),
            _ if own > MOST_OF_TAG => refuse("so near that it detunes the tag itself:"),
            _ => Ok(()),
        }
    }

    /// Everything that is placed is before the metal sheet.
    pub(super) fn check_metal(&self) -> Result<(), ScenarioError> {
        if self.reader.metal_sheet.is_none() {
            return Ok(());
        }
        self.beside_sheet_at_all()?;
        for tag in &self.tag {
            let coil = tag.transponder(self.field_hz()).coil;
            let places = tag.track.iter().map(|point| &point.place);
            if tag.track.is_empty() {
                self.before_metal(&tag.place, Some(&coil))?;
            }
            for place in places {
                self.before_metal(place, Some(&coil))?;
            }
        }
        if self.probe.at == ProbeAt::Pickup {
            self.before_metal(&self.probe.place, None)?;
        }
        Ok(())
    }

    /// The coil and the sheet themselves.
    fn beside_sheet_at_all(&self) -> Result<(), ScenarioError> {
        self.reader
            .beside_metal(self.reader.coil.coil("reader.coil")?)
            .map(|_| ())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Scenario, String> {
        Scenario::read(text, &[]).map_err(|error| error.to_string())
    }

    /// Tuned before it came beside the sheet an antenna keeps its capacitor and resonates higher (a conductor takes inductance away); tuned beside it, at
    /// the field.
    #[test]
    fn detuned_or_tuned_beside_it() {
        let station = |more: &str| {
            let text = format!("[reader.metal_sheet]\nat_mm = -20\n{more}[[tag]]\n");
            read(&text).unwrap().reader.station(false).unwrap()
        };
        let alone = read("[[tag]]\n").unwrap().reader.station(false).unwrap();
        let (before, beside) = (station(""), station("tuned_beside = true\n"));
        let (free, near) = (&alone.circuit, &before.circuit);
        assert_eq!(near.capacitance_f, free.capacitance_f);
        assert!(near.inductance_h < 0.9 * free.inductance_h && near.coil_ohm > free.coil_ohm);
        assert!(near.resonance_hz() > 1.05 * free.resonance_hz());
        assert!((beside.circuit.resonance_hz() / 134_200.0 - 1.0).abs() < 1e-9);
        assert_eq!(beside.circuit.inductance_h, near.inductance_h);
    }

    #[test]
    fn what_is_behind_the_sheet_is_refused() {
        let sheet = |at_mm: f64, rest: &str| {
            read(&format!("[reader.metal_sheet]\nat_mm = {at_mm}\n{rest}"))
        };
        assert!(sheet(-30.0, "[[tag]]\n").is_ok() && sheet(200.0, "[[tag]]\n").is_ok());
        for (at_mm, rest, word) in [
            (60.0, "[[tag]]\n", "behind"),
            (-1.0, "[[tag]]\n", "winding"),
            (
                90.0,
                "[[tag]]\neffective_area_cm2 = 2000\n",
                "detunes the tag",
            ),
            (
                200.0,
                "[[tag]]\n[[tag.track]]\n[[tag.track]]\nat_ms = 9\ndistance_mm = 210\n",
                "behind",
            ),
            (
                200.0,
                "[[tag]]\n[probe]\nat = \"pickup\"\ndistance_mm = 300\n",
                "behind",
            ),
        ] {
            let why = sheet(at_mm, rest).unwrap_err();
            assert!(why.contains(word) && !why.contains('\n'), "{why}");
        }
        let gate = sheet(-30.0, "[[tag]]\n[second_reader]\n").unwrap();
        let why = gate.neighbour().unwrap_err().to_string();
        assert!(why.contains("[second_reader]"), "{why}");
    }
}
