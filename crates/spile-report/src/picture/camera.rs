//! From where a mesh is seen, and what is taken away in front of it.

use spile_mesh::DVec3;

/// Room round what is seen, as a share of the picture.
const MARGIN: f64 = 0.04;

/// A parallel projection.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Camera {
    /// Unit vectors to the right, up, and toward the eye.
    axes: [DVec3; 3],
    /// Middle of what is seen, in the camera's frame.
    middle: DVec3,
    /// Its width, height and depth.
    extent: DVec3,
}

impl Camera {
    /// A camera that sees all of `points`, with the part of `right` that is square to
    /// `toward_eye` to the right.
    pub fn round(points: impl IntoIterator<Item = DVec3>, right: DVec3, toward_eye: DVec3) -> Self {
        let eye = toward_eye.normalize_or(DVec3::Z);
        let right = (right - eye * right.dot(eye)).try_normalize();
        let right = right.unwrap_or_else(|| eye.any_orthonormal_vector());
        let axes = [right, eye.cross(right), eye];
        let (mut low, mut high) = (DVec3::INFINITY, DVec3::NEG_INFINITY);
        for p in points {
            let q = DVec3::from_array(axes.map(|a| a.dot(p)));
            (low, high) = (low.min(q), high.max(q));
        }
        if low.x > high.x {
            (low, high) = (DVec3::ZERO, DVec3::ZERO);
        }
        Self { axes, middle: 0.5 * (low + high), extent: high - low }
    }

    /// Unit vector toward the eye.
    pub fn toward_eye(&self) -> DVec3 {
        self.axes[2]
    }

    /// Unit vector to the right.
    pub fn right(&self) -> DVec3 {
        self.axes[0]
    }

    /// How many pixels a unit of length is on a picture of this size.
    pub fn scale(&self, size: [usize; 2]) -> f64 {
        let room = 1.0 - 2.0 * MARGIN;
        // What has no extent is drawn as if it had one.
        let along = |n: usize, extent: f64| {
            let least = f64::MIN_POSITIVE.max(1e-9 * self.extent.max_element());
            room * n as f64 / extent.max(least)
        };
        along(size[0], self.extent.x).min(along(size[1], self.extent.y))
    }

    /// Where a point is on a picture of this size: pixels from the left, pixels from
    /// the top, length toward the eye from the middle.
    pub fn on_screen(&self, p: DVec3, size: [usize; 2]) -> [f64; 3] {
        self.on_screen_at(p, size, self.scale(size))
    }

    pub(super) fn on_screen_at(&self, p: DVec3, size: [usize; 2], scale: f64) -> [f64; 3] {
        let d = self.turned(p) - self.middle;
        [0.5 * size[0] as f64 + d.x * scale, 0.5 * size[1] as f64 - d.y * scale, d.z]
    }

    /// A vector in the camera's frame.
    pub(super) fn turned(&self, v: DVec3) -> DVec3 {
        DVec3::from_array(self.axes.map(|a| a.dot(v)))
    }
}

/// What is taken away: the half toward the eye of a plane through a point, between
/// two heights along a direction.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CutAway {
    /// A point of the plane.
    pub through: DVec3,
    /// The plane's unit normal, toward what is taken away.
    pub toward_eye: DVec3,
    /// The unit direction in which the piece is bounded.
    pub along: DVec3,
    /// The lower bound, from the point.
    pub from: f64,
    /// The upper bound.
    pub to: f64,
}

impl CutAway {
    /// Whether a point is taken away. Where three points are, their triangle is.
    pub fn takes(&self, p: DVec3) -> bool {
        let d = p - self.through;
        d.dot(self.toward_eye) > 0.0 && (self.from..self.to).contains(&d.dot(self.along))
    }
}
