//! The figures of one section of the bore.

use serde::Serialize;
use spile_mesh::Bvh;

use crate::flow_section::{BoreSurface, Frame, Walker, perimeter};
use crate::inscribed::inscribed_circle;
use crate::stations::outlines;

/// What a plane square to the line cuts from the bore.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Section {
    /// Open area. In this plane exact to rounding, as are the next three.
    pub area: f64,
    /// Wetted length: round the outline and any island.
    pub perimeter: f64,
    /// Four times area over perimeter.
    pub hydraulic_diameter: f64,
    /// Diameter of the smallest circle round the outline.
    pub circumscribed_diameter: f64,
    /// Guaranteed lower and upper bound of the diameter of the largest circle inside.
    pub inscribed_diameter: [f64; 2],
    /// Least distance of the outline's corners from the other side of the wall;
    /// none where there is no other side. An estimate from above.
    pub wall: Option<f64>,
    /// Centre of the inscribed circle.
    pub inscribed_centre: [f64; 3],
}

/// Share of the section's size to which the inscribed circle is found.
const INSCRIBED_GAP_SHARE: f64 = 5e-4;

/// The section of `bore` that the plane of `frame` cuts round its origin; none where no
/// loop closes there.
pub(super) fn section(
    bore: &BoreSurface,
    frame: &Frame,
    other: &Bvh,
    walker: &mut Walker,
) -> Option<Section> {
    let among = bore.between(frame, 0.0, 0.0);
    let found = bore.section(frame, 0.0, frame.origin, &among, walker)?;
    let outlines = outlines(bore, &found, frame);
    let wetted: f64 = outlines.iter().map(|outline| perimeter(outline)).sum();
    let circle = inscribed_circle(&outlines, INSCRIBED_GAP_SHARE * found.area.max(0.0).sqrt())?;
    let corners = outlines.iter().flatten().map(|&p| frame.in_space(p));
    let wall = corners.filter_map(|p| other.closest(p).map(|c| c.distance)).reduce(f64::min);
    Some(Section {
        area: found.area,
        perimeter: wetted,
        hydraulic_diameter: 4.0 * found.area / wetted,
        circumscribed_diameter: 2.0 * smallest_circle(outlines.first()?).1,
        inscribed_diameter: [2.0 * circle.lo, 2.0 * circle.hi],
        wall,
        inscribed_centre: frame.in_space(circle.centre).to_array(),
    })
}

/// Share of the radius by which a point may lie outside for rounding.
const OUTSIDE_SHARE: f64 = 1e-12;

/// Centre and radius of the smallest circle round the points.
///
/// Points are taken in a scattered order, which makes the expected cost linear.
///
/// # Source
/// Welzl 1991, Smallest enclosing disks (balls and ellipsoids), in its iterative form.
fn smallest_circle(points: &[[f64; 2]]) -> ([f64; 2], f64) {
    let p = scattered(points);
    let Some(&first) = p.first() else { return ([0.0, 0.0], 0.0) };
    let mut circle = (first, 0.0);
    for i in 1..p.len() {
        if is_in(circle, p[i]) {
            continue;
        }
        circle = (p[i], 0.0);
        for j in 0..i {
            if is_in(circle, p[j]) {
                continue;
            }
            circle = round_two(p[i], p[j]);
            for k in 0..j {
                if !is_in(circle, p[k]) {
                    circle = round_three(p[i], p[j], p[k]).unwrap_or(circle);
                }
            }
        }
    }
    circle
}

/// The points in an order that has nothing to do with how they follow each other.
fn scattered(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let mut order: Vec<(u64, usize)> = (0..points.len())
        .map(|i| ((i as u64 + 1).wrapping_mul(0x9E37_79B9_7F4A_7C15).rotate_left(23), i))
        .collect();
    order.sort_unstable();
    order.into_iter().map(|(_, i)| points[i]).collect()
}

fn is_in((centre, radius): ([f64; 2], f64), p: [f64; 2]) -> bool {
    (p[0] - centre[0]).hypot(p[1] - centre[1]) <= radius * (1.0 + OUTSIDE_SHARE)
}

fn round_two(a: [f64; 2], b: [f64; 2]) -> ([f64; 2], f64) {
    let centre = [0.5 * (a[0] + b[0]), 0.5 * (a[1] + b[1])];
    (centre, 0.5 * (a[0] - b[0]).hypot(a[1] - b[1]))
}

/// None for points on a line: then two of them have the circle already, to rounding.
fn round_three(a: [f64; 2], b: [f64; 2], c: [f64; 2]) -> Option<([f64; 2], f64)> {
    let (u, v) = ([b[0] - a[0], b[1] - a[1]], [c[0] - a[0], c[1] - a[1]]);
    let twice = 2.0 * (u[0] * v[1] - u[1] * v[0]);
    let (uu, vv) = (u[0] * u[0] + u[1] * u[1], v[0] * v[0] + v[1] * v[1]);
    let to = [(v[1] * uu - u[1] * vv) / twice, (u[0] * vv - v[0] * uu) / twice];
    let radius = to[0].hypot(to[1]);
    radius.is_finite().then_some(([a[0] + to[0], a[1] + to[1]], radius))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn smallest_circle_of_an_ellipse_is_its_long_axis() {
        // check-values C21 to C24: semi-axes 12 and 8, minimum circumscribed 24.
        let ellipse: Vec<[f64; 2]> = (0..400)
            .map(|i| std::f64::consts::TAU * f64::from(i) / 400.0)
            .map(|a| [5.0 + 12.0 * a.cos(), 8.0 * a.sin() - 3.0])
            .collect();
        let (centre, radius) = smallest_circle(&ellipse);
        assert!((2.0 * radius - 24.0).abs() < 1e-9, "{radius}");
        assert!((centre[0] - 5.0).hypot(centre[1] + 3.0) < 1e-9);
    }

    #[test]
    fn smallest_circle_holds_all_points_and_no_smaller_one_does() {
        // Of three corners of an acute triangle it is the circumcircle (3 4 5 has its
        // hypotenuse as diameter).
        let (_, radius) = smallest_circle(&[[0.0, 0.0], [3.0, 0.0], [0.0, 4.0], [1.0, 1.0]]);
        assert!((radius - 2.5).abs() < 1e-12);
        let side = 2.0;
        let height = 3.0_f64.sqrt();
        let (_, radius) = smallest_circle(&[[0.0, 0.0], [side, 0.0], [1.0, height]]);
        assert!((radius - side / height).abs() < 1e-12);
        assert_eq!(smallest_circle(&[]).1, 0.0);
    }
}
