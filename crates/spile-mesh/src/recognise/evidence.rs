//! What speaks for a region being a shape: false finds are worse than misses.

use std::f64::consts::{FRAC_PI_2, PI, TAU};

use super::extent::{self, Extent};
use super::grow::Grown;
use super::judge::Left;
use super::shape::Shape;
use super::surface::{CREASE_COS, Cloud, Marks, Surface};

/// A region smaller than this share of the mesh's area is not looked for.
const LEAST_AREA_SHARE: f64 = 0.003;
/// A shape with noise on it covers at least this share of the area: small
/// pieces of any smooth surface resemble one.
const LEAST_NOISY_SHARE: f64 = 0.02;
/// A sphere with noise on it shows at least this share of itself: a half, about.
const LEAST_NOISY_SPHERE_SHARE: f64 = 0.4;
/// A cylinder or cone with noise on it fills this share of the angle and length
/// that it spans.
const LEAST_NOISY_FILL: f64 = 0.6;
/// A round shape with noise on it must go round at least this far (200 degrees)
/// to be told from what merely bends; exact facets 15 degrees.
const LEAST_NOISY_SWEPT_RAD: f64 = 3.5;
const LEAST_SWEPT_RAD: f64 = PI / 12.0;
/// A noisy cylinder or cone is at least this long beside its radius.
const LEAST_NOISY_LENGTH: f64 = 0.5;
/// Points that a fit needs for each of its parameters, where they do not agree
/// to rounding.
const POINTS_A_PARAMETER: usize = 6;
/// A plane of fewer points than this must be a fair share of the whole: any two
/// triangles may chance to lie in one.
const FEW_POINTS: usize = 8;
const FEW_POINTS_AREA_SHARE: f64 = 0.02;
/// Points that facets of the shape surround, for a round shape to be told
/// without its ends.
const LEAST_INNER: usize = 4;
/// A shape of two rows of corners goes round (350 degrees).
const FULL_TURN_RAD: f64 = TAU * 350.0 / 360.0;
/// A row is sharp where this share of its length is.
const SHARP_SHARE: f64 = 0.9;
/// A ring half as long as its radius may pass into its neighbours by less than
/// 10 degrees: over its length they then bend as a circle of three radii does.
const FLAT_LENGTH: f64 = 0.5;
const FLAT_COS: f64 = 0.984_8;
/// Border of a ring that is of neither row may be this share of the rows'.
const STRAY_SHARE: f64 = 0.1;
/// Corners this share of the length from an end are of the end's row.
const ROW_SHARE: f64 = 0.01;

/// Whether a region that could grow no further is a shape.
pub(super) fn is_shape(surface: &Surface, marks: &mut Marks, grown: &Grown) -> bool {
    let share = surface.area_of(&grown.triangles) / surface.area;
    let shape = &grown.fit.shape;
    let cloud = surface.cloud(marks, &grown.triangles);
    if share < LEAST_AREA_SHARE || cloud.samples.len() <= shape.parameters() {
        return false;
    }
    let left = Left::over(shape, &cloud);
    let is_exact = left.is_rounding(surface.rounding);
    let extent = extent::extent(surface, &grown.triangles, shape);
    let enough = if is_exact {
        is_enough_exact(surface, grown, &cloud, &extent, share)
    } else {
        is_enough_noisy(shape, &cloud, &extent, share)
    };
    enough && left.is_explained(size(shape, &extent), surface.rounding)
}

/// Whether a small region may become a shape as it grows.
pub(super) fn may_be_shape(surface: &Surface, marks: &mut Marks, grown: &Grown) -> bool {
    let cloud = surface.cloud(marks, &grown.triangles);
    let left = Left::over(&grown.fit.shape, &cloud);
    let points = cloud.samples.len();
    let needed = grown.fit.shape.parameters() * POINTS_A_PARAMETER;
    left.is_rounding(surface.rounding) || (points >= needed && left.may_be_noise())
}

fn is_enough_noisy(shape: &Shape, cloud: &Cloud, extent: &Extent, share: f64) -> bool {
    let points = cloud.samples.len();
    share >= LEAST_NOISY_SHARE
        && points >= POINTS_A_PARAMETER * shape.parameters()
        && 2 * cloud.inner >= points
        && match *shape {
            Shape::Plane { .. } => true,
            Shape::Sphere { radius, .. } => {
                extent.area >= LEAST_NOISY_SPHERE_SHARE * 2.0 * TAU * radius * radius
            }
            Shape::Cylinder { radius, .. } | Shape::Cone { radius, .. } => {
                let full = extent.swept_rad * radius * extent.length;
                extent.swept_rad >= LEAST_NOISY_SWEPT_RAD
                    && extent.length >= LEAST_NOISY_LENGTH * radius
                    && extent.area >= LEAST_NOISY_FILL * full
            }
        }
}

fn is_enough_exact(
    surface: &Surface,
    grown: &Grown,
    cloud: &Cloud,
    extent: &Extent,
    share: f64,
) -> bool {
    let is_inner = cloud.inner >= LEAST_INNER && extent.swept_rad >= LEAST_SWEPT_RAD;
    match grown.fit.shape {
        Shape::Plane { .. } => cloud.samples.len() >= FEW_POINTS || share >= FEW_POINTS_AREA_SHARE,
        Shape::Sphere { .. } => is_inner,
        Shape::Cylinder { radius, .. } | Shape::Cone { radius, .. } => {
            is_inner || is_ring(surface, grown, cloud, extent, radius)
        }
    }
}

/// Whether facets without a point among them, which is all that many a
/// tessellated tube has, tell a cylinder or cone.
///
/// Any two circles about an axis lie on a cone, so a torus is a stack of such
/// rings. This one must go round, end sharply at one end at least, and at the
/// other too unless it is as long as its radius, or half of it and passes into
/// its neighbours almost straight.
fn is_ring(surface: &Surface, grown: &Grown, cloud: &Cloud, extent: &Extent, radius: f64) -> bool {
    let (through, Some(axis)) = (grown.fit.shape.place(), grown.fit.shape.direction()) else {
        return false;
    };
    let along = |p: glam::DVec3| (p - through).dot(axis);
    let mut heights: Vec<f64> = cloud.samples.iter().map(|s| along(s.at)).collect();
    heights.sort_by(f64::total_cmp);
    // Half of the points are of each row, but for a few that chance to lie on
    // the shape past its end.
    let (low, high) = (heights[heights.len() / 8], heights[heights.len() - 1 - heights.len() / 8]);
    if extent.swept_rad < FULL_TURN_RAD {
        return false;
    }
    let near = ROW_SHARE * (high - low);
    let mut rows = [[0.0_f64; 3]; 2];
    let mut between = 0.0;
    let inside: std::collections::BTreeSet<u32> = grown.triangles.iter().copied().collect();
    for &t in &grown.triangles {
        let corners = surface.corners(t);
        for k in 0..3 {
            let other = surface.topology.across(3 * t + k as u32);
            if other.is_some_and(|n| inside.contains(&n)) {
                continue;
            }
            let [a, b] = [corners[k], corners[(k + 1) % 3]];
            let is_of = |row: f64| [a, b].iter().all(|&p| (along(p) - row).abs() <= near);
            let normal = surface.facets[t as usize].normal;
            let turn = other.map_or(-1.0, |n| normal.dot(surface.facets[n as usize].normal));
            let length = a.distance(b);
            let Some(row) = [low, high].iter().position(|&row| is_of(row)) else {
                between += length;
                continue;
            };
            rows[row][0] += length;
            rows[row][1] += if turn < CREASE_COS { length } else { 0.0 };
            rows[row][2] += if turn > FLAT_COS { length } else { 0.0 };
        }
    }
    if between > STRAY_SHARE * (rows[0][0] + rows[1][0]) {
        return false;
    }
    let most = |of: usize| rows.map(|row| row[0] > 0.0 && row[of] >= SHARP_SHARE * row[0]);
    let (sharp, flat) = (most(1), most(2));
    let runs_on =
        extent.length >= radius || ((flat[0] || flat[1]) && extent.length >= FLAT_LENGTH * radius);
    (sharp[0] && sharp[1]) || ((sharp[0] || sharp[1]) && runs_on)
}

/// What the leftover is held against: a plane's size, or how far a round
/// shape's arc stands off its chord.
fn size(shape: &Shape, extent: &Extent) -> f64 {
    match *shape {
        Shape::Plane { .. } => extent.area.sqrt(),
        Shape::Sphere { radius, .. }
        | Shape::Cylinder { radius, .. }
        | Shape::Cone { radius, .. } => {
            radius * (1.0 - (0.5 * extent.swept_rad).min(FRAC_PI_2).cos())
        }
    }
}
