//! Least squares by orthogonal distance, and what the fit leaves uncertain.

use glam::DVec3;

use super::shape::{MOST, Shape};
use crate::dense::{add_outer, eigen, inverse, times};

/// A square matrix of which the first rows and columns are used.
type Square = [[f64; MOST]; MOST];

/// A point to be fitted and how much it counts.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sample {
    /// Its place.
    pub at: DVec3,
    /// Its weight, positive: commonly a third of the area of its triangles.
    pub weight: f64,
}

/// One standard deviation of what was fitted, if the distances left over are
/// independent from point to point.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct StandardErrors {
    /// Of plane, axis or centre beside the middle of the samples, in the
    /// direction in which it is known least.
    pub place: f64,
    /// Of the normal or axis, in radians, toward where it is known least; zero
    /// for a sphere.
    pub direction_rad: f64,
    /// Of the radius; zero for a plane.
    pub radius: f64,
    /// Of the cone's half angle, in radians.
    pub half_angle_rad: f64,
}

/// A shape fitted to points.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// The shape.
    pub shape: Shape,
    /// Root of the weighted mean of the squared distances.
    pub rms: f64,
    /// Estimate of the standard deviation of a point's distance: `rms` with the
    /// fitted parameters taken off.
    pub sigma: f64,
    /// The largest distance.
    pub largest: f64,
    /// How well the shape is known.
    pub errors: StandardErrors,
}

/// Steps of the iteration; it converges in four to ten from a fair start.
const ROUNDS: usize = 40;
/// A step that lowers the sum of squares by less than this share is the last.
const SETTLED_SHARE: f64 = 1e-12;

/// The shape of `start`'s kind nearest to the samples: the least weighted sum of
/// squared orthogonal distances near `start`.
///
/// Levenberg-Marquardt on the normal equations of the true distances, with the
/// parameters that [`Shape`] can change by first order, so that no axis needs a
/// preferred direction. A plane is solved at once from the covariance of the
/// points.
///
/// Shape: at least as many samples as parameters, weights positive.
/// Accuracy: expected, not certified. The standard errors are those of the
/// linearised problem with weights that need not be inverse variances:
/// s^2 A B A, A the inverse of J'WJ, B = J'W^2J, s^2 = e'We / (tr W - tr A B).
/// Cost: O(n) a step.
/// # Source
/// Marquardt 1963; Forbes 1989 (Least-squares best-fit geometric elements, NPL
/// report DITC 140/89) for distances and derivatives; the covariance is the
/// usual one of weighted least squares with equal variances. From memory of the
/// literature, derived anew.
pub fn fit(start: Shape, samples: &[Sample]) -> Option<Fit> {
    let parameters = start.parameters();
    if samples.len() < parameters {
        return None;
    }
    let middle = middle(samples);
    let mut shape = match start {
        Shape::Plane { normal, .. } => plane(samples, middle, normal),
        other => iterated(other.beside(middle), samples)?,
    };
    shape = shape.beside(middle);
    measured(shape, samples)
}

fn middle(samples: &[Sample]) -> DVec3 {
    let whole: f64 = samples.iter().map(|s| s.weight).sum();
    // About the first sample, so that no digits go to the distance from zero.
    let origin = samples[0].at;
    origin + samples.iter().map(|s| (s.at - origin) * s.weight).sum::<DVec3>() / whole
}

/// The plane through the middle whose normal has the least spread.
fn plane(samples: &[Sample], middle: DVec3, facing: DVec3) -> Shape {
    let mut spread = [[0.0; 3]; 3];
    for s in samples {
        add_outer(&mut spread, s.at - middle, s.weight);
    }
    let normal = eigen(spread)[0].1;
    let normal = if normal.dot(facing) < 0.0 { -normal } else { normal };
    Shape::Plane { through: middle, normal }
}

fn sum_of_squares(shape: &Shape, samples: &[Sample]) -> f64 {
    samples.iter().map(|s| s.weight * shape.signed_distance(s.at).powi(2)).sum()
}

fn iterated(start: Shape, samples: &[Sample]) -> Option<Shape> {
    let n = start.parameters();
    let (mut shape, mut sum) = (start, sum_of_squares(&start, samples));
    let mut damping = 1e-4;
    for _ in 0..ROUNDS {
        let (matrix, right) = normal_equations(&shape, samples, n);
        let before = sum;
        // More damping until the step goes down; far from any solution, stop.
        for _ in 0..12 {
            let mut damped = matrix;
            (0..n).for_each(|k| damped[k][k] *= 1.0 + damping);
            let step = inverse(&damped, n).map(|inverse| times(&inverse, &right, n));
            let next = step.and_then(|step| shape.moved(&step));
            let next = next.map(|next| (next, sum_of_squares(&next, samples)));
            match next {
                Some((next, less)) if less <= sum => {
                    (shape, sum) = (next, less);
                    damping *= 0.1;
                    break;
                }
                _ => damping = (damping * 10.0).max(1e-8),
            }
        }
        if before - sum <= SETTLED_SHARE * before {
            break;
        }
    }
    sum.is_finite().then_some(shape)
}

fn normal_equations(shape: &Shape, samples: &[Sample], n: usize) -> (Square, [f64; MOST]) {
    let (mut matrix, mut right) = ([[0.0; MOST]; MOST], [0.0; MOST]);
    for s in samples {
        let slopes = shape.slopes(s.at);
        let distance = shape.signed_distance(s.at);
        for i in 0..n {
            right[i] -= s.weight * slopes[i] * distance;
            for j in 0..=i {
                matrix[i][j] += s.weight * slopes[i] * slopes[j];
            }
        }
    }
    mirror(&mut matrix, n);
    (matrix, right)
}

fn mirror(matrix: &mut Square, n: usize) {
    let lower = *matrix;
    for (i, row) in matrix.iter_mut().enumerate().take(n) {
        for (j, entry) in row.iter_mut().enumerate().take(n).skip(i + 1) {
            *entry = lower[j][i];
        }
    }
}

/// What is left over, and the standard errors.
fn measured(shape: Shape, samples: &[Sample]) -> Option<Fit> {
    let n = shape.parameters();
    let (matrix, _) = normal_equations(&shape, samples, n);
    let mut squared = [[0.0; MOST]; MOST];
    let (mut sum, mut whole, mut largest) = (0.0, 0.0, 0.0_f64);
    for s in samples {
        let slopes = shape.slopes(s.at);
        let distance = shape.signed_distance(s.at);
        sum += s.weight * distance * distance;
        whole += s.weight;
        largest = largest.max(distance.abs());
        for i in 0..n {
            for j in 0..=i {
                squared[i][j] += s.weight * s.weight * slopes[i] * slopes[j];
            }
        }
    }
    mirror(&mut squared, n);
    let inverse = inverse(&matrix, n)?;
    let product = |a: &Square, b: &Square| {
        let mut out = [[0.0; MOST]; MOST];
        for i in 0..n {
            for j in 0..n {
                out[i][j] = (0..n).map(|k| a[i][k] * b[k][j]).sum();
            }
        }
        out
    };
    let half = product(&inverse, &squared);
    let freedom = whole - (0..n).map(|k| half[k][k]).sum::<f64>();
    // With as many parameters as samples nothing is left to tell noise by.
    let variance = if freedom > 1e-9 * whole { sum / freedom } else { sum / whole };
    let covariance = product(&half, &inverse);
    let errors = standard_errors(&shape, &covariance, variance);
    let rms = (sum / whole).sqrt();
    rms.is_finite().then_some(Fit { shape, rms, sigma: variance.sqrt(), largest, errors })
}

fn standard_errors(shape: &Shape, covariance: &Square, variance: f64) -> StandardErrors {
    let root = |x: f64| (variance * x.max(0.0)).sqrt();
    // The larger eigenvalue of a symmetric 2 x 2 block.
    let of_two = |i: usize, j: usize| {
        let (a, b, c) = (covariance[i][i], covariance[j][j], covariance[i][j]);
        root(0.5 * (a + b) + (0.5 * (a - b)).hypot(c))
    };
    match shape {
        Shape::Plane { .. } => StandardErrors {
            place: root(covariance[0][0]),
            direction_rad: of_two(1, 2),
            ..Default::default()
        },
        Shape::Sphere { .. } => {
            let block = [0, 1, 2].map(|i| [0, 1, 2].map(|j| covariance[i][j]));
            StandardErrors {
                place: root(eigen(block)[2].0),
                radius: root(covariance[3][3]),
                ..Default::default()
            }
        }
        Shape::Cylinder { .. } | Shape::Cone { .. } => StandardErrors {
            place: of_two(0, 1),
            direction_rad: of_two(2, 3),
            radius: root(covariance[4][4]),
            half_angle_rad: root(covariance[5][5]),
        },
    }
}
