//! The rigid fit of points to a surface.
//!
//! # Source
//! Besl and McKay 1992 (closest points, again and again); Chen and Medioni 1992 (along
//! the surface's normals); Chetverikov et al. 2005 (the farthest left out).

use spile_case::Motion;
use spile_mesh::{Bvh, DVec3, Mesh, principal_axes};

use crate::least_squares::solve_dense;

/// Share of the points that count while a pose is sought.
const KEPT: f64 = 0.7;
/// Rounds while poses are sought, and at the end at most.
const COARSE_ROUNDS: usize = 25;
const FINE_ROUNDS: usize = 80;
/// At the end a point counts if it is nearer than this many times the root mean square
/// of those that counted before.
const WITHIN: f64 = 4.0;
/// And always if it is nearer than this share of the other scan's size: what rounding to
/// `f32` does to scans that lie several times their size from the origin.
const ROUNDING_SHARE: f64 = 2e-6;
/// A fit has settled when the shift of a round is below this share of the points' extent.
const SETTLED: f64 = 1e-9;
/// Weight of the pull along the surface beside that square to it.
const ALONG_COARSE: f64 = 1.0;
const ALONG_FINE: f64 = 0.02;

/// A rotation, as a quaternion's scalar and vector, and a shift.
#[derive(Debug, Clone, Copy)]
pub struct Pose {
    rows: [DVec3; 3],
    shift: DVec3,
}

impl Pose {
    /// Where a point goes.
    pub fn at(&self, p: DVec3) -> DVec3 {
        self.turned(p) + self.shift
    }

    fn turned(&self, p: DVec3) -> DVec3 {
        DVec3::new(self.rows[0].dot(p), self.rows[1].dot(p), self.rows[2].dot(p))
    }

    /// As a case writes it.
    pub fn motion(&self) -> Motion {
        Motion { turn: self.rows.map(|row| row.to_array()), shift: self.shift.to_array() }
    }

    /// The angle of the rotation from another pose to this one.
    pub fn degrees_from(&self, other: &Pose) -> f64 {
        let trace: f64 = (0..3).map(|k| self.rows[k].dot(other.rows[k])).sum();
        (0.5 * (trace - 1.0)).clamp(-1.0, 1.0).acos().to_degrees()
    }

    /// This pose, then a small turn `omega` about `centre` and a shift.
    fn then(&self, omega: DVec3, centre: DVec3, shift: DVec3) -> Pose {
        // The quaternion (1, omega / 2), made unit: no angle is needed.
        let half = 0.5 * omega;
        let scale = 1.0 / (1.0 + half.length_squared()).sqrt();
        let (w, v) = (scale, scale * half);
        let turn = |p: DVec3| p + 2.0 * v.cross(v.cross(p) + w * p);
        let columns = [DVec3::X, DVec3::Y, DVec3::Z].map(|axis| {
            turn(DVec3::new(self.rows[0].dot(axis), self.rows[1].dot(axis), self.rows[2].dot(axis)))
        });
        let x = DVec3::new(columns[0].x, columns[1].x, columns[2].x).normalize();
        let y = DVec3::new(columns[0].y, columns[1].y, columns[2].y).reject_from_normalized(x);
        let y = y.normalize();
        let rows = [x, y, x.cross(y)];
        Pose { rows, shift: turn(self.shift - centre) + centre + shift }
    }
}

/// How a pose fits.
#[derive(Debug, Clone, Copy)]
pub struct Fit {
    /// The pose.
    pub pose: Pose,
    /// Root mean square of the distances that count.
    pub rms: f64,
    /// The largest of them.
    pub largest: f64,
    /// Share of the points that do not count.
    pub left_out: f64,
}

/// Points spread evenly over the area of a mesh, always the same.
pub fn spread(mesh: &Mesh, count: usize) -> Vec<DVec3> {
    let areas: Vec<f64> =
        (0..mesh.triangles().len()).map(|t| mesh.area_normal(t).length()).collect();
    let step = areas.iter().sum::<f64>() / count as f64;
    let mut points = Vec::with_capacity(count);
    let (mut gone, mut next) = (0.0, 0.5 * step);
    for (t, area) in areas.iter().enumerate() {
        gone += area;
        while next < gone && points.len() < count {
            // A rank-1 lattice folded into the triangle (Roberts 2018's constants).
            let k = points.len() as f64;
            let (mut u, mut v) = ((0.754_877_666 * k).fract(), (0.569_840_291 * k).fract());
            if u + v > 1.0 {
                (u, v) = (1.0 - u, 1.0 - v);
            }
            let [a, b, c] = mesh.corners(t);
            points.push(a + u * (b - a) + v * (c - a));
            next += step;
        }
    }
    points
}

/// Poses to begin from: as it lies; and principal axes on principal axes, and the axes
/// of space on themselves, by all rotations of a cube.
pub fn starts(first: &[DVec3], onto: &[DVec3]) -> Vec<Pose> {
    let space = [DVec3::X, DVec3::Y, DVec3::Z];
    let mean = |points: &[DVec3]| points.iter().sum::<DVec3>() / points.len().max(1) as f64;
    let (from, to) = (mean(first), mean(onto));
    let mut poses = vec![Pose { rows: space, shift: DVec3::ZERO }];
    for (axes, others) in [(principal_axes(first), principal_axes(onto)), (space, space)] {
        for [i, j, k] in [[0, 1, 2], [1, 2, 0], [2, 0, 1], [0, 2, 1], [1, 0, 2], [2, 1, 0]] {
            for signs in 0..4_u8 {
                let sign = |bit: u8| if signs >> bit & 1 == 0 { 1.0 } else { -1.0 };
                let (a, b) = (sign(0) * axes[i], sign(1) * axes[j]);
                let hand = if axes[i].cross(axes[j]).dot(axes[k]) < 0.0 { -1.0 } else { 1.0 };
                let c = hand * sign(0) * sign(1) * axes[k];
                let z = others[0].cross(others[1]);
                // Takes a, b, c to the others' axes.
                let rows = [0, 1, 2].map(|r| a * others[0][r] + b * others[1][r] + c * z[r]);
                let pose = Pose { rows, shift: DVec3::ZERO };
                poses.push(Pose { shift: to - pose.at(from), ..pose });
            }
        }
    }
    poses
}

/// The pose after some rounds, the share [`KEPT`] counted.
pub fn fitted(points: &[DVec3], onto: (&Mesh, &Bvh), mut pose: Pose) -> Fit {
    for _ in 0..COARSE_ROUNDS {
        let pairs = Pairs::of(points, onto.1, &pose);
        let most = pairs.quantile(KEPT);
        let Some((next, _)) = pairs.step(onto.0, &pose, most, ALONG_COARSE) else { break };
        pose = next;
    }
    let pairs = Pairs::of(points, onto.1, &pose);
    pairs.fit(pose, pairs.quantile(KEPT))
}

/// The pose when it has settled, and how it fits: what lies near counts.
pub fn refined(points: &[DVec3], onto: (&Mesh, &Bvh), mut pose: Pose) -> Fit {
    let extent = onto.0.bounds().diagonal();
    let mut most = f64::INFINITY;
    for round in 0..FINE_ROUNDS {
        let pairs = Pairs::of(points, onto.1, &pose);
        let kept = pairs.quantile(KEPT);
        most = kept.max(WITHIN * pairs.fit(pose, kept).rms).max(ROUNDING_SHARE * extent);
        let (limit, along) = if round < FINE_ROUNDS / 4 { (kept, ALONG_FINE) } else { (most, 0.0) };
        let Some((next, shift)) = pairs.step(onto.0, &pose, limit, along.max(1e-6)) else { break };
        pose = next;
        if round > FINE_ROUNDS / 4 && shift < SETTLED * extent {
            break;
        }
    }
    Pairs::of(points, onto.1, &pose).fit(pose, most)
}

/// The moved points with their closest points.
struct Pairs {
    at: Vec<DVec3>,
    to: Vec<(DVec3, u32, f64)>,
}

impl Pairs {
    fn of(points: &[DVec3], onto: &Bvh, pose: &Pose) -> Self {
        let mut pairs = Self { at: Vec::new(), to: Vec::new() };
        for p in points.iter().map(|&p| pose.at(p)) {
            if let Some(closest) = onto.closest(p) {
                pairs.at.push(p);
                pairs.to.push((closest.point, closest.triangle, closest.distance));
            }
        }
        pairs
    }

    /// The distance that this share of the pairs does not exceed.
    fn quantile(&self, share: f64) -> f64 {
        let mut all: Vec<f64> = self.to.iter().map(|to| to.2).collect();
        all.sort_by(f64::total_cmp);
        let k = (share * all.len() as f64).ceil() as usize;
        all.get(k.saturating_sub(1)).copied().unwrap_or(0.0)
    }

    fn fit(&self, pose: Pose, most: f64) -> Fit {
        let kept: Vec<f64> = self.to.iter().map(|to| to.2).filter(|d| *d <= most).collect();
        let count = kept.len().max(1) as f64;
        Fit {
            pose,
            rms: (kept.iter().map(|d| d * d).sum::<f64>() / count).sqrt(),
            largest: kept.iter().copied().fold(0.0, f64::max),
            left_out: 1.0 - kept.len() as f64 / self.to.len().max(1) as f64,
        }
    }

    /// The pose after one least-squares step over the pairs no further apart than
    /// `most`, and how far it moves them; none where they leave it open.
    fn step(&self, onto: &Mesh, pose: &Pose, most: f64, along: f64) -> Option<(Pose, f64)> {
        let kept = || (0..self.at.len()).filter(|&i| self.to[i].2 <= most);
        let count = kept().count().max(1) as f64;
        let centre = kept().map(|i| self.at[i]).sum::<DVec3>() / count;
        let extent =
            (kept().map(|i| self.at[i].distance_squared(centre)).sum::<f64>() / count).sqrt();
        if extent == 0.0 {
            return None;
        }
        let (mut matrix, mut right) = (vec![vec![0.0; 6]; 6], vec![0.0; 6]);
        let mut add = |arm: DVec3, direction: DVec3, off: f64, weight: f64| {
            // The turn is measured at the points' extent, so that all six are lengths.
            let turn = arm.cross(direction) / extent;
            let line = [turn.x, turn.y, turn.z, direction.x, direction.y, direction.z];
            for (k, a) in line.iter().enumerate() {
                right[k] += weight * a * off;
                for (entry, b) in matrix[k].iter_mut().zip(line) {
                    *entry += weight * a * b;
                }
            }
        };
        for i in kept() {
            let (to, triangle, _) = self.to[i];
            let (arm, off) = (self.at[i] - centre, to - self.at[i]);
            let normal = onto.area_normal(triangle as usize).normalize_or_zero();
            add(arm, normal, off.dot(normal), 1.0);
            for axis in [DVec3::X, DVec3::Y, DVec3::Z] {
                add(arm, axis, off.dot(axis), along);
            }
        }
        let solved = solve_dense(&matrix, &right).ok()?;
        let omega = DVec3::new(solved[0], solved[1], solved[2]) / extent;
        let shift = DVec3::new(solved[3], solved[4], solved[5]);
        let omega = omega.clamp_length_max(0.5);
        Some((pose.then(omega, centre, shift), shift.length() + omega.length() * extent))
    }
}
