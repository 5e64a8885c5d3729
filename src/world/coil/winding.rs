//! A coil as a person measures it: shape, size, turns, layers, wire.

use super::mutual::gauss_legendre;
use super::series::Loop;
use super::sheet::Image;
use super::{Filament, Place, Vector, Wire};
use std::f64::consts::PI;
use thiserror::Error;

/// More turns than this are refused: the sums over turns grow with their square.
const MOST_TURNS: u32 = 5000;

/// Shape and size of one turn, measured to the middle of the wire (of the winding, for several layers).
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Outline {
    /// A circle of this radius.
    Circle {
        /// Radius to the middle of the wire.
        radius_m: f64,
    },
    /// A rectangle with sharp corners.
    Rectangle {
        /// Size along x.
        width_m: f64,
        /// Size along y.
        height_m: f64,
    },
}

impl Outline {
    /// Length of one turn.
    pub fn length_m(&self) -> f64 {
        match *self {
            Outline::Circle { radius_m } => 2.0 * PI * radius_m,
            Outline::Rectangle { width_m, height_m } => 2.0 * (width_m + height_m),
        }
    }

    /// Area of one turn.
    pub fn area_m2(&self) -> f64 {
        match *self {
            Outline::Circle { radius_m } => PI * radius_m * radius_m,
            Outline::Rectangle { width_m, height_m } => width_m * height_m,
        }
    }

    /// The same shape with the wire moved outwards (negative: inwards) by this much.
    pub fn grown(&self, by_m: f64) -> Outline {
        match *self {
            Outline::Circle { radius_m } => Outline::Circle {
                radius_m: radius_m + by_m,
            },
            Outline::Rectangle { width_m, height_m } => Outline::Rectangle {
                width_m: width_m + 2.0 * by_m,
                height_m: height_m + 2.0 * by_m,
            },
        }
    }

    /// Half the smallest size across.
    pub(super) fn half_width_m(&self) -> f64 {
        match *self {
            Outline::Circle { radius_m } => radius_m,
            Outline::Rectangle { width_m, height_m } => width_m.min(height_m) / 2.0,
        }
    }
}

/// How the turns lie.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Winding {
    /// Number of turns.
    pub turns: u32,
    /// Layers on top of each other: 1 is a solenoid, as many as turns a flat spiral.
    pub layers: u32,
    /// From turn to turn along the axis, middle to middle.
    pub pitch_m: f64,
    /// From layer to layer outwards, middle to middle.
    pub layer_pitch_m: f64,
}

/// Why a coil cannot be built as described.
#[derive(Clone, Debug, Error, PartialEq)]
pub enum CoilError {
    /// A size is not a positive finite number.
    #[error("{what} is {value}: a positive number is needed")]
    Size {
        /// What was measured.
        what: &'static str,
        /// The value given.
        value: f64,
    },
    /// Turns or layers out of range.
    #[error(
        "{turns} turns in {layers} layers: 1 to 5000 turns and at least one turn a layer are allowed"
    )]
    Turns {
        /// Turns given.
        turns: u32,
        /// Layers given.
        layers: u32,
    },
    /// Neighbouring turns overlap.
    #[error("{what} is {pitch_m} m but the wire is {wire_m} m thick: the turns would overlap")]
    Overlap {
        /// Which pitch.
        what: &'static str,
        /// The pitch given.
        pitch_m: f64,
        /// Wire diameter given.
        wire_m: f64,
    },
    /// The winding is deeper than the coil is wide.
    #[error(
        "the innermost turn is only {inner_m} m to the middle with a wire radius of {wire_radius_m} m: fewer layers or a larger coil are needed"
    )]
    TooDeep {
        /// Half width of the innermost turn.
        inner_m: f64,
        /// Radius of the wire.
        wire_radius_m: f64,
    },
    /// A metal sheet in the winding, or all but touching it.
    #[error(
        "a metal sheet at {at_mm} mm is in the winding or all but touches it; allowed is {least_mm:.2} mm or farther on either side"
    )]
    SheetNear {
        /// Place given.
        at_mm: f64,
        /// Nearest that is allowed.
        least_mm: f64,
    },
    /// A sheet whose field is not that of images.
    #[error(
        "a metal sheet that conducts so little, {gap_mm:.1} mm from the winding, is no mirror (its field would be {error_percent:.1} % off; allowed is 0.5 %): it needs more conductivity, thickness or distance, or less permeability"
    )]
    SheetPoor {
        /// From the nearest turn to the sheet.
        gap_mm: f64,
        /// Error of its field.
        error_percent: f64,
    },
    /// Two windings of one antenna in each other's way.
    #[error(
        "windings {first} and {second} ([[…loop]], counted from 1) touch or cross: their turns must be at least a wire's thickness apart, so move one of them"
    )]
    Touch {
        /// Which one, counted from 1.
        first: usize,
        /// Which other one.
        second: usize,
    },
    /// Several windings beside a metal sheet.
    #[error(
        "a metal sheet beside an antenna of several windings (reader.loop) is not worked out: leave one of the two out"
    )]
    SheetAndLoops,
}

/// An air-cored coil, alone, beside a metal sheet ([`Coil::beside`]), or several windings in series ([`Coil::in_series`]).
#[derive(Clone, Debug, PartialEq)]
pub struct Coil {
    outline: Outline,
    winding: Winding,
    wire: Wire,
    /// What a metal sheet makes of it.
    pub(super) images: Vec<Image>,
    /// Its windings, if they are several or not at the origin.
    pub(super) loops: Vec<Loop>,
}

impl Coil {
    /// Checks the sizes and builds the coil; `outline` is the mean turn.
    pub fn new(outline: Outline, winding: Winding, wire: Wire) -> Result<Self, CoilError> {
        let positive = |what, value: f64| {
            if value.is_finite() && value > 0.0 {
                Ok(())
            } else {
                Err(CoilError::Size { what, value })
            }
        };
        match outline {
            Outline::Circle { radius_m } => positive("the radius (m)", radius_m)?,
            Outline::Rectangle { width_m, height_m } => {
                positive("the width (m)", width_m)?;
                positive("the height (m)", height_m)?;
            }
        }
        positive("the wire diameter (m)", wire.diameter_m)?;
        positive("the conductivity (S/m)", wire.conductivity_s_per_m)?;
        let Winding {
            turns,
            layers,
            pitch_m,
            layer_pitch_m,
        } = winding;
        if turns == 0 || turns > MOST_TURNS || layers == 0 || layers > turns {
            return Err(CoilError::Turns { turns, layers });
        }
        for (what, pitch, used) in [
            ("the pitch", pitch_m, layers < turns),
            ("the layer pitch", layer_pitch_m, layers > 1),
        ] {
            if used {
                positive(what, pitch)?;
                if pitch < wire.diameter_m {
                    return Err(CoilError::Overlap {
                        what,
                        pitch_m: pitch,
                        wire_m: wire.diameter_m,
                    });
                }
            }
        }
        let coil = Coil {
            outline,
            winding,
            wire,
            images: Vec::new(),
            loops: Vec::new(),
        };
        let inner_m = coil.layer_outline(0).half_width_m();
        if inner_m <= wire.radius_m() {
            return Err(CoilError::TooDeep {
                inner_m,
                wire_radius_m: wire.radius_m(),
            });
        }
        Ok(coil)
    }

    /// One layer of touching turns (insulation makes the pitch 10 % more than the metal, common practice, no source).
    pub fn close_wound(outline: Outline, turns: u32, wire: Wire) -> Result<Self, CoilError> {
        let pitch_m = 1.1 * wire.diameter_m;
        let winding = Winding {
            turns,
            layers: 1,
            pitch_m,
            layer_pitch_m: pitch_m,
        };
        Self::new(outline, winding, wire)
    }

    /// The mean turn.
    pub fn outline(&self) -> Outline {
        self.outline
    }

    /// How the turns lie.
    pub fn winding(&self) -> Winding {
        self.winding
    }

    /// The wire.
    pub fn wire(&self) -> Wire {
        self.wire
    }

    /// Length of wire in the turns of one winding.
    pub fn wire_length_m(&self) -> f64 {
        self.layers()
            .map(|(turn, count)| turn.length_m() * f64::from(count))
            .sum()
    }

    /// Sum of the areas of the turns of one winding.
    pub fn turns_area_m2(&self) -> f64 {
        self.layers()
            .map(|(turn, count)| turn.area_m2() * f64::from(count))
            .sum()
    }

    /// Flux density per ampere at a point, with the coil at the origin and its axis along z. T/A. Beside a metal sheet the part in phase with
    /// the current.
    pub fn flux_density(&self, point_m: &Vector) -> Vector {
        let nodes = self.nodes();
        if self.loops.is_empty() {
            return flux_density_of(&nodes, point_m);
        }
        self.each_winding()
            .iter()
            .map(|(place, sign)| {
                place.turn(flux_density_of(&nodes, &place.inward(*point_m))) * *sign
            })
            .sum()
    }

    /// The part of it that is a quarter of a cycle ahead of the current, T/A: what a metal sheet's loss makes; 0 without one.
    pub fn flux_density_quadrature(&self, point_m: &Vector) -> Vector {
        let mut nodes = Vec::new();
        self.mirrored(&self.turns(), &mut nodes, |image| image.weight.im);
        flux_density_of(&nodes, point_m)
    }

    /// Flux density per ampere at the centre of `place`, along its axis. T/A.
    pub fn flux_density_along(&self, place: &Place) -> f64 {
        self.flux_density(&place.centre_m()).dot(&place.axis())
    }

    /// Turn shape and number of turns, layer by layer from the inside.
    pub(super) fn layers(&self) -> impl Iterator<Item = (Outline, u32)> + '_ {
        let full = self.columns();
        (0..self.winding.layers).map(move |layer| {
            let before = full * layer;
            (
                self.layer_outline(layer),
                self.winding.turns.saturating_sub(before).min(full),
            )
        })
    }

    /// Turns in a full layer.
    pub(super) fn columns(&self) -> u32 {
        self.winding.turns.div_ceil(self.winding.layers)
    }

    fn layer_outline(&self, layer: u32) -> Outline {
        let middle = f64::from(self.winding.layers - 1) / 2.0;
        self.outline
            .grown((f64::from(layer) - middle) * self.winding.layer_pitch_m)
    }

    /// Filaments with weights that stand for one winding and, beside a metal sheet, for its images.
    pub(super) fn nodes(&self) -> Vec<(Filament, f64)> {
        let mut nodes = self.turns();
        let turns = nodes.clone();
        self.mirrored(&turns, &mut nodes, |image| image.weight.re);
        nodes
    }

    fn mirrored(
        &self,
        turns: &[(Filament, f64)],
        to: &mut Vec<(Filament, f64)>,
        part: impl Fn(&Image) -> f64,
    ) {
        for image in &self.images {
            to.extend(turns.iter().map(|&(Filament { outline, z_m }, weight)| {
                let z_m = image.reach_m - z_m;
                (Filament { outline, z_m }, weight * part(image))
            }));
        }
    }

    /// Filaments with weights that stand for the winding: every turn of a small one, Gauss nodes along each layer of a large
    /// one. The node count grows with length over half width, so that points no closer than half that width are good to 1e-6.
    fn turns(&self) -> Vec<(Filament, f64)> {
        let columns = self.columns();
        let pitch = self.winding.pitch_m;
        let start = -f64::from(columns) * pitch / 2.0;
        let mut nodes = Vec::new();
        for (outline, count) in self.layers() {
            let length = f64::from(count) * pitch;
            let enough = 6 + (6.0 * length / outline.half_width_m()).ceil().min(64.0) as usize;
            if count as usize <= enough {
                for turn in 0..count {
                    let z_m = start + (f64::from(turn) + 0.5) * pitch;
                    nodes.push((Filament { outline, z_m }, 1.0));
                }
            } else {
                for (node, weight) in gauss_legendre(enough) {
                    let z_m = start + length * (1.0 + node) / 2.0;
                    nodes.push((Filament { outline, z_m }, weight / 2.0 * f64::from(count)));
                }
            }
        }
        nodes
    }
}

fn flux_density_of(nodes: &[(Filament, f64)], point_m: &Vector) -> Vector {
    nodes
        .iter()
        .map(|(turn, weight)| turn.flux_density(point_m) * *weight)
        .sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(turns: u32, layers: u32) -> Result<Coil, CoilError> {
        let winding = Winding {
            turns,
            layers,
            pitch_m: 0.6e-3,
            layer_pitch_m: 0.6e-3,
        };
        Coil::new(
            Outline::Circle { radius_m: 0.05 },
            winding,
            Wire::copper(0.5e-3),
        )
    }

    /// The weights of the nodes add up to the turns, and on the axis the field is the sum over single turns (textbook).
    #[test]
    fn nodes_stand_for_all_turns() {
        for (turns, layers) in [(1, 1), (7, 3), (80, 1), (203, 4), (9, 9)] {
            let coil = ring(turns, layers).unwrap();
            let weight: f64 = coil.nodes().iter().map(|node| node.1).sum();
            assert!((weight - f64::from(turns)).abs() < 1e-9, "{weight}");
            let at = Vector::new(0.01, 0.0, 0.06);
            let got = coil.flux_density(&at);
            let (full, mut want) = (coil.columns(), Vector::zeros());
            for (layer, (outline, count)) in coil.layers().enumerate() {
                for turn in 0..count {
                    let z_m = (f64::from(turn) - f64::from(full - 1) / 2.0) * 0.6e-3;
                    assert!(layer < layers as usize);
                    want += Filament { outline, z_m }.flux_density(&at);
                }
            }
            // Gauss nodes integrate over the pitch where turns are points: (p/r)²/24 times the change of slope between
            // the ends, 2e-5 here.
            assert!((got - want).norm() < 3e-5 * want.norm(), "{got} {want}");
        }
    }

    #[test]
    fn impossible_coils_say_why() {
        assert!(matches!(ring(0, 1), Err(CoilError::Turns { .. })));
        assert!(matches!(ring(3, 4), Err(CoilError::Turns { .. })));
        assert!(matches!(ring(4000, 200), Err(CoilError::TooDeep { .. })));
        let flat = Winding {
            turns: 5,
            layers: 1,
            pitch_m: 0.4e-3,
            layer_pitch_m: 1.0,
        };
        let outline = Outline::Circle { radius_m: 0.05 };
        assert!(matches!(
            Coil::new(outline, flat, Wire::copper(0.5e-3)),
            Err(CoilError::Overlap { .. })
        ));
        let none = Outline::Rectangle {
            width_m: 0.1,
            height_m: f64::NAN,
        };
        assert!(matches!(
            Coil::close_wound(none, 5, Wire::copper(0.5e-3)),
            Err(CoilError::Size { .. })
        ));
    }
}
