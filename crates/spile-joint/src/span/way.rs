//! The line that the joint follows, and the planes of its rows.

use spile_mesh::DVec3;

/// The Hermite curve from the seam's centre to the fitting's near face, both
/// tangents as long as their distance, with a plane at each place that turns
/// from the seam's plane to the fitting's face.
#[derive(Debug, Clone)]
pub struct Way {
    /// Centre of the scan's seam on the bore.
    pub start: DVec3,
    /// Unit direction off the scan.
    pub facing: DVec3,
    /// Unit normal of the seam's plane; the same as `facing` at a cut.
    pub seam_normal: DVec3,
    /// Centre of the fitting's near face.
    pub end: DVec3,
    /// Unit direction of the fitting's axis.
    pub along: DVec3,
    /// How far the rows' planes turn evenly from the seam's to the fitting's,
    /// from 0 (they stay square to the line) to 1 (they do not follow its
    /// bends); see [`Way::with_room`].
    pub even: f64,
}

/// Rows of a sharply bent way would meet on the inside of the bend; there they
/// keep at least this share of their distance on the line.
const ROOM: f64 = 0.45;

/// The frame of one row: the line's place and two unit vectors in the plane.
#[derive(Debug, Clone, Copy)]
pub struct Frame {
    /// Place on the line.
    pub centre: DVec3,
    /// First direction in the row's plane.
    pub across: DVec3,
    /// Second direction in the row's plane.
    pub up: DVec3,
}

impl Frame {
    /// The unit direction at angle `a` (radians) in the row's plane.
    pub fn radial(&self, a: f64) -> DVec3 {
        self.across * a.cos() + self.up * a.sin()
    }
}

impl Way {
    /// Distance of the two ends, which is also the tangents' length.
    pub fn length(&self) -> f64 {
        self.start.distance(self.end)
    }

    /// The place at `s` from 0 (seam) to 1 (fitting).
    pub fn centre(&self, s: f64) -> DVec3 {
        let d = self.length();
        let (s2, s3) = (s * s, s * s * s);
        self.start * (2.0 * s3 - 3.0 * s2 + 1.0)
            + self.facing * (d * (s3 - 2.0 * s2 + s))
            + self.end * (3.0 * s2 - 2.0 * s3)
            + self.along * (d * (s3 - s2))
    }

    /// Derivative of [`Way::centre`] by `s`.
    pub fn derivative(&self, s: f64) -> DVec3 {
        let d = self.length();
        let s2 = s * s;
        (self.end - self.start) * (6.0 * s - 6.0 * s2)
            + self.facing * (d * (3.0 * s2 - 4.0 * s + 1.0))
            + self.along * (d * (3.0 * s2 - 2.0 * s))
    }

    /// Unit direction of the line at `s`.
    pub fn direction(&self, s: f64) -> DVec3 {
        self.derivative(s).normalize_or(self.facing)
    }

    /// Normal of the row's plane at `s`.
    pub fn row_normal(&self, s: f64) -> DVec3 {
        let left = (1.0 - s) * (1.0 - s) * (1.0 + 2.0 * s);
        let square = self.direction(s) + (self.seam_normal - self.facing) * left;
        let evenly = self.seam_normal.lerp(self.along, s);
        square.lerp(evenly, self.even).normalize_or(self.direction(s))
    }

    /// The way with its rows turned just as evenly as keeps them apart at
    /// `radius` from the line.
    pub fn with_room(self, radius: f64) -> Self {
        let mut way = self;
        while way.closest_rows(radius) < ROOM && way.even < 1.0 {
            way.even = (way.even + 0.125).min(1.0);
        }
        way
    }

    /// Least distance of neighbouring rows at `radius`, as a share of what it
    /// would be on a straight way.
    fn closest_rows(&self, radius: f64) -> f64 {
        const ROWS: usize = 33;
        const COLUMNS: u32 = 24;
        let frames = self.frames(ROWS);
        let apart = self.length() / (ROWS - 1) as f64;
        let at = |f: &Frame, k: u32| {
            f.centre + f.radial(f64::from(k) * std::f64::consts::TAU / f64::from(COLUMNS)) * radius
        };
        let step = |pair: &[Frame], k: u32| {
            (at(&pair[1], k) - at(&pair[0], k)).dot(pair[0].across.cross(pair[0].up)) / apart
        };
        frames
            .windows(2)
            .flat_map(|pair| (0..COLUMNS).map(move |k| step(pair, k)))
            .fold(f64::INFINITY, f64::min)
    }

    /// Frames at `rows` equal steps of `s`, carried along with least turning.
    pub fn frames(&self, rows: usize) -> Vec<Frame> {
        // Many small steps, so that the frame does not depend on `rows`.
        const FINE: usize = 16;
        let mut across = self.seam_normal.any_orthonormal_vector();
        let mut frames = Vec::with_capacity(rows);
        let steps = (rows - 1) * FINE;
        for k in 0..=steps {
            let s = k as f64 / steps as f64;
            let normal = self.row_normal(s);
            across = (across - normal * across.dot(normal)).normalize_or(across);
            if k % FINE == 0 {
                frames.push(Frame { centre: self.centre(s), across, up: normal.cross(across) });
            }
        }
        frames
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ends_and_tangents_are_as_given() {
        let way = Way {
            start: DVec3::ZERO,
            facing: DVec3::Z,
            seam_normal: DVec3::new(0.1, 0.0, 1.0).normalize(),
            end: DVec3::new(2.0, 1.0, 12.0),
            along: DVec3::new(0.0, 0.1, 1.0).normalize(),
            even: 0.0,
        };
        assert!(way.centre(0.0).distance(way.start) < 1e-12);
        assert!(way.centre(1.0).distance(way.end) < 1e-12);
        assert!(way.direction(0.0).distance(way.facing) < 1e-12);
        assert!(way.direction(1.0).distance(way.along) < 1e-12);
        let frames = way.frames(9);
        assert!(frames[0].across.cross(frames[0].up).distance(way.seam_normal) < 1e-12);
        assert!(frames[8].across.cross(frames[8].up).distance(way.along) < 1e-12);
    }

    #[test]
    fn rows_of_a_bent_way_keep_apart() {
        let way = Way {
            start: DVec3::ZERO,
            facing: DVec3::Z,
            seam_normal: DVec3::Z,
            end: DVec3::new(0.0, 2.0, 12.0),
            along: DVec3::new(0.0, -0.3, 1.0).normalize(),
            even: 0.0,
        };
        assert!(way.closest_rows(10.0) < ROOM);
        let roomy = way.with_room(10.0);
        assert!(roomy.closest_rows(10.0) >= ROOM);
        let frames = roomy.frames(9);
        assert!(frames[0].across.cross(frames[0].up).distance(roomy.seam_normal) < 1e-12);
        assert!(frames[8].across.cross(frames[8].up).distance(roomy.along) < 1e-12);
    }
}
