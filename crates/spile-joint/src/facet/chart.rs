//! Surfaces laid out in the plane, angles kept: what is a good triangle there
//! is one on the surface.
//!
//! On a surface of revolution the angle round the axis and the length along the
//! meridian over the distance from the axis, summed, are such coordinates
//! (isothermal, as Mercator's). Where a face goes all round, the plane's polar
//! coordinates with the exponential of the other as radius close it up. A
//! sphere is seen from a point off the face (stereographic projection).

use std::f64::consts::{PI, TAU};

use spile_formats::step::StepSurface;
use spile_mesh::DVec3;

/// Coordinates on a surface, right-handed about its own normal.
pub(super) struct Frame {
    surface: StepSurface,
    /// Directions: the axis or normal, and two square to it.
    axis: DVec3,
    u: DVec3,
    v: DVec3,
    at: DVec3,
}

impl Frame {
    /// `pole` is the direction from which a sphere is seen.
    pub(super) fn of(surface: StepSurface, pole: DVec3) -> Self {
        let (at, axis) = match surface {
            StepSurface::Plane { at, normal } => (at, normal),
            StepSurface::Cylinder { at, axis, .. } | StepSurface::Cone { at, axis, .. } => {
                (at, axis)
            }
            StepSurface::Torus { centre, axis, .. } => (centre, axis),
            // Seen from the pole the sphere's outside would be mirrored; from its
            // opposite, which is the axis, it is not.
            StepSurface::Sphere { centre, .. } => (centre, -pole),
        };
        let u = axis.any_orthonormal_vector();
        Self { surface, axis, u, v: axis.cross(u), at }
    }

    /// The coordinates of a place on the surface.
    pub(super) fn of_place(&self, p: DVec3) -> [f64; 2] {
        let d = p - self.at;
        let (x, y, z) = (d.dot(self.u), d.dot(self.v), d.dot(self.axis));
        match self.surface {
            StepSurface::Plane { .. } => [x, y],
            StepSurface::Cylinder { radius, .. } => [libm::atan2(y, x), z / radius],
            StepSurface::Cone { radius, half_angle_rad, .. } => {
                let r = (radius + z * libm::tan(half_angle_rad)).max(f64::MIN_POSITIVE);
                [libm::atan2(y, x), libm::log(r) / libm::sin(half_angle_rad)]
            }
            StepSurface::Sphere { .. } => {
                let d = d.normalize_or_zero();
                let (x, y, z) = (d.dot(self.u), d.dot(self.v), d.dot(self.axis));
                let scale = 1.0 / (1.0 + z).max(1e-30);
                [x * scale, y * scale]
            }
            StepSurface::Torus { ring, tube, .. } => {
                let tilt = libm::atan2(z, libm::hypot(x, y) - ring);
                let (root, share) = torus_constants(ring, tube);
                // Twice the half angle, seen through the share: the integral of
                // tube / (ring + tube cos).
                let half = libm::atan(share * libm::tan(0.5 * tilt));
                [libm::atan2(y, x), 2.0 * (tube / root) * half]
            }
        }
    }

    /// The place on the surface with these coordinates.
    pub(super) fn place(&self, [a, b]: [f64; 2]) -> DVec3 {
        let polar = |r: f64, z: f64| {
            let (sin, cos) = libm::sincos(a);
            self.at + r * (cos * self.u + sin * self.v) + z * self.axis
        };
        match self.surface {
            StepSurface::Plane { .. } => self.at + a * self.u + b * self.v,
            StepSurface::Cylinder { radius, .. } => polar(radius, b * radius),
            StepSurface::Cone { radius, half_angle_rad, .. } => {
                let r = libm::exp(b * libm::sin(half_angle_rad));
                polar(r, (r - radius) / libm::tan(half_angle_rad))
            }
            StepSurface::Sphere { radius, .. } => {
                let scale = 2.0 / (1.0 + a * a + b * b);
                let d = scale * (a * self.u + b * self.v) + (scale - 1.0) * self.axis;
                self.at + radius * d
            }
            StepSurface::Torus { ring, tube, .. } => {
                let (root, share) = torus_constants(ring, tube);
                let half = (0.5 * b * root / tube).rem_euclid(PI);
                let (sin, cos) = libm::sincos(half);
                let (sin, cos) = libm::sincos(2.0 * libm::atan2(sin, share * cos));
                polar(ring + tube * cos, tube * sin)
            }
        }
    }

    /// After how much each coordinate comes round; none where it does not.
    pub(super) fn periods(&self) -> [Option<f64>; 2] {
        match self.surface {
            StepSurface::Plane { .. } | StepSurface::Sphere { .. } => [None, None],
            StepSurface::Cylinder { .. } | StepSurface::Cone { .. } => [Some(TAU), None],
            StepSurface::Torus { ring, tube, .. } => {
                [Some(TAU), Some(TAU * tube / torus_constants(ring, tube).0)]
            }
        }
    }

    /// How far a place is from the surface.
    pub(super) fn off(&self, p: DVec3) -> f64 {
        let d = p - self.at;
        let z = d.dot(self.axis);
        let r = (d - z * self.axis).length();
        match self.surface {
            StepSurface::Plane { .. } => z.abs(),
            StepSurface::Cylinder { radius, .. } => (r - radius).abs(),
            StepSurface::Cone { radius, half_angle_rad, .. } => {
                let (sin, cos) = libm::sincos(half_angle_rad);
                ((r - radius) * cos - z * sin).abs()
            }
            StepSurface::Sphere { radius, .. } => (d.length() - radius).abs(),
            StepSurface::Torus { ring, tube, .. } => (libm::hypot(r - ring, z) - tube).abs(),
        }
    }
}

/// The root of `ring^2 - tube^2`, and that of `(ring - tube) / (ring + tube)`.
fn torus_constants(ring: f64, tube: f64) -> (f64, f64) {
    let (less, more) = (ring - tube, ring + tube);
    ((less * more).sqrt(), (less / more).sqrt())
}

/// A face's coordinates in the plane in which it is filled.
pub(super) enum Chart {
    /// As they are.
    Flat,
    /// Coordinate `around`, times `turns`, is the angle; the other, from `low`,
    /// the radius' logarithm.
    Round {
        /// Which coordinate goes all round.
        around: usize,
        /// What of it makes one radian.
        turns: f64,
        /// The other coordinate at radius 1.
        low: f64,
    },
}

impl Chart {
    /// From coordinates on the surface to the plane.
    pub(super) fn plane(&self, c: [f64; 2]) -> [f64; 2] {
        match *self {
            Self::Flat => c,
            Self::Round { around, turns, low } => {
                // Turning the coordinates a quarter keeps their handedness.
                let other = if around == 0 { c[1] - low } else { low - c[0] };
                let (sin, cos) = libm::sincos(c[around] * turns);
                let radius = libm::exp(-other * turns);
                [radius * cos, radius * sin]
            }
        }
    }

    /// From the plane to coordinates on the surface.
    pub(super) fn coordinates(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        match *self {
            Self::Flat => [x, y],
            Self::Round { around, turns, low } => {
                let (angle, other) =
                    (libm::atan2(y, x) / turns, -libm::log(libm::hypot(x, y)) / turns);
                if around == 0 { [angle, low + other] } else { [low - other, angle] }
            }
        }
    }
}
