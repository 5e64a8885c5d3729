//! The field of several antennas seen from outside: it need not be strongest on an axis, and what cancels near by may not cancel far away.

use super::super::coil::{Coil, Outline, Place, Vector};
use super::exposure::LIGHT_M_PER_S;
use super::{FieldAt, Idle};
use num_complex::Complex64;
use std::f64::consts::{PI, TAU};

/// Directions looked at first, degrees apart: a field of two dipoles has lobes three times as wide at least, and beyond all windings it has little
/// that is finer.
const APART_DEG: f64 = 15.0;
/// Points on an axis each way, over twice the reach: a winding's field on its axis changes over a good part of its radius.
const AXIS_STEPS: i32 = 60;
/// The strongest direction is closed in on down to this.
const CLOSEST_DEG: f64 = 0.05;

impl Idle<'_> {
    /// Field that limits are about, at this distance: on the axis of one winding (its turns alone, where a metal sheet is beside it), else the
    /// strongest; nothing where windings reach as far.
    pub fn judged_at(&self, at_m: f64) -> Option<FieldAt> {
        if self.is_one_winding() {
            return Some(self.field_of_turns_at(Vector::new(0.0, 0.0, at_m)));
        }
        self.strongest_at(at_m)
    }

    /// Whether all there is is one winding: its field is strongest on its axis.
    pub fn is_one_winding(&self) -> bool {
        matches!(self.each().as_slice(), [(coil, _, _)] if coil.loops().is_empty())
    }

    /// The middle of all windings in the reader's frame, and how far the farthest turn is from it.
    pub fn extent_m(&self) -> (Vector, f64) {
        let windings: Vec<(Vector, f64)> = self
            .each()
            .iter()
            .flat_map(|(coil, place, _)| {
                let half_m = coil.half_diagonal_m();
                let moments = coil.moments_m2().into_iter();
                moments.map(move |(at, _)| (at.carried_by(place).centre_m(), half_m))
            })
            .collect();
        let sum: Vector = windings.iter().map(|winding| winding.0).sum();
        let middle = sum / windings.len() as f64;
        let reach_m = windings
            .iter()
            .map(|(centre, half_m)| (centre - middle).norm() + half_m)
            .fold(0.0, f64::max);
        (middle, reach_m)
    }

    /// The strongest field on the axes of the windings, from the middle of each to where all of them end.
    pub fn strongest_on_axes(&self) -> FieldAt {
        let (_, reach_m) = self.extent_m();
        let mut strongest = FieldAt::default();
        for (coil, place, _) in self.each() {
            for (at, _) in coil.moments_m2() {
                let winding = at.carried_by(&place);
                for step in -AXIS_STEPS..=AXIS_STEPS {
                    let along_m = 2.0 * reach_m * f64::from(step) / f64::from(AXIS_STEPS);
                    let field = self.field_at(winding.outward(Vector::z() * along_m));
                    if field.ut > strongest.ut {
                        strongest = field;
                    }
                }
            }
        }
        strongest
    }

    /// The strongest field at this distance from the middle of all windings, in whichever direction; nothing where windings reach as far.
    pub fn strongest_at(&self, at_m: f64) -> Option<FieldAt> {
        let (middle, reach_m) = self.extent_m();
        (at_m > reach_m).then(|| {
            let towards = strongest_direction(|way| self.field_at(middle + at_m * way).ut);
            self.field_at(middle + at_m * towards)
        })
    }

    /// The same far from all windings, where the field travels: A/m rms of their dipoles, each with its place and delay,
    /// H = [k²(n×m)×n/r + (3n(n·m) − m)(1/r³ + jk/r²)]·e^(−jkr)/4π (textbook). For one winding [`super::loop_field_a_per_m`].
    pub fn travelling_a_per_m(&self, at_m: f64) -> f64 {
        let (middle, _) = self.extent_m();
        let wave = TAU * self.field_hz() / LIGHT_M_PER_S;
        let dipoles: Vec<(Vector, Vector, Complex64)> = self
            .each()
            .iter()
            .flat_map(|(coil, place, current)| {
                let moments = coil.moments_m2().into_iter();
                moments.map(move |(at, moment)| {
                    let centre = at.carried_by(place).centre_m();
                    (centre - middle, place.turn(moment), *current)
                })
            })
            .collect();
        let field = |way: Vector| {
            let mut sum = [Complex64::ZERO; 3];
            for (centre, moment, current) in &dipoles {
                let away = at_m * way - centre;
                let r = away.norm();
                let n = away / r;
                let across = moment - n * n.dot(moment);
                let near = n * (3.0 * n.dot(moment)) - moment;
                let delay = current * Complex64::cis(-wave * r) / (4.0 * PI);
                let induced = Complex64::new(1.0 / r.powi(3), wave / (r * r));
                for (axis, sum) in sum.iter_mut().enumerate() {
                    *sum += delay * (induced * near[axis] + wave * wave / r * across[axis]);
                }
            }
            (sum.iter().map(Complex64::norm_sqr).sum::<f64>() / 2.0).sqrt()
        };
        field(strongest_direction(field))
    }
}

impl Coil {
    /// From the middle of a winding to its farthest turn, its length left out.
    fn half_diagonal_m(&self) -> f64 {
        let winding = self.winding();
        let outermost = self
            .outline()
            .grown(f64::from(winding.layers - 1) / 2.0 * winding.layer_pitch_m);
        match outermost {
            Outline::Circle { radius_m } => radius_m,
            Outline::Rectangle { width_m, height_m } => width_m.hypot(height_m) / 2.0,
        }
    }
}

/// The direction in which this is largest, a unit vector: looked for all round, then closed in on.
fn strongest_direction(size: impl Fn(Vector) -> f64) -> Vector {
    let way =
        |polar_deg: f64, round_deg: f64| Place::at(Vector::zeros(), polar_deg, round_deg).axis();
    let mut best = (Vector::z(), size(Vector::z()));
    let steps = |span_deg: f64| (span_deg / APART_DEG) as usize;
    for polar in 0..=steps(180.0) {
        for round in 0..steps(360.0) {
            let there = way(polar as f64 * APART_DEG, round as f64 * APART_DEG);
            let here = size(there);
            if here > best.1 {
                best = (there, here);
            }
        }
    }
    let mut step_deg = APART_DEG / 2.0;
    while step_deg > CLOSEST_DEG {
        let seed = if best.0.x.abs() < 0.7 {
            Vector::x()
        } else {
            Vector::y()
        };
        let side = best.0.cross(&seed).normalize();
        let other = best.0.cross(&side);
        let step = step_deg.to_radians().tan();
        let around = [side, -side, other, -other].map(|to| (best.0 + step * to).normalize());
        let found = around
            .map(|there| (there, size(there)))
            .into_iter()
            .max_by(|a, b| a.1.total_cmp(&b.1))
            .filter(|found| found.1 > best.1);
        match found {
            Some(found) => best = found,
            None => step_deg /= 2.0,
        }
    }
    best.0
}

#[cfg(test)]
mod tests {
    use super::super::super::scenario::Scenario;
    use super::super::{Antennas, loop_field_a_per_m};
    use super::*;

    fn idle<T>(keys: &str, look: impl Fn(&Idle<'_>) -> T) -> T {
        let scenario = Scenario::read(keys, &[]).unwrap();
        let station = scenario.reader.station(false).unwrap();
        let neighbour = scenario.neighbour().unwrap();
        let antennas = Antennas {
            station: &station,
            neighbour: neighbour.as_ref(),
        };
        look(&antennas.idle().unwrap())
    }

    const EIGHT: &str =
        "[[reader.loop]]\noffset_mm = -70\n[[reader.loop]]\noffset_mm = 70\nreversed = true\n";

    /// One winding is a dipole: strongest on its axis, near and far.
    #[test]
    fn one_winding_is_a_dipole() {
        idle("", |idle| {
            assert!(idle.is_one_winding());
            let axis = idle.field_at(Vector::new(0.0, 0.0, 10.0)).ut;
            let found = idle.strongest_at(10.0).unwrap().ut;
            assert!((found / axis - 1.0).abs() < 1e-6, "{found} {axis}");
            let moment = idle.antenna_a() * 45.0 * PI * 0.06 * 0.06;
            for at_m in [10.0, 300.0] {
                let want = loop_field_a_per_m(moment, 134_200.0, at_m);
                let got = idle.travelling_a_per_m(at_m);
                // The three layers' areas differ from the middle one's by (0.33 mm/60 mm)²·⅔.
                assert!((got / want - 1.0).abs() < 1e-4, "{got} {want}");
            }
            assert!(idle.strongest_at(0.05).is_none());
        });
    }

    /// A figure of eight far away is a quadrupole, r⁻⁴ in the near field (derived); and closing in finds what a fine search all round does.
    #[test]
    fn a_figure_of_eight_falls_with_the_fourth_power() {
        idle(EIGHT, |idle| {
            assert!(!idle.is_one_winding());
            let (middle, reach_m) = idle.extent_m();
            assert!(
                middle.norm() < 1e-12 && (reach_m - 0.1303).abs() < 1e-3,
                "{reach_m}"
            );
            let at = |m: f64| idle.strongest_at(m).unwrap().a_per_m;
            let power = (at(5.0) / at(10.0)).log2();
            assert!((power - 4.0).abs() < 0.01, "{power}");
            let mut fine: f64 = 0.0;
            for polar in 0..=90 {
                for round in 0..180 {
                    let way = Place::at(
                        Vector::zeros(),
                        2.0 * f64::from(polar),
                        2.0 * f64::from(round),
                    );
                    fine = fine.max(idle.field_at(10.0 * way.axis()).a_per_m);
                }
            }
            assert!(
                at(10.0) >= fine && at(10.0) < 1.001 * fine,
                "{} {fine}",
                at(10.0)
            );
        });
    }

    /// A gate in antiphase has no moment left, but a field.
    #[test]
    fn antiphase_is_not_nothing() {
        let gate = |phase: &str| {
            format!(
                "[second_reader]\nfield_hz = 134200\ndistance_mm = 500\ndrive_phase_deg = {phase}\n"
            )
        };
        let together = idle(&gate("0"), |idle| idle.travelling_a_per_m(300.0));
        let against = idle(&gate("180"), |idle| idle.travelling_a_per_m(300.0));
        assert!(
            against > 1e-4 * together && against < 0.02 * together,
            "{against} {together}"
        );
    }
}
