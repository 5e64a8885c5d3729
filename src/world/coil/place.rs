//! Where a coil is and which way it faces.

use super::Vector;
use nalgebra::{Isometry3, Rotation3, Translation3, UnitQuaternion};

/// Position and attitude of a coil. In its own frame the coil lies in the x–y plane with its axis along z.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Place(Isometry3<f64>);

impl Place {
    /// At the origin, axis along z.
    pub fn origin() -> Self {
        Place(Isometry3::identity())
    }

    /// In front of a coil at the origin: `distance_m` along its axis, `offset_m` sideways and turned by `tilt_deg`.
    ///
    /// The offset is along −x and the axis becomes (sin θ, 0, cos θ), the convention of Grover's integral for two circles
    /// (a point at angle φ of a circle of radius R is at x = −d + R cos φ cos θ, y = R sin φ, z = c − R cos φ sin θ).
    /// A positive tilt leans the axis inwards, against the spread of the field, and couples less than a negative one.
    /// [`Place::beside`] has the other sign.
    pub fn in_front(distance_m: f64, offset_m: f64, tilt_deg: f64) -> Self {
        Self::at(Vector::new(-offset_m, 0.0, distance_m), tilt_deg, 0.0)
    }

    /// As [`Place::in_front`] with the offset along +x: the same coil for the opposite sign of tilt.
    pub fn beside(distance_m: f64, offset_m: f64, tilt_deg: f64) -> Self {
        Self::at(Vector::new(offset_m, 0.0, distance_m), tilt_deg, 0.0)
    }

    /// At any place, axis (sin θ cos ψ, sin θ sin ψ, cos θ) with tilt θ and bearing ψ.
    pub fn at(centre_m: Vector, tilt_deg: f64, bearing_deg: f64) -> Self {
        let turn = Rotation3::from_axis_angle(&Vector::z_axis(), bearing_deg.to_radians())
            * Rotation3::from_axis_angle(&Vector::y_axis(), tilt_deg.to_radians());
        Place(Isometry3::from_parts(
            Translation3::from(centre_m),
            UnitQuaternion::from_rotation_matrix(&turn),
        ))
    }

    /// This place seen from `other`.
    pub fn seen_from(&self, other: &Place) -> Place {
        Place(other.0.inv_mul(&self.0))
    }

    /// The other way round: this place, given in the frame of `other`, in the frame that `other` itself is given in.
    pub fn carried_by(&self, other: &Place) -> Place {
        Place(other.0 * self.0)
    }

    /// A point of the coil's own frame in the outer frame.
    pub fn outward(&self, local_m: Vector) -> Vector {
        self.0.rotation * local_m + self.0.translation.vector
    }

    /// A point of the outer frame in the coil's own frame.
    pub fn inward(&self, outer_m: Vector) -> Vector {
        self.0.rotation.inverse() * (outer_m - self.0.translation.vector)
    }

    /// Turns a direction of the coil's own frame into the outer frame.
    pub fn turn(&self, local: Vector) -> Vector {
        self.0.rotation * local
    }

    /// The coil's axis as a unit vector in the outer frame.
    pub fn axis(&self) -> Vector {
        self.turn(Vector::z())
    }

    /// The coil's centre in the outer frame.
    pub fn centre_m(&self) -> Vector {
        self.0.translation.vector
    }
}
