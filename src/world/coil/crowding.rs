//! How the turns of a coil push each other's currents about: the impedance that proximity adds.
//!
//! Around a point of the coil its wires are parallel round cylinders. Each lies in the field of all others and answers with
//! multipoles; those are part of the field the others lie in, and the sum is iterated until it stands (Rayleigh's method for
//! cylinders, textbook). An order m of a field across a wire, A = α·ρᵐ·e^{±jmφ}, is answered by α·a²ᵐ·ρ⁻ᵐ·J_{m+1}(ka)/J_{m−1}(ka), which
//! follows from A and its slope being continuous at the surface of a wire of radius a with k² = −jωµσ.
//!
//! The field of the turns' own currents is that of rings or rectangles in space, its finer structure (m ≥ 2) and the answers of
//! the wires to each other are those of straight ones: both matter between neighbours only, whose distance is small against
//! the coil.
//!
//! Rejected: the field of the neighbours as filaments taken as uniform over the wire (it gave too little for one layer and
//! too much for several: the answers weaken the field inside a winding and strengthen it between neighbours).

use super::{Coil, Filament, MU_0, Outline, Vector};
use num_complex::Complex64;
use std::f64::consts::PI;

/// Orders taken. For wires all but touching (pitch 1.1 diameters) the next one adds 0.1 % of the resistance.
const ORDERS: usize = 6;
/// Pairs farther apart than this many wire radii answer each other as dipoles only: the next order is (1/20)³ of them.
const NEAR_RADII: f64 = 20.0;
/// And pairs farther apart than this not at all; over that distance the wires are no longer straight either.
const FAR_RADII: f64 = 100.0;
/// Iterations end when nothing moves by more than this part.
const SETTLED: f64 = 1e-10;
const MOST_ROUNDS: usize = 200;

/// Coefficients of one wire for e^{+jmφ} and e^{−jmφ}, m from 1, in units of the wire radius.
#[derive(Clone, Copy, Default)]
struct Orders {
    plus: [Complex64; ORDERS],
    minus: [Complex64; ORDERS],
}

impl Coil {
    /// What proximity adds to the series impedance at this frequency, Ω: resistance, and the (negative) reactance of the flux
    /// that the wires keep out.
    pub fn crowding_ohm(&self, frequency_hz: f64) -> Complex64 {
        let answers = answers(self.wire().argument(frequency_hz));
        let radius_m = self.wire().radius_m();
        let mut henry = Complex64::from(0.0);
        for side in 0..sides(self.outline()) {
            let turns = self.turns_at(side);
            let places: Vec<Complex64> = turns.iter().map(|turn| turn.at / radius_m).collect();
            let own: Vec<Orders> = (0..turns.len())
                .map(|index| given(&places, index, turns[index].field * (radius_m / 2.0)))
                .collect();
            let settled = settle(&places, &own, &answers);
            for ((turn, own), settled) in turns.iter().zip(&own).zip(&settled) {
                for (index, &answer) in answers.iter().enumerate() {
                    // Reciprocity: what a wire's multipole induces in all turns is what their field brings to it.
                    let pair = settled.plus[index] * own.minus[index]
                        + settled.minus[index] * own.plus[index];
                    henry += answer * pair * (turn.length_m * 4.0 * PI * (index + 1) as f64 / MU_0);
                }
            }
        }
        Complex64::new(0.0, 2.0 * PI * frequency_hz) * henry
    }

    /// The turns as they pass one side of the coil.
    fn turns_at(&self, side: usize) -> Vec<Turn> {
        let layers: Vec<_> = self.layers().collect();
        let columns = self.columns() as usize;
        let pitch_m = self.winding().pitch_m;
        let mut turns = Vec::new();
        for &(outline, count) in &layers {
            let (out_m, out, length_m) = pass(outline, side);
            // fields[other][steps]: the field of a turn of layer `other`, `steps` columns below.
            let fields: Vec<Vec<Vector>> = layers
                .iter()
                .map(|&(other, _)| {
                    (0..columns)
                        .map(|steps| {
                            if other == outline && steps == 0 {
                                return own_field(outline, self.wire().radius_m());
                            }
                            let turn = Filament {
                                outline: other,
                                z_m: 0.0,
                            };
                            let point = out * out_m + Vector::z() * (steps as f64 * pitch_m);
                            turn.flux_density(&point)
                        })
                        .collect()
                })
                .collect();
            for column in 0..count as usize {
                let (mut outward, mut up) = (0.0, 0.0);
                for (table, &(_, others)) in fields.iter().zip(&layers) {
                    for other in 0..others as usize {
                        let flux = table[column.abs_diff(other)];
                        // Seen from above or below, the part across the axis changes sign.
                        let turned = if column >= other { 1.0 } else { -1.0 };
                        outward += turned * flux.dot(&out);
                        up += flux.z;
                    }
                }
                turns.push(Turn {
                    at: Complex64::new(out_m, column as f64 * pitch_m),
                    field: Complex64::new(up, outward),
                    length_m,
                });
            }
        }
        turns
    }
}

/// A turn where it passes: place (outward + j·up), flux density per ampere (up + j·outward), length of wire this stands for.
struct Turn {
    at: Complex64,
    field: Complex64,
    length_m: f64,
}

/// A circle is the same everywhere; a rectangle has two kinds of side, taken at their middles (near the corners the field
/// of the others is up to twice as strong over about one winding width).
fn sides(outline: Outline) -> usize {
    match outline {
        Outline::Circle { .. } => 1,
        Outline::Rectangle { .. } => 2,
    }
}

/// Where a turn passes a side: distance from the axis, direction outwards, length of wire of both sides of this kind.
fn pass(outline: Outline, side: usize) -> (f64, Vector, f64) {
    match (outline, side) {
        (Outline::Circle { radius_m }, _) => (radius_m, Vector::x(), outline.length_m()),
        (Outline::Rectangle { width_m, height_m }, 0) => {
            (width_m / 2.0, Vector::x(), 2.0 * height_m)
        }
        (Outline::Rectangle { width_m, height_m }, _) => {
            (height_m / 2.0, Vector::y(), 2.0 * width_m)
        }
    }
}

/// Field of a turn on its own wire because the turn is curved: the uniform field that would push the wire outwards with the
/// force ½·I²·dL/dR, µ0(ln(8R/a) − 1)/(4πR). A straight side has none.
fn own_field(outline: Outline, wire_radius_m: f64) -> Vector {
    match outline {
        Outline::Circle { radius_m } => {
            let turns = (8.0 * radius_m / wire_radius_m).ln() - 1.0;
            Vector::z() * (MU_0 * turns / (4.0 * PI * radius_m))
        }
        Outline::Rectangle { .. } => Vector::zeros(),
    }
}

/// J_{m+1}(z)/J_{m−1}(z) for m from 1, by the downward recurrence of the ratios J_m/J_{m−1} = 1/(2m/z − J_{m+1}/J_m), which is stable
/// in that direction.
fn answers(z: Complex64) -> [Complex64; ORDERS] {
    let start = ORDERS + 30 + (2.0 * z.norm()) as usize;
    let mut ratios = [Complex64::from(0.0); ORDERS + 2];
    let mut ratio = Complex64::from(0.0);
    for order in (1..=start).rev() {
        ratio = (2.0 * order as f64 / z - ratio).inv();
        if order < ratios.len() {
            ratios[order] = ratio;
        }
    }
    std::array::from_fn(|index| ratios[index + 1] * ratios[index + 2])
}

/// What the currents of all turns (1 A) bring to a wire. `dipole`: their uniform part there, already in units of the radius.
fn given(places: &[Complex64], index: usize, dipole: Complex64) -> Orders {
    let mut orders = Orders::default();
    for (other, &place) in places.iter().enumerate() {
        if other == index {
            continue;
        }
        let inverse = (place - places[index]).inv();
        let mut power = inverse;
        for order in 1..ORDERS {
            power *= inverse;
            let part = power * (MU_0 / (4.0 * PI * (order + 1) as f64));
            orders.plus[order] += part;
            orders.minus[order] += part.conj();
        }
    }
    orders.plus[0] = dipole;
    orders.minus[0] = dipole.conj();
    orders
}

/// The field each wire lies in when all have answered all.
fn settle(places: &[Complex64], own: &[Orders], answers: &[Complex64; ORDERS]) -> Vec<Orders> {
    let near = neighbours(places);
    let mut fields = own.to_vec();
    for _ in 0..MOST_ROUNDS {
        let (mut moved, mut size) = (0.0f64, 0.0f64);
        for target in 0..places.len() {
            let mut field = own[target];
            for &source in &near[target] {
                hear(
                    &mut field,
                    places[target] - places[source],
                    &fields[source],
                    answers,
                );
            }
            for order in 0..ORDERS {
                moved = moved
                    .max((field.plus[order] - fields[target].plus[order]).norm())
                    .max((field.minus[order] - fields[target].minus[order]).norm());
                size = size.max(field.plus[order].norm());
            }
            fields[target] = field;
        }
        if moved <= SETTLED * size {
            break;
        }
    }
    fields
}

/// For each wire the others that answer it.
fn neighbours(places: &[Complex64]) -> Vec<Vec<usize>> {
    (0..places.len())
        .map(|target| {
            (0..places.len())
                .filter(|&source| {
                    source != target && (places[source] - places[target]).norm() < FAR_RADII
                })
                .collect()
        })
        .collect()
}

/// Adds what a wire answers, at another one `way` from it: z⁻ᵐ = Σ (−1)ᵏ·C(m+k−1, k)·t^{−m−k}·ζᵏ with z = t + ζ.
fn hear(field: &mut Orders, way: Complex64, source: &Orders, answers: &[Complex64; ORDERS]) {
    let orders = if way.norm() < NEAR_RADII { ORDERS } else { 1 };
    let inverse = way.inv();
    let mut first = Complex64::from(1.0);
    for from in 1..=orders {
        first *= inverse;
        // A multipole in e^{+jφ} is a function of the conjugate place, one in e^{−jφ} of the place itself.
        let plus = answers[from - 1] * source.minus[from - 1];
        let minus = answers[from - 1] * source.plus[from - 1];
        let (mut power, mut choose) = (first, 1.0);
        for to in 1..=orders {
            power *= -inverse;
            choose *= (from + to - 1) as f64 / to as f64;
            field.plus[to - 1] += plus * power * choose;
            field.minus[to - 1] += minus * power.conj() * choose;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Winding, Wire};
    use super::*;

    const FIELD_HZ: f64 = 134_200.0;

    fn round(radius_m: f64, turns: u32, layers: u32, pitch_m: f64, wire_m: f64) -> Coil {
        let winding = Winding {
            turns,
            layers,
            pitch_m,
            layer_pitch_m: pitch_m,
        };
        Coil::new(Outline::Circle { radius_m }, winding, Wire::copper(wire_m)).unwrap()
    }

    /// Two distant turns of thin wire: the added resistance is that of the exact low-frequency loss in the field of one filament.
    #[test]
    fn two_turns_by_hand() {
        let gap = 5e-3;
        let coil = round(1.0, 2, 1, gap, 0.1e-3);
        let omega = 2.0 * PI * FIELD_HZ;
        // H = 1/(2πs) of a straight wire; the ring's curvature adds terms of order (s/R)·ln(8R/s) = 4 %.
        let field = 1.0 / (2.0 * PI * gap);
        let loss =
            PI * (omega * MU_0).powi(2) * coil.wire().conductivity_s_per_m * (0.05e-3_f64).powi(4)
                / 8.0;
        let want = 2.0 * loss * field * field * coil.wire_length_m();
        let got = coil.proximity_resistance_ohm(FIELD_HZ);
        assert!((got / want - 1.0).abs() < 0.04, "{got} {want}");
    }

    /// Inside a long solenoid's wall the field is half the full NI/l, so thin wire adds N·l_turn·2P·(n/2)² to the resistance. With a pitch of five
    /// diameters the wires' answers to each other are (1/10)² of that.
    #[test]
    fn the_wall_of_a_long_solenoid() {
        let pitch = 1e-3;
        let coil = round(0.02, 1000, 1, pitch, 0.2e-3);
        let field = 0.5 / pitch;
        let want = 2.0
            * coil.wire().crosswise_loss_w_per_m(FIELD_HZ)
            * field
            * field
            * coil.wire_length_m();
        let got = coil.proximity_resistance_ohm(FIELD_HZ);
        // The ends (R/l = 2 %) have less axial and more radial field.
        assert!((got / want - 1.0).abs() < 0.06, "{got} {want}");
    }

    /// Series of J by brute force.
    #[test]
    fn answers_are_bessel_ratios() {
        let bessel = |order: i32, z: Complex64| {
            let (mut term, mut sum) = (Complex64::from(1.0), Complex64::from(0.0));
            for n in 1..=order {
                term *= z / (2.0 * f64::from(n));
            }
            for n in 0..80 {
                sum += term;
                let n = f64::from(n + 1);
                term *= -z * z / (4.0 * n * (n + f64::from(order)));
            }
            sum
        };
        for x in [0.1, 1.0, 3.0, 8.0] {
            let z = Complex64::new(x, -x);
            for (index, got) in answers(z).into_iter().enumerate() {
                let m = index as i32 + 1;
                let want = bessel(m + 1, z) / bessel(m - 1, z);
                // The alternating series loses digits as e^x.
                assert!(
                    (got - want).norm() < 1e-8 * want.norm(),
                    "{x} {m}: {got} {want}"
                );
            }
        }
        // A perfect conductor answers with −1.
        let thick = answers(Complex64::new(2000.0, -2000.0));
        assert!((thick[2] + 1.0).norm() < 3e-3, "{}", thick[2]);
    }

    /// A wire in a uniform field loses what the closed form says: P = πω·2·m·|α|²·|Im u|·…/µ0 with m = 1.
    #[test]
    fn one_order_is_the_loss_across_a_wire() {
        let wire = Wire::copper(0.8e-3);
        let answer = answers(wire.argument(FIELD_HZ))[0];
        // |α₊|² + |α₋|² = 2·(µ0·a/2)² for 1 A/m.
        let alpha = MU_0 * wire.radius_m() / 2.0;
        let got = 2.0 * PI * 2.0 * PI * FIELD_HZ / MU_0 * 2.0 * alpha * alpha * answer.im.abs();
        let want = wire.crosswise_loss_w_per_m(FIELD_HZ);
        assert!((got / want - 1.0).abs() < 1e-9, "{got} {want}");
    }

    /// A square coil loses about what a round one of the same circumference does.
    #[test]
    fn shape_matters_little_for_loss() {
        let round = round(0.1, 40, 4, 0.5e-3, 0.4e-3);
        let side = 2.0 * PI * 0.1 / 4.0;
        let square = Coil::new(
            Outline::Rectangle {
                width_m: side,
                height_m: side,
            },
            round.winding(),
            round.wire(),
        )
        .unwrap();
        let ratio = square.resistance_ohm(FIELD_HZ) / round.resistance_ohm(FIELD_HZ);
        assert!((ratio - 1.0).abs() < 0.05, "{ratio}");
        assert!(round.q(FIELD_HZ) > 10.0 && round.q(FIELD_HZ) < 1000.0);
    }
}
