//! The joint that runs straight: lines from each point of the seam to the point of
//! the fitting's circle that it faces, written as radii, and how far the angles
//! at the seams let it.

use spile_mesh::DVec3;

use super::way::Frame;

/// Straight lines take up to this share of the angle that is asked at a seam; the
/// rest is for the facets on either side, and for the bend within the first row.
const SHARE_OF_KINK: f64 = 0.5;

/// The radii, row by row, at which the surface of straight lines from the points of
/// `seam` to those of `face` meets the rays of the frames.
pub fn straight_radii(
    frames: &[Frame],
    angles: &[Vec<f64>],
    seam: &[DVec3],
    face: &[DVec3],
) -> Vec<f64> {
    let n = seam.len();
    let mut radii = Vec::with_capacity(frames.len() * n);
    for (i, frame) in frames.iter().enumerate() {
        let normal = frame.across.cross(frame.up);
        let crossing = |j: usize| {
            let way = face[j] - seam[j];
            let share = (frame.centre - seam[j]).dot(normal) / way.dot(normal);
            let share = if share.is_finite() { share.clamp(0.0, 1.0) } else { 0.0 };
            let d = seam[j] + way * share - frame.centre;
            (d.dot(frame.across), d.dot(frame.up))
        };
        let row: Vec<(f64, f64)> = match i {
            0 => flat(frame, seam),
            _ if i + 1 == frames.len() => flat(frame, face),
            _ => (0..n).map(crossing).collect(),
        };
        radii.extend((0..n).map(|j| along_ray(&row, j, angles[i][j])));
    }
    radii
}

fn flat(frame: &Frame, points: &[DVec3]) -> Vec<(f64, f64)> {
    let in_plane = |p: &DVec3| {
        let d = *p - frame.centre;
        (d.dot(frame.across), d.dot(frame.up))
    };
    points.iter().map(in_plane).collect()
}

/// How far a ray from the middle goes until it meets a polygon round it, looked
/// for from its edge `j` on to both sides.
fn along_ray(row: &[(f64, f64)], j: usize, angle: f64) -> f64 {
    let n = row.len();
    let (x, y) = (angle.cos(), angle.sin());
    let along = |k: usize| row[k].0 * x + row[k].1 * y;
    let beside = |k: usize| row[k].1 * x - row[k].0 * y;
    for step in 0..=n / 2 {
        for k in [(j + step) % n, (j + n - step) % n] {
            let l = (k + 1) % n;
            let (a, b) = (beside(k), beside(l));
            if a == 0.0 && along(k) > 0.0 {
                return along(k);
            }
            if a < 0.0 && b >= 0.0 {
                let share = a / (a - b);
                let met = along(k) + (along(l) - along(k)) * share;
                if met > 0.0 {
                    return met;
                }
            }
        }
    }
    // A polygon that does not go round the middle.
    row[j].0.hypot(row[j].1)
}

/// A place of a seam, for the angle that a side makes there.
pub struct AtSeam {
    /// Normal of the surface beyond the seam.
    pub normal: DVec3,
    /// Direction of the seam.
    pub edge: DVec3,
    /// How a point moves a row on while its radius stays.
    pub drift: DVec3,
    /// The direction of the radius.
    pub out: DVec3,
}

impl AtSeam {
    /// The slope nearest to `wanted` (radius a row) that turns from `tangent` no
    /// further than the angle asked lets it; all the way where none is asked.
    pub fn slope(&self, tangent: f64, wanted: f64, kink_deg: Option<f64>) -> f64 {
        let Some(kink_deg) = kink_deg else { return wanted };
        let most = (SHARE_OF_KINK * kink_deg).to_radians().sin();
        let turns = |slope: f64| {
            let way = self.drift + self.out * slope;
            let across = (way - self.edge * way.dot(self.edge)).normalize_or_zero();
            across.dot(self.normal).abs()
        };
        let at = |share: f64| tangent + (wanted - tangent) * share;
        if turns(wanted) <= most {
            return wanted;
        }
        let (mut lo, mut hi) = (0.0, 1.0);
        // To a thousandth of the way.
        for _ in 0..10 {
            let middle = 0.5 * (lo + hi);
            if turns(at(middle)) <= most { lo = middle } else { hi = middle }
        }
        at(lo)
    }
}
