//! Self-inductance as the sum over all pairs of turns.
//!
//! Rejected: formulas for short and long coils with tables of corrections. The sum over turns holds for every shape here, and
//! turns on a regular grid need one evaluation for each pair of layers and distance only.

use super::{Coil, Filament, MU_0, Outline, coaxial_circles_h, coaxial_rectangles_h};

impl Coil {
    /// Inductance at one frequency: the flux outside the wire plus what is left inside it by the skin effect,
    /// less what the turns keep out of each other.
    ///
    /// Turns are taken as closed and plane; the helix and the leads are not in it (below one turn's length times
    /// 1 µH/m). Wires are thin against the coil: the error of a single turn is of order (a/R)².
    /// Several windings in series have what each has alone, and what they share ([`Coil::between_windings_h`]).
    pub fn inductance_h(&self, frequency_hz: f64) -> f64 {
        self.windings() * self.winding_h(frequency_hz) + self.between_windings_h()
    }

    fn winding_h(&self, frequency_hz: f64) -> f64 {
        let omega = 2.0 * std::f64::consts::PI * frequency_hz;
        let internal = self.wire().internal_ohm_per_m(frequency_hz).im / omega;
        let layers: Vec<_> = self.layers().collect();
        let mut sum = internal * self.wire_length_m() + self.crowding_ohm(frequency_hz).im / omega;
        for (index, &(outline, count)) in layers.iter().enumerate() {
            sum += f64::from(count) * one_turn_h(outline, self.wire().radius_m());
            for steps in 1..count {
                let gap = f64::from(steps) * self.winding().pitch_m;
                sum += 2.0 * f64::from(count - steps) * pair_h(outline, outline, gap);
            }
            for &(other, others) in &layers[index + 1..] {
                let reach = count.max(others) as i64;
                for steps in -reach + 1..reach {
                    let pairs = pairs_at(count, others, steps);
                    if pairs > 0 {
                        let gap = steps as f64 * self.winding().pitch_m;
                        sum += 2.0 * f64::from(pairs) * pair_h(outline, other, gap);
                    }
                }
            }
        }
        sum
    }
}

/// How many pairs (i, j) with i < `first`, j < `second` have j − i = `steps`.
fn pairs_at(first: u32, second: u32, steps: i64) -> u32 {
    let low = (-steps).max(0);
    let high = i64::from(first).min(i64::from(second) - steps);
    (high - low).max(0) as u32
}

/// External self-inductance of one turn with all current on the surface: µ0R(ln(8R/a) − 2) for a circle (textbook),
/// Neumann's integral from the middle to the surface for a rectangle.
fn one_turn_h(outline: Outline, wire_radius_m: f64) -> f64 {
    match outline {
        Outline::Circle { radius_m } => {
            MU_0 * radius_m * ((8.0 * radius_m / wire_radius_m).ln() - 2.0)
        }
        Outline::Rectangle { width_m, height_m } => {
            coaxial_rectangles_h((width_m, height_m), (width_m, height_m), wire_radius_m)
        }
    }
}

/// Mutual inductance of two turns on one axis.
pub(super) fn pair_h(first: Outline, second: Outline, gap_m: f64) -> f64 {
    match (first, second) {
        (Outline::Circle { radius_m: a }, Outline::Circle { radius_m: b }) => {
            coaxial_circles_h(a, b, gap_m)
        }
        (
            Outline::Rectangle {
                width_m: a,
                height_m: b,
            },
            Outline::Rectangle {
                width_m: c,
                height_m: d,
            },
        ) => coaxial_rectangles_h((a, b), (c, d), gap_m),
        // The layers of one coil have one shape.
        _ => super::filaments_h(
            &Filament {
                outline: first,
                z_m: 0.0,
            },
            &Filament {
                outline: second,
                z_m: gap_m,
            },
            &super::Place::origin(),
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::super::{Winding, Wire, current_sheet_h};
    use super::*;
    use std::f64::consts::PI;

    /// R 50 mm, wire radius 0.5 mm: 310.051 nH with uniform current, 294.343 nH with all of it in the skin (derived,
    /// µ0R(ln(8R/a) − 1.75 or 2)). The frequency picks the first at 1 Hz and tends to the second.
    #[test]
    fn one_round_turn() {
        let coil =
            Coil::close_wound(Outline::Circle { radius_m: 0.05 }, 1, Wire::copper(1e-3)).unwrap();
        let low = coil.inductance_h(1.0) * 1e9;
        assert!((low - 310.051).abs() < 0.0005, "{low}");
        let skin = one_turn_h(coil.outline(), 0.5e-3) * 1e9;
        assert!((skin - 294.343).abs() < 0.0005, "{skin}");
        // Internal inductance of a skin: µ0δ/(4πa) a metre.
        let high = coil.inductance_h(100e6) * 1e9;
        let left = 1e9 * 0.1 * PI * MU_0 * coil.wire().skin_depth_m(100e6) / (4.0 * PI * 0.5e-3);
        // The curved wire's own field pushes the current inwards.
        let inwards = 1e9 * coil.crowding_ohm(100e6).im / (2.0 * PI * 100e6);
        assert!(
            inwards < 0.0 && inwards > -2e-4 * skin,
            "(a/R)² of it: {inwards}"
        );
        assert!(
            (high - skin - left - inwards).abs() < 0.05 * left,
            "{high} {skin} {left}"
        );
    }

    /// A close-wound solenoid is a current sheet but for Rosa's corrections for round wire (Rosa, NBS Bulletin 2, 1906; from memory):
    /// L = Ls − µ0·R·N·(A + B), A = ln(1.7452·d/p), B tends to 0.3379 for many turns (0.3186 for N = 50).
    #[test]
    fn many_turns_are_a_current_sheet() {
        let (turns, pitch, wire, radius) = (50, 1e-3, Wire::copper(0.8e-3), 0.04);
        let winding = Winding {
            turns,
            layers: 1,
            pitch_m: pitch,
            layer_pitch_m: pitch,
        };
        let coil = Coil::new(Outline::Circle { radius_m: radius }, winding, wire).unwrap();
        let got = coil.inductance_h(1.0);
        let n = f64::from(turns);
        let sheet = current_sheet_h(radius, n * pitch, n);
        let rosa = sheet - MU_0 * radius * n * ((1.7452_f64 * 0.8).ln() + 0.3186);
        assert!((got / rosa - 1.0).abs() < 2e-4, "{got} {rosa}");
    }

    /// The grouped sum equals the plain double sum over all turns, with a ragged last layer.
    #[test]
    fn grouping_changes_nothing() {
        for outline in [
            Outline::Circle { radius_m: 0.03 },
            Outline::Rectangle {
                width_m: 0.08,
                height_m: 0.05,
            },
        ] {
            let winding = Winding {
                turns: 11,
                layers: 3,
                pitch_m: 1e-3,
                layer_pitch_m: 1.2e-3,
            };
            let coil = Coil::new(outline, winding, Wire::copper(0.5e-3)).unwrap();
            let turns: Vec<(Outline, f64)> = coil
                .layers()
                .flat_map(|(turn, count)| (0..count).map(move |i| (turn, f64::from(i) * 1e-3)))
                .collect();
            assert_eq!(turns.len(), 11);
            let mut want = 0.0;
            for (i, a) in turns.iter().enumerate() {
                for (j, b) in turns.iter().enumerate() {
                    want += if i == j {
                        one_turn_h(a.0, 0.25e-3)
                    } else {
                        pair_h(a.0, b.0, a.1 - b.1)
                    };
                }
            }
            let within = coil.wire_length_m() * coil.wire().internal_ohm_per_m(134_200.0);
            let crowding = coil.crowding_ohm(134_200.0);
            want += (within + crowding).im / (2.0 * PI * 134_200.0);
            let got = coil.inductance_h(134_200.0);
            assert!((got / want - 1.0).abs() < 1e-12, "{got} {want}");
        }
    }

    /// One rectangular turn by Grover's closed form (Grover 1946, eq. 58; from memory), uniform current.
    #[test]
    fn one_rectangular_turn() {
        let (w, h, a) = (0.4_f64, 0.25_f64, 0.5e-3_f64);
        let outline = Outline::Rectangle {
            width_m: w,
            height_m: h,
        };
        let got = Coil::close_wound(outline, 1, Wire::copper(2.0 * a))
            .unwrap()
            .inductance_h(1.0);
        let diagonal = w.hypot(h);
        let want = MU_0 / PI
            * (w * (2.0 * w / a).ln() + h * (2.0 * h / a).ln() + 2.0 * diagonal
                - w * (w / h).asinh()
                - h * (h / w).asinh()
                - 1.75 * (w + h));
        // Terms of order a in lengths of order w are dropped in the closed form.
        assert!((got / want - 1.0).abs() < 2.0 * a / h, "{got} {want}");
    }
}
