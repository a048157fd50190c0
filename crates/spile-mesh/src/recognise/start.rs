//! First guesses of each kind of shape, by linear means.

use glam::DVec3;

use super::fit::Sample;
use super::shape::{MOST, Shape, square_to};
use crate::dense::{add_outer, eigen, inverse, times};

/// A facet as the guesses see it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Facet {
    pub(super) middle: DVec3,
    /// Unit; zero where the facet has no area.
    pub(super) normal: DVec3,
    pub(super) area: f64,
}

pub(super) fn plane(samples: &[Sample], facets: &[Facet]) -> Option<Shape> {
    let normal = facets.iter().map(|f| f.normal * f.area).sum::<DVec3>().try_normalize()?;
    Some(Shape::Plane { through: samples.first()?.at, normal })
}

/// The sphere of least algebraic distance: |p|^2 = 2 c.p + k is linear in c, k.
pub(super) fn sphere(samples: &[Sample]) -> Option<Shape> {
    let origin = middle(samples)?;
    let rows = samples.iter().map(|s| {
        let d = s.at - origin;
        ([2.0 * d.x, 2.0 * d.y, 2.0 * d.z, 1.0, 0.0, 0.0], d.length_squared(), s.weight)
    });
    let x = linear(rows, 4)?;
    let offset = DVec3::new(x[0], x[1], x[2]);
    let square = x[3] + offset.length_squared();
    (square > 0.0).then(|| Shape::Sphere { centre: origin + offset, radius: square.sqrt() })
}

/// The axis is square to all normals, so it is the direction in which they
/// spread least; across it the points lie on a circle.
pub(super) fn cylinder(samples: &[Sample], facets: &[Facet]) -> Option<Shape> {
    let mut spread = [[0.0; 3]; 3];
    facets.iter().for_each(|f| add_outer(&mut spread, f.normal, f.area));
    round_about(samples, eigen(spread)[0].1)
}

fn round_about(samples: &[Sample], axis: DVec3) -> Option<Shape> {
    let axis = axis.try_normalize()?;
    let origin = middle(samples)?;
    let [u, v] = square_to(axis);
    let rows = samples.iter().map(|s| {
        let (x, y) = ((s.at - origin).dot(u), (s.at - origin).dot(v));
        ([2.0 * x, 2.0 * y, 1.0, 0.0, 0.0, 0.0], x * x + y * y, s.weight)
    });
    let x = linear(rows, 3)?;
    let square = x[2] + x[0] * x[0] + x[1] * x[1];
    let through = origin + u * x[0] + v * x[1];
    (square > 0.0).then(|| Shape::Cylinder { through, axis, radius: square.sqrt() })
}

/// The normals all stand at one angle to the axis, so it is the direction in
/// which they spread least about their mean; all tangent planes meet at the tip.
pub(super) fn cone(samples: &[Sample], facets: &[Facet]) -> Option<Shape> {
    let whole: f64 = facets.iter().map(|f| f.area).sum();
    let mean = facets.iter().map(|f| f.normal * f.area).sum::<DVec3>() / whole;
    let mut spread = [[0.0; 3]; 3];
    facets.iter().for_each(|f| add_outer(&mut spread, f.normal - mean, f.area));
    let axis = eigen(spread)[0].1;
    let origin = middle(samples)?;
    let rows = facets.iter().map(|f| {
        let [x, y, z] = f.normal.to_array();
        ([x, y, z, 0.0, 0.0, 0.0], f.normal.dot(f.middle - origin), f.area)
    });
    let x = linear(rows, 3)?;
    let apex = origin + DVec3::new(x[0], x[1], x[2]);
    let axis = if (origin - apex).dot(axis) < 0.0 { -axis } else { axis };
    let height = (origin - apex).dot(axis);
    let half_angle_rad = mean.dot(axis).abs().clamp(0.0, 0.999).asin();
    let radius = height * half_angle_rad.tan();
    (radius > 0.0 && radius.is_finite()).then(|| Shape::Cone {
        through: apex + axis * height,
        axis,
        radius,
        half_angle_rad,
    })
}

/// A cylinder as the cone that it is.
pub(super) fn as_cone(cylinder: Shape) -> Option<Shape> {
    match cylinder {
        Shape::Cylinder { through, axis, radius } => {
            Some(Shape::Cone { through, axis, radius, half_angle_rad: 0.0 })
        }
        _ => None,
    }
}

fn middle(samples: &[Sample]) -> Option<DVec3> {
    let origin = samples.first()?.at;
    let whole: f64 = samples.iter().map(|s| s.weight).sum();
    Some(origin + samples.iter().map(|s| (s.at - origin) * s.weight).sum::<DVec3>() / whole)
}

/// Weighted linear least squares of `row . x = value`.
fn linear(
    rows: impl Iterator<Item = ([f64; MOST], f64, f64)>,
    unknowns: usize,
) -> Option<[f64; MOST]> {
    let (mut matrix, mut right) = ([[0.0; MOST]; MOST], [0.0; MOST]);
    for (row, value, weight) in rows {
        for i in 0..unknowns {
            right[i] += weight * row[i] * value;
            for j in 0..unknowns {
                matrix[i][j] += weight * row[i] * row[j];
            }
        }
    }
    inverse(&matrix, unknowns).map(|inverse| times(&inverse, &right, unknowns))
}
