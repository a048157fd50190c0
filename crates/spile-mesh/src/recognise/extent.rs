//! How much of a shape is there.

use std::f64::consts::{PI, TAU};

use super::shape::{Shape, off_axis, square_to};
use super::surface::Surface;

/// How much of a shape is there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Extent {
    /// Area of its triangles.
    pub area: f64,
    /// From end to end: along the axis of a cylinder or cone, across a plane
    /// in the direction in which it is longest, across a sphere's part.
    pub length: f64,
    /// A plane's width square to its length; zero for other shapes.
    pub width: f64,
    /// The angle that the triangles go round the axis, or that a sphere's part
    /// opens as seen from its centre, in radians; zero for a plane.
    pub swept_rad: f64,
}

pub(super) fn extent(surface: &Surface, triangles: &[u32], shape: &Shape) -> Extent {
    let area = surface.area_of(triangles);
    let points = || triangles.iter().flat_map(|&t| surface.corners(t));
    let span = |value: &dyn Fn(glam::DVec3) -> f64| {
        let (low, high) = points()
            .map(value)
            .fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), x| (low.min(x), high.max(x)));
        high - low
    };
    match *shape {
        Shape::Plane { through, normal } => {
            let [u, v] = square_to(normal);
            // The longest of as many directions as tell it to a degree or so.
            let across = |k: u32| {
                let (sin, cos) = (PI * f64::from(k) / 90.0).sin_cos();
                let way = u * cos + v * sin;
                span(&|p| (p - through).dot(way))
            };
            let (length, k) = longest((0..90).map(|k| (across(k), k)));
            Extent { area, length, width: across((k + 45) % 90), swept_rad: 0.0 }
        }
        Shape::Sphere { centre, radius } => {
            let way = triangles
                .iter()
                .map(|&t| surface.facets[t as usize])
                .map(|f| (f.middle - centre).normalize_or_zero() * f.area)
                .sum::<glam::DVec3>()
                .normalize_or_zero();
            let widest = points()
                .map(|p| (p - centre).normalize_or_zero().dot(way).clamp(-1.0, 1.0).acos())
                .fold(0.0, f64::max);
            let length = 2.0 * radius * widest.min(0.5 * PI).sin();
            Extent { area, length, width: 0.0, swept_rad: 2.0 * widest }
        }
        Shape::Cylinder { through, axis, .. } | Shape::Cone { through, axis, .. } => {
            let length = span(&|p| (p - through).dot(axis));
            Extent { area, length, width: 0.0, swept_rad: swept(surface, triangles, shape) }
        }
    }
}

fn longest(all: impl Iterator<Item = (f64, u32)>) -> (f64, u32) {
    all.fold((0.0, 0), |best, next| if next.0 > best.0 { next } else { best })
}

/// The angle that the triangles cover round the axis.
fn swept(surface: &Surface, triangles: &[u32], shape: &Shape) -> f64 {
    let (Some(axis), through) = (shape.direction(), shape.place()) else { return 0.0 };
    let [u, v] = square_to(axis);
    let mut spans: Vec<[f64; 2]> = Vec::with_capacity(triangles.len());
    for &t in triangles {
        let angles = surface.corners(t).map(|p| {
            let (q, _, _) = off_axis(p - through, axis);
            q.dot(v).atan2(q.dot(u))
        });
        // A facet turns by less than half a turn: angles relative to the first.
        let near = |a: f64| (a - angles[0] + 3.0 * PI).rem_euclid(TAU) - PI;
        let [low, high] = [near(angles[1]), near(angles[2])]
            .into_iter()
            .fold([0.0_f64, 0.0_f64], |[low, high], x| [low.min(x), high.max(x)]);
        let start = (angles[0] + low).rem_euclid(TAU);
        spans.push([start, start + high - low]);
    }
    covered(spans)
}

/// The angle that these spans cover of a turn; each starts in it.
fn covered(mut spans: Vec<[f64; 2]>) -> f64 {
    spans.sort_by(|a, b| a[0].total_cmp(&b[0]));
    // What reaches past the turn covers its beginning.
    let wrapped = spans.iter().map(|s| s[1] - TAU).fold(0.0, f64::max);
    let (mut sum, mut reached) = (wrapped, wrapped);
    for [start, end] in spans {
        let end = end.min(TAU);
        if end > reached {
            sum += end - start.max(reached);
            reached = end;
        }
    }
    sum.min(TAU)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_of_a_turn_are_joined() {
        assert!((covered(vec![[0.0, 1.0], [0.5, 2.0]]) - 2.0).abs() < 1e-15);
        assert!((covered(vec![[6.0, 7.0], [0.1, 0.5]]) - 1.0).abs() < 1e-12);
        assert!((covered(vec![[0.0, 4.0], [3.0, 7.0]]) - TAU).abs() < 1e-15);
    }
}
