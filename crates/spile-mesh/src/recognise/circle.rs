//! Circles through loops of points.

use std::f64::consts::{FRAC_PI_3, TAU};

use glam::DVec3;

use super::judge::Left;
use super::shape::{MOST, square_to};
use crate::dense::{add_outer, eigen, inverse, times};

/// A circle in space fitted to a closed loop of points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Circle {
    /// Its centre.
    pub centre: DVec3,
    /// Unit vector along its axis; the loop runs counter-clockwise seen from
    /// where it points.
    pub axis: DVec3,
    /// Its radius.
    pub radius: f64,
    /// Root of the mean of the points' squared distances from the circle.
    pub rms: f64,
    /// The largest of those distances.
    pub largest: f64,
    /// One standard deviation of the radius, as far as noise is independent
    /// from point to point.
    pub radius_error: f64,
    /// Whether the loop really is that circle, as far as noise can tell.
    pub is_round: bool,
}

/// Fewer sides than this are a polygon: a square has a circle through all of
/// its corners too.
const LEAST_SIDES: usize = 12;
/// No two neighbours are further apart, seen from the centre.
const WIDEST_STEP_RAD: f64 = FRAC_PI_3;
/// Steps of the iteration; it converges in a few.
const ROUNDS: usize = 30;

/// The circle nearest to a closed loop by least squares of the distances in
/// space, each point weighted by half the length of its two sides; `None` where
/// the loop has no plane or fewer than four points.
///
/// It [`Circle::is_round`] where the loop has at least twelve sides and goes
/// round once, and where what is left over is no more than rounding explains
/// (of coordinates written as `f32`), or is noise, independent from point to
/// point, of at most 2 % of the radius: the same test as for shapes.
///
/// Cost: O(n).
/// # Source
/// Gauss-Newton on orthogonal distances, split into height over the plane and
/// distance from the cylinder over the circle; ours.
pub fn fit_circle(ring: &[DVec3]) -> Option<Circle> {
    let n = ring.len();
    if n < 4 {
        return None;
    }
    let length = |k: usize| ring[k].distance(ring[(k + 1) % n]);
    let weights: Vec<f64> = (0..n).map(|k| 0.5 * (length(k) + length((k + n - 1) % n))).collect();
    let whole: f64 = weights.iter().sum();
    if whole.is_nan() || whole <= 0.0 {
        return None;
    }
    let mut circle = start(ring, &weights, whole)?;
    let mut covariance = [[0.0; MOST]; MOST];
    for _ in 0..ROUNDS {
        let (matrix, right) = equations(&circle, ring, &weights);
        covariance = inverse(&matrix, MOST)?;
        let step = times(&covariance, &right, MOST);
        let [u, v] = square_to(circle.axis);
        circle.centre += u * step[0] + v * step[1] + circle.axis * step[2];
        circle.axis = (circle.axis + u * step[3] + v * step[4]).try_normalize()?;
        circle.radius += step[5];
        let size = step[0].abs().max(step[1].abs()).max(step[2].abs()).max(step[5].abs());
        if size <= 1e-14 * circle.radius.abs() {
            break;
        }
    }
    if !(circle.radius > 0.0 && circle.radius.is_finite() && circle.centre.is_finite()) {
        return None;
    }
    let largest = ring.iter().map(|p| p.abs().max_element()).fold(0.0, f64::max);
    let rounding = largest * f64::from(f32::EPSILON);
    measure(&mut circle, ring, &weights, &covariance, rounding);
    Some(circle)
}

/// Plane of the least spread, and in it the circle of least algebraic distance.
fn start(ring: &[DVec3], weights: &[f64], whole: f64) -> Option<Circle> {
    let weighted = || ring.iter().zip(weights);
    let middle = ring[0] + weighted().map(|(&p, &w)| (p - ring[0]) * w).sum::<DVec3>() / whole;
    let mut spread = [[0.0; 3]; 3];
    weighted().for_each(|(&p, &w)| add_outer(&mut spread, p - middle, w));
    let round: DVec3 = (0..ring.len())
        .map(|k| (ring[k] - middle).cross(ring[(k + 1) % ring.len()] - middle))
        .sum();
    let normal = eigen(spread)[0].1;
    let axis = if normal.dot(round) < 0.0 { -normal } else { normal };
    let [u, v] = square_to(axis.try_normalize()?);
    let (mut matrix, mut right) = ([[0.0; MOST]; MOST], [0.0; MOST]);
    for (&p, &w) in weighted() {
        let (x, y) = ((p - middle).dot(u), (p - middle).dot(v));
        let row = [2.0 * x, 2.0 * y, 1.0];
        for i in 0..3 {
            right[i] += w * row[i] * (x * x + y * y);
            for j in 0..3 {
                matrix[i][j] += w * row[i] * row[j];
            }
        }
    }
    let x = times(&inverse(&matrix, 3)?, &right, 3);
    let square = x[2] + x[0] * x[0] + x[1] * x[1];
    (square > 0.0).then(|| Circle {
        centre: middle + u * x[0] + v * x[1],
        axis,
        radius: square.sqrt(),
        rms: 0.0,
        largest: 0.0,
        radius_error: 0.0,
        is_round: false,
    })
}

/// Normal equations of both distances of each point, by shift along u, v and
/// the axis, turn to u and v, radius.
fn equations(
    circle: &Circle,
    ring: &[DVec3],
    weights: &[f64],
) -> ([[f64; MOST]; MOST], [f64; MOST]) {
    let (mut matrix, mut right) = ([[0.0; MOST]; MOST], [0.0; MOST]);
    let [u, v] = square_to(circle.axis);
    for (&p, &w) in ring.iter().zip(weights) {
        let d = p - circle.centre;
        let [height, out] = offsets(circle, p);
        let q = (d - circle.axis * height).normalize_or_zero();
        let (a, b) = (q.dot(u), q.dot(v));
        let rows = [
            ([0.0, 0.0, -1.0, d.dot(u), d.dot(v), 0.0], height),
            ([-a, -b, 0.0, -height * a, -height * b, -1.0], out),
        ];
        for (row, value) in rows {
            for i in 0..MOST {
                right[i] -= w * row[i] * value;
                for j in 0..MOST {
                    matrix[i][j] += w * row[i] * row[j];
                }
            }
        }
    }
    (matrix, right)
}

/// Height over the circle's plane, and distance past its radius.
fn offsets(circle: &Circle, p: DVec3) -> [f64; 2] {
    let d = p - circle.centre;
    let height = d.dot(circle.axis);
    [height, (d - circle.axis * height).length() - circle.radius]
}

fn measure(
    circle: &mut Circle,
    ring: &[DVec3],
    weights: &[f64],
    covariance: &[[f64; MOST]; MOST],
    rounding: f64,
) {
    let n = ring.len();
    let offsets: Vec<[f64; 2]> = ring.iter().map(|&p| offsets(circle, p)).collect();
    let squares = || offsets.iter().map(|[h, o]| h * h + o * o);
    let whole: f64 = weights.iter().sum();
    let sum: f64 = squares().zip(weights).map(|(s, w)| s * w).sum();
    circle.rms = (sum / whole).sqrt();
    circle.largest = squares().fold(0.0, f64::max).sqrt();
    // Two distances a point, six parameters; weights near enough to equal.
    let freedom = (2 * n).saturating_sub(MOST).max(1) as f64 / (2 * n) as f64;
    let variance = 0.5 * sum / whole / freedom;
    let mean_weight = whole / n as f64;
    circle.radius_error = (variance * covariance[5][5].max(0.0) * mean_weight).sqrt();
    let lefts = [0, 1].map(|c| Left::along(&offsets.iter().map(|o| o[c]).collect::<Vec<_>>()));
    circle.is_round = n >= LEAST_SIDES
        && goes_round_once(circle, ring)
        && lefts.iter().all(|left| left.is_explained(circle.radius, rounding));
}

/// Whether the loop goes round the axis once in small steps.
fn goes_round_once(circle: &Circle, ring: &[DVec3]) -> bool {
    let [u, v] = square_to(circle.axis);
    let angle = |k: usize| {
        let d = ring[k % ring.len()] - circle.centre;
        d.dot(v).atan2(d.dot(u))
    };
    let half = TAU / 2.0;
    let mut sum = 0.0;
    for k in 0..ring.len() {
        let step = (angle(k + 1) - angle(k) + 3.0 * half).rem_euclid(TAU) - half;
        if step.abs() > WIDEST_STEP_RAD {
            return false;
        }
        sum += step;
    }
    (sum - TAU).abs() < half
}
