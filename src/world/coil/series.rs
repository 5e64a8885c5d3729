//! Several windings in series as one antenna: a figure of eight, both sides of a gate on one driver.

use super::{Coil, CoilError, Filament, Outline, Place, Vector, mutual_inductance_h};

/// Where a winding of an antenna is, and which way the current goes round it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loop {
    /// Its place in the antenna's frame.
    pub place: Place,
    /// Connected the other way round.
    pub reversed: bool,
}

impl Loop {
    fn sign(&self) -> f64 {
        if self.reversed { -1.0 } else { 1.0 }
    }
}

impl Coil {
    /// This winding at each of these places, all in series. Inductance, resistance, field and what it shares with other coils are those
    /// of all of them; outline, winding and wire stay those of one.
    ///
    /// Resistances are added: what the windings do to the current in each other's wire is left out. Two sides that run beside
    /// each other do so much as the turns of one of them do to each other, over the length they share, and fall with the square of the distance.
    ///
    /// # Errors
    /// [`CoilError::Touch`]: two turns of different windings nearer to each other than a wire is thick. [`CoilError::SheetAndLoops`]: beside
    /// a metal sheet.
    pub fn in_series(mut self, loops: Vec<Loop>) -> Result<Coil, CoilError> {
        if !self.images.is_empty() && !loops.is_empty() {
            return Err(CoilError::SheetAndLoops);
        }
        let turns = self.nodes();
        for (index, second) in loops.iter().enumerate() {
            for (other, first) in loops[..index].iter().enumerate() {
                let seen = second.place.seen_from(&first.place);
                let least_m = self.wire().diameter_m;
                let near = |a: &Filament, b: &Filament| nearest_m(a, b, &seen) < least_m;
                if turns
                    .iter()
                    .any(|(a, _)| turns.iter().any(|(b, _)| near(a, b)))
                {
                    return Err(CoilError::Touch {
                        first: other + 1,
                        second: index + 1,
                    });
                }
            }
        }
        self.loops = loops;
        Ok(self)
    }

    /// Its windings' places; empty for a single one at the origin.
    pub fn loops(&self) -> &[Loop] {
        &self.loops
    }

    /// How many windings it has.
    pub(super) fn windings(&self) -> f64 {
        self.loops.len().max(1) as f64
    }

    /// One of its windings, at the origin.
    pub fn one_winding(&self) -> Coil {
        let mut coil = self.clone();
        coil.loops.clear();
        coil
    }

    /// Place and moment per ampere (m², along the winding's axis) of every winding.
    pub fn moments_m2(&self) -> Vec<(Place, Vector)> {
        let area_m2 = self.turns_area_m2();
        self.each_winding()
            .into_iter()
            .map(|(place, sign)| (place, place.axis() * (sign * area_m2)))
            .collect()
    }

    /// Place and sign of every winding.
    pub(super) fn each_winding(&self) -> Vec<(Place, f64)> {
        match self.loops.as_slice() {
            [] => vec![(Place::origin(), 1.0)],
            loops => loops.iter().map(|one| (one.place, one.sign())).collect(),
        }
    }

    /// What the windings add to each other's inductance, H: negative in a figure of eight whose halves face each other.
    pub fn between_windings_h(&self) -> f64 {
        let one = self.one_winding();
        let mut sum = 0.0;
        for (index, second) in self.loops.iter().enumerate() {
            for first in &self.loops[..index] {
                let seen = second.place.seen_from(&first.place);
                sum += first.sign() * second.sign() * mutual_inductance_h(&one, &one, &seen);
            }
        }
        2.0 * sum
    }
}

/// Points of a turn that are looked at before the nearest are closed in on.
const LOOKED_AT: usize = 128;
/// Thirds taken off the interval about a nearest point: what is left of a hundredth of a turn is far below a wire.
const CLOSER: usize = 32;

/// How near two turns come; `place` is where the frame of the second is seen from the first.
fn nearest_m(first: &Filament, second: &Filament, place: &Place) -> f64 {
    let at = |share: f64| distance_m(first, &place.outward(point_of(second, share)));
    let share = |index: usize| index as f64 / LOOKED_AT as f64;
    let looked: Vec<f64> = (0..LOOKED_AT).map(|index| at(share(index))).collect();
    let mut nearest = f64::INFINITY;
    for (index, &here) in looked.iter().enumerate() {
        let before = looked[(index + LOOKED_AT - 1) % LOOKED_AT];
        let after = looked[(index + 1) % LOOKED_AT];
        if here > before || here > after {
            continue;
        }
        let (mut low, mut high) = (share(index) - share(1), share(index) + share(1));
        for _ in 0..CLOSER {
            let third = (high - low) / 3.0;
            if at(low + third) < at(high - third) {
                high -= third;
            } else {
                low += third;
            }
        }
        nearest = nearest.min(at(0.5 * (low + high)));
    }
    nearest
}

/// A point of a turn, by the share of its length from where it begins.
fn point_of(turn: &Filament, share: f64) -> Vector {
    let share = share.rem_euclid(1.0);
    match turn.outline {
        Outline::Circle { radius_m } => {
            let (sin, cos) = (std::f64::consts::TAU * share).sin_cos();
            Vector::new(radius_m * cos, radius_m * sin, turn.z_m)
        }
        Outline::Rectangle { width_m, height_m } => {
            let along = share * 2.0 * (width_m + height_m);
            let (x, y) = (width_m / 2.0, height_m / 2.0);
            let (x, y) = match along {
                s if s < width_m => (s - x, -y),
                s if s < width_m + height_m => (x, s - width_m - y),
                s if s < 2.0 * width_m + height_m => (x - (s - width_m - height_m), y),
                s => (-x, y - (s - 2.0 * width_m - height_m)),
            };
            Vector::new(x, y, turn.z_m)
        }
    }
}

/// From a point to the nearest one of a turn.
fn distance_m(turn: &Filament, point: &Vector) -> f64 {
    let across = match turn.outline {
        Outline::Circle { radius_m } => point.x.hypot(point.y) - radius_m,
        Outline::Rectangle { width_m, height_m } => {
            let (x, y) = (
                point.x.abs() - width_m / 2.0,
                point.y.abs() - height_m / 2.0,
            );
            if x <= 0.0 && y <= 0.0 {
                x.max(y)
            } else {
                x.max(0.0).hypot(y.max(0.0))
            }
        }
    };
    across.hypot(point.z - turn.z_m)
}

#[cfg(test)]
mod tests {
    use super::super::{MU_0, TagCoil, Winding, Wire};
    use super::*;

    fn coil(outline: Outline) -> Coil {
        let winding = Winding {
            turns: 8,
            layers: 2,
            pitch_m: 0.6e-3,
            layer_pitch_m: 0.6e-3,
        };
        Coil::new(outline, winding, Wire::copper(0.5e-3)).unwrap()
    }

    const ROUND: Outline = Outline::Circle { radius_m: 0.05 };

    fn beside(x_m: f64, reversed: bool) -> Loop {
        Loop {
            place: Place::at(Vector::new(x_m, 0.0, 0.0), 0.0, 0.0),
            reversed,
        }
    }

    /// Kirchhoff: the inductance of two windings in series is that of both and twice what they share, with the sign of the connection; far
    /// from each other that of both.
    #[test]
    fn inductances_add() {
        let one = coil(ROUND);
        let own_h = one.inductance_h(134_200.0);
        for apart_m in [0.12, 0.5] {
            let both = |reversed| {
                let loops = vec![beside(0.0, false), beside(apart_m, reversed)];
                let coil = one.clone().in_series(loops).unwrap();
                coil.inductance_h(134_200.0)
            };
            let place = Place::at(Vector::new(apart_m, 0.0, 0.0), 0.0, 0.0);
            let shared_h = mutual_inductance_h(&one, &one, &place);
            // Side by side, flux that goes up in one comes down in the other.
            assert!(shared_h < 0.0);
            for (reversed, sign) in [(false, 1.0), (true, -1.0)] {
                let want = 2.0 * own_h + sign * 2.0 * shared_h;
                let got = both(reversed);
                assert!((got / want - 1.0).abs() < 1e-12, "{got} {want}");
            }
        }
        let same = one.clone().in_series(vec![beside(0.0, false)]).unwrap();
        assert_eq!(same.inductance_h(134_200.0), own_h);
        assert_eq!(
            same.resistance_ohm(134_200.0),
            one.resistance_ohm(134_200.0)
        );
    }

    /// By symmetry: in the middle of a figure of eight the field lies flat, and it is zero in a gate driven in antiphase. Far away the eight's
    /// is a quadrupole's (derived: two dipoles of moments ±m, 2a apart; on the axis 3µ0·m·2a/(4π·z⁴), across).
    #[test]
    fn fields_that_cancel() {
        let eight = coil(ROUND)
            .in_series(vec![beside(-0.06, false), beside(0.06, true)])
            .unwrap();
        let at = eight.flux_density(&Vector::new(0.0, 0.0, 0.04));
        assert!(at.z.abs() < 1e-12 * at.x.abs() && at.y.abs() < 1e-12 * at.x.abs());
        let z_m = 4.0;
        let far = eight.flux_density(&Vector::new(0.0, 0.0, z_m));
        let moment: f64 = eight.one_winding().turns_area_m2();
        let want = 3.0 * MU_0 * moment * 0.12 / (4.0 * std::f64::consts::PI * z_m.powi(4));
        // Next order: (a/z)², 1e-3.
        assert!((far.x.abs() / want - 1.0).abs() < 2e-3, "{far} {want}");
        let sum: Vector = eight.moments_m2().iter().map(|moment| moment.1).sum();
        assert!(sum.norm() < 1e-15);
        let facing = Loop {
            place: Place::in_front(0.2, 0.0, 0.0),
            reversed: true,
        };
        let gate = coil(ROUND)
            .in_series(vec![beside(0.0, false), facing])
            .unwrap();
        let middle = gate.flux_density(&Vector::new(0.0, 0.0, 0.1));
        assert!(middle.norm() < 1e-12 * coil(ROUND).flux_density(&Vector::zeros()).norm());
    }

    /// Reciprocity: what two antennas share is the same seen from either, and with a tag it is the sum over the windings.
    #[test]
    fn shared_alike_from_either_side() {
        let flat = Outline::Rectangle {
            width_m: 0.1,
            height_m: 0.16,
        };
        let first = coil(flat)
            .in_series(vec![beside(-0.06, false), beside(0.06, true)])
            .unwrap();
        let second = coil(ROUND)
            .in_series(vec![beside(-0.07, true), beside(0.06, false)])
            .unwrap();
        let place = Place::at(Vector::new(0.03, -0.02, 0.15), 40.0, 70.0);
        let back = Place::origin().seen_from(&place);
        let (there, here) = (
            mutual_inductance_h(&first, &second, &place),
            mutual_inductance_h(&second, &first, &back),
        );
        assert!((there / here - 1.0).abs() < 1e-9, "{there} {here}");
        let tag = TagCoil {
            inductance_h: 5e-3,
            q: 30.0,
            effective_area_m2: 1e-2,
            rod_length_m: 0.01,
        };
        let got = tag.mutual_inductance_h(&first, &place);
        let one = first.one_winding();
        let want: f64 = first
            .loops()
            .iter()
            .map(|part| part.sign() * tag.mutual_inductance_h(&one, &place.seen_from(&part.place)))
            .sum();
        assert!((got / want - 1.0).abs() < 1e-9, "{got} {want}");
    }

    #[test]
    fn windings_that_touch_are_refused() {
        for (first, second) in [
            (beside(0.0, false), beside(0.0, false)),
            (beside(0.0, false), beside(0.05, true)),
            (beside(0.0, false), beside(0.1, true)),
            (
                beside(0.0, false),
                Loop {
                    place: Place::at(Vector::zeros(), 90.0, 30.0),
                    reversed: false,
                },
            ),
        ] {
            let refused = coil(ROUND).in_series(vec![first, second]);
            assert!(
                matches!(refused, Err(CoilError::Touch { .. })),
                "{second:?}"
            );
        }
        // Half a millimetre beyond the outer layers (pitch 0.6 mm, wire 0.5 mm).
        assert!(
            coil(ROUND)
                .in_series(vec![beside(0.0, false), beside(0.1012, true)])
                .is_ok()
        );
        assert!(
            nearest_of(
                Outline::Rectangle {
                    width_m: 0.1,
                    height_m: 0.2
                },
                0.13
            ) - 0.03
                < 1e-9
        );
    }

    fn nearest_of(outline: Outline, apart_m: f64) -> f64 {
        let turn = Filament { outline, z_m: 0.0 };
        let place = Place::at(Vector::new(apart_m, 0.0, 0.0), 0.0, 0.0);
        nearest_m(&turn, &turn, &place)
    }
}
