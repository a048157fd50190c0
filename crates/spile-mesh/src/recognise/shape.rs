//! Plane, sphere, cylinder and cone: distance, normal, and how the distance
//! changes as the shape moves.

use std::f64::consts::FRAC_PI_2;

use glam::DVec3;

/// The most parameters that a shape has.
pub(super) const MOST: usize = 6;

/// A surface of simple form, without end.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// A plane.
    Plane {
        /// A point on it, the middle of what was fitted.
        through: DVec3,
        /// Unit normal, away from the material where the facets are oriented.
        normal: DVec3,
    },
    /// A sphere.
    Sphere {
        /// Its centre.
        centre: DVec3,
        /// Its radius.
        radius: f64,
    },
    /// A round cylinder.
    Cylinder {
        /// The point on its axis beside the middle of what was fitted.
        through: DVec3,
        /// Unit vector along its axis.
        axis: DVec3,
        /// Its radius.
        radius: f64,
    },
    /// A round cone.
    Cone {
        /// The point on its axis beside the middle of what was fitted.
        through: DVec3,
        /// Unit vector along its axis, toward where it is wider.
        axis: DVec3,
        /// Distance from `through` to the cone, square to the axis.
        radius: f64,
        /// Angle between the axis and the surface, in radians.
        half_angle_rad: f64,
    },
}

impl Shape {
    /// The cone's tip; nothing for other shapes.
    pub fn apex(&self) -> Option<DVec3> {
        match *self {
            Self::Cone { through, axis, radius, half_angle_rad } => {
                Some(through - axis * (radius / half_angle_rad.tan()))
            }
            _ => None,
        }
    }

    /// Distance from `p` to the shape, positive on the side away from the axis
    /// or centre (of a plane, the side of its normal).
    ///
    /// Of a cone, to the half that the radius lies on.
    pub fn signed_distance(&self, p: DVec3) -> f64 {
        match *self {
            Self::Plane { through, normal } => (p - through).dot(normal),
            Self::Sphere { centre, radius } => p.distance(centre) - radius,
            Self::Cylinder { through, axis, radius } => off_axis(p - through, axis).1 - radius,
            Self::Cone { through, axis, radius, half_angle_rad } => {
                let (_, out, along) = off_axis(p - through, axis);
                let (sin, cos) = half_angle_rad.sin_cos();
                (out - radius) * cos - along * sin
            }
        }
    }

    /// Unit normal of the shape beside `p`, on its positive side; zero where
    /// there is none.
    pub fn normal_at(&self, p: DVec3) -> DVec3 {
        match *self {
            Self::Plane { normal, .. } => normal,
            Self::Sphere { centre, .. } => (p - centre).normalize_or_zero(),
            Self::Cylinder { through, axis, .. } => off_axis(p - through, axis).0,
            Self::Cone { through, axis, half_angle_rad, .. } => {
                let (sin, cos) = half_angle_rad.sin_cos();
                off_axis(p - through, axis).0 * cos - axis * sin
            }
        }
    }

    /// Unit vector of axis or plane; nothing for a sphere.
    pub fn direction(&self) -> Option<DVec3> {
        match *self {
            Self::Plane { normal, .. } => Some(normal),
            Self::Sphere { .. } => None,
            Self::Cylinder { axis, .. } | Self::Cone { axis, .. } => Some(axis),
        }
    }

    /// Where the shape is held: a point on plane or axis, or the centre.
    pub fn place(&self) -> DVec3 {
        match *self {
            Self::Plane { through, .. }
            | Self::Cylinder { through, .. }
            | Self::Cone { through, .. } => through,
            Self::Sphere { centre, .. } => centre,
        }
    }

    /// How round the shape is at `p`: the radius of its tightest curve there,
    /// infinite on a plane.
    pub fn radius_at(&self, p: DVec3) -> f64 {
        match *self {
            Self::Plane { .. } => f64::INFINITY,
            Self::Sphere { radius, .. } | Self::Cylinder { radius, .. } => radius,
            Self::Cone { through, axis, half_angle_rad, .. } => {
                off_axis(p - through, axis).1 / half_angle_rad.cos()
            }
        }
    }

    /// How many numbers tell the shape.
    pub fn parameters(&self) -> usize {
        match self {
            Self::Plane { .. } => 3,
            Self::Sphere { .. } => 4,
            Self::Cylinder { .. } => 5,
            Self::Cone { .. } => 6,
        }
    }

    /// The derivatives of [`Self::signed_distance`] at `p` by the shape's
    /// parameters, which [`Self::moved`] takes. With u, v square to the axis:
    /// plane: offset, turn to u, turn to v; sphere: x, y, z, radius; cylinder:
    /// shift along u, along v, turn to u, to v, radius; cone: the same and the
    /// half angle.
    pub(super) fn slopes(&self, p: DVec3) -> [f64; MOST] {
        match *self {
            Self::Plane { through, normal } => {
                let [u, v] = square_to(normal);
                let d = p - through;
                [-1.0, d.dot(u), d.dot(v), 0.0, 0.0, 0.0]
            }
            Self::Sphere { centre, .. } => {
                let n = (p - centre).normalize_or_zero();
                [-n.x, -n.y, -n.z, -1.0, 0.0, 0.0]
            }
            Self::Cylinder { through, axis, .. } => {
                let [u, v] = square_to(axis);
                let (q, _, along) = off_axis(p - through, axis);
                let (a, b) = (q.dot(u), q.dot(v));
                [-a, -b, -along * a, -along * b, -1.0, 0.0]
            }
            Self::Cone { through, axis, radius, half_angle_rad } => {
                let [u, v] = square_to(axis);
                let (q, out, along) = off_axis(p - through, axis);
                let (a, b) = (q.dot(u), q.dot(v));
                let (sin, cos) = half_angle_rad.sin_cos();
                let turn = -(along * cos + out * sin);
                let open = -(out - radius) * sin - along * cos;
                [-cos * a, -cos * b, turn * a, turn * b, -cos, open]
            }
        }
    }

    /// The shape after a step of its parameters; `None` where that is no shape.
    pub(super) fn moved(&self, step: &[f64; MOST]) -> Option<Self> {
        let turned = |axis: DVec3, a: f64, b: f64| {
            let [u, v] = square_to(axis);
            (axis + u * a + v * b).normalize()
        };
        let shifted = |through: DVec3, axis: DVec3| {
            let [u, v] = square_to(axis);
            through + u * step[0] + v * step[1]
        };
        let moved = match *self {
            Self::Plane { through, normal } => Self::Plane {
                through: through + normal * step[0],
                normal: turned(normal, step[1], step[2]),
            },
            Self::Sphere { centre, radius } => Self::Sphere {
                centre: centre + DVec3::new(step[0], step[1], step[2]),
                radius: radius + step[3],
            },
            Self::Cylinder { through, axis, radius } => Self::Cylinder {
                through: shifted(through, axis),
                axis: turned(axis, step[2], step[3]),
                radius: radius + step[4],
            },
            Self::Cone { through, axis, radius, half_angle_rad } => Self::Cone {
                through: shifted(through, axis),
                axis: turned(axis, step[2], step[3]),
                radius: radius + step[4],
                half_angle_rad: half_angle_rad + step[5],
            },
        };
        moved.is_sound().then_some(moved)
    }

    fn is_sound(&self) -> bool {
        let finite = self.place().is_finite() && self.direction().is_none_or(DVec3::is_finite);
        finite
            && match *self {
                Self::Plane { .. } => true,
                Self::Sphere { radius, .. } | Self::Cylinder { radius, .. } => {
                    radius.is_finite() && radius > 0.0
                }
                Self::Cone { radius, half_angle_rad, .. } => {
                    radius.is_finite() && radius > 0.0 && half_angle_rad.abs() < FRAC_PI_2
                }
            }
    }

    /// The same shape held beside `middle`, a cone's axis toward its wide end.
    pub(super) fn beside(&self, middle: DVec3) -> Self {
        match *self {
            Self::Plane { through, normal } => {
                Self::Plane { through: middle - normal * (middle - through).dot(normal), normal }
            }
            Self::Sphere { .. } => *self,
            Self::Cylinder { through, axis, radius } => {
                Self::Cylinder { through: along_to(through, axis, middle), axis, radius }
            }
            Self::Cone { through, axis, radius, half_angle_rad } => {
                let at = along_to(through, axis, middle);
                let radius = radius + (at - through).dot(axis) * half_angle_rad.tan();
                let sign = if half_angle_rad < 0.0 { -1.0 } else { 1.0 };
                let half_angle_rad = half_angle_rad.abs();
                Self::Cone { through: at, axis: axis * sign, radius, half_angle_rad }
            }
        }
    }
}

/// The point of the line beside `p`.
fn along_to(through: DVec3, axis: DVec3, p: DVec3) -> DVec3 {
    through + axis * (p - through).dot(axis)
}

/// Unit vector away from the axis, distance to it, and height along it.
pub(super) fn off_axis(d: DVec3, axis: DVec3) -> (DVec3, f64, f64) {
    let along = d.dot(axis);
    let out = d - axis * along;
    let length = out.length();
    (if length > 0.0 { out / length } else { DVec3::ZERO }, length, along)
}

/// Two unit vectors square to `axis` and to each other.
pub(super) fn square_to(axis: DVec3) -> [DVec3; 2] {
    let u = axis.any_orthonormal_vector();
    [u, axis.cross(u)]
}
