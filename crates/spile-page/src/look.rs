//! What is measured for the eye while something is moved: sections and the line along
//! the bore. The case and the proof have their own.

use std::f64::consts::PI;

use spile_mesh::{DVec3, Mesh, Plane};
use spile_proof::centreline::{March, centreline};
use spile_proof::flow_section::BoreSurface;

use crate::messages::{
    LineAsked, LinePoint, LineShown, LoopShown, PlaneAsked, Refusal, SectionShown,
};
use crate::surface::Surface;

/// Points of the line a radius.
const POINTS_A_RADIUS: f64 = 6.0;
/// The line goes on for this many diameters at most.
const DIAMETERS: f64 = 12.0;

/// The loops of a surface where a plane cuts it, the nearest to the asked point first.
pub(crate) fn cut(surface: &Surface, asked: PlaneAsked) -> Result<SectionShown, Refusal> {
    let (point, facing) = (DVec3::from(asked.through), DVec3::from(asked.facing));
    let normal = facing.normalize_or_zero();
    if !point.is_finite() || normal == DVec3::ZERO {
        return Err(Refusal::new("a plane needs a point and a direction"));
    }
    let mut loops = surface.loops(Plane { point, normal });
    loops.sort_by(|a, b| a.distance(point).total_cmp(&b.distance(point)));
    let shown = loops.iter().map(|found| {
        let (area, perimeter) = (found.area(normal).abs(), found.perimeter());
        LoopShown {
            points: found.points.iter().map(|p| p.to_array()).collect(),
            area,
            perimeter,
            roundness: 4.0 * PI * area / perimeter.powi(2),
            widths: widths(&found.points, normal),
        }
    });
    Ok(SectionShown { loops: shown.collect() })
}

/// The least and greatest width of points in a plane: the least lies square to an edge
/// of their hull, the greatest between two of its corners.
fn widths(points: &[DVec3], normal: DVec3) -> [f64; 2] {
    let (u, v) = normal.any_orthonormal_pair();
    let hull = hull(points.iter().map(|p| [p.dot(u), p.dot(v)]).collect());
    let far = |[ax, ay]: [f64; 2], [bx, by]: [f64; 2]| (ax - bx).hypot(ay - by);
    let greatest =
        hull.iter().flat_map(|&a| hull.iter().map(move |&b| far(a, b))).fold(0.0, f64::max);
    let across = |k: usize| {
        let ([ax, ay], [bx, by]) = (hull[k], hull[(k + 1) % hull.len()]);
        let length = (bx - ax).hypot(by - ay);
        let height = |&[x, y]: &[f64; 2]| ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / length;
        hull.iter().map(height).fold(0.0, f64::max)
    };
    let least = (0..hull.len()).map(across).filter(|w| w.is_finite()).fold(greatest, f64::min);
    [least, greatest]
}

/// The corners of the convex hull, turning left (Andrew 1979, the monotone chain).
fn hull(mut points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    points.dedup();
    let turns_left = |a: [f64; 2], b: [f64; 2], c: [f64; 2]| {
        (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]) > 0.0
    };
    let chain = |points: &mut dyn Iterator<Item = [f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for p in points {
            while let [.., a, b] = chain[..]
                && !turns_left(a, b, p)
            {
                chain.pop();
            }
            chain.push(p);
        }
        chain.pop();
        chain
    };
    let mut all = chain(&mut points.iter().copied());
    all.extend(chain(&mut points.iter().rev().copied()));
    all
}

/// The line along the middle of the bore, from an open end inward.
pub(crate) fn line(mesh: &Mesh, asked: LineAsked) -> Result<LineShown, Refusal> {
    let (from, facing) = (DVec3::from(asked.from), DVec3::from(asked.facing).normalize_or_zero());
    if !from.is_finite() || facing == DVec3::ZERO || !(asked.bore > 0.0 && asked.bore.is_finite()) {
        return Err(Refusal::new("a line needs a place, a direction and a bore"));
    }
    let all: Vec<u32> = (0..mesh.triangles().len() as u32).collect();
    let radius = 0.5 * asked.bore;
    let march = March {
        from,
        facing,
        length: DIAMETERS * asked.bore,
        spacing: radius / POINTS_A_RADIUS,
        radius,
    };
    let found = centreline(&BoreSurface::of(mesh, &all), &march);
    let point = |p: &spile_proof::centreline::CentrePoint| LinePoint {
        along: -p.s,
        at: p.at.to_array(),
        facing: p.tangent.to_array(),
    };
    Ok(LineShown { points: found.points.iter().map(point).collect() })
}

#[cfg(test)]
mod tests {
    use spile_mesh::DVec3;

    /// Widths of an ellipse of half axes 3 and 2 are its axes; of a rectangle 4 by 3 its
    /// short side and its diagonal.
    #[test]
    fn widths_are_those_of_the_shape() {
        let ellipse: Vec<DVec3> = (0..720)
            .map(|k| f64::from(k).to_radians() / 2.0)
            .map(|t| DVec3::new(3.0 * t.cos(), 2.0 * t.sin(), 1.0))
            .collect();
        let [least, greatest] = super::widths(&ellipse, DVec3::Z);
        assert!((least - 4.0).abs() < 1e-4 && (greatest - 6.0).abs() < 1e-4, "{least} {greatest}");
        let corners = [[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0], [2.0, 0.0]];
        let corners = corners.map(|[x, y]| DVec3::new(0.0, x, y));
        let [least, greatest] = super::widths(&corners, DVec3::X);
        assert!((least - 3.0).abs() < 1e-12 && (greatest - 5.0).abs() < 1e-12);
        assert_eq!(super::widths(&[DVec3::ZERO], DVec3::Z), [0.0, 0.0]);
    }
}
