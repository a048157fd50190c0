//! How well shaped triangles are.

use glam::DVec3;

use crate::Mesh;
use crate::topology::{Topology, ends};

/// Sine of the smallest angle of a triangle, 0 to 0.866; 0 without area.
pub(super) fn least_sine([a, b, c]: [DVec3; 3]) -> f64 {
    let area = (b - a).cross(c - a).length();
    let mut sides = [a.distance_squared(b), b.distance_squared(c), c.distance_squared(a)];
    sides.sort_by(f64::total_cmp);
    // Twice the area is any two sides times the sine between them; the smallest
    // angle lies between the two longest.
    let product = (sides[1] * sides[2]).sqrt();
    if product > 0.0 { area / product } else { 0.0 }
}

/// The unit normal; zero where the triangle has no area.
pub(super) fn normal([a, b, c]: [DVec3; 3]) -> DVec3 {
    (b - a).cross(c - a).normalize_or_zero()
}

/// The height of a triangle over its longest side.
pub(super) fn least_height([a, b, c]: [DVec3; 3]) -> f64 {
    let longest =
        a.distance_squared(b).max(b.distance_squared(c)).max(c.distance_squared(a)).sqrt();
    let area = (b - a).cross(c - a).length();
    if longest > 0.0 { area / longest } else { 0.0 }
}

/// The smallest angle of each triangle of `mesh`, in degrees.
pub fn least_angles_deg(mesh: &Mesh) -> Vec<f64> {
    let all = 0..mesh.triangles().len();
    all.map(|t| least_sine(mesh.corners(t)).clamp(0.0, 1.0).asin().to_degrees()).collect()
}

/// For each triangle of `mesh` twice its inscribed circle's radius over its
/// circumscribed one's: 1 where it is equilateral, 0 without area.
///
/// # Source
/// Closed forms r = 2 A / (a + b + c) and R = a b c / (4 A).
pub fn radius_ratios(mesh: &Mesh) -> Vec<f64> {
    let ratio = |t: usize| {
        let [p, q, r] = mesh.corners(t);
        let [a, b, c] = [q.distance(r), r.distance(p), p.distance(q)];
        let area = 0.5 * mesh.area_normal(t).length();
        let below = (a + b + c) * a * b * c;
        if below > 0.0 { 16.0 * area * area / below } else { 0.0 }
    };
    (0..mesh.triangles().len()).map(ratio).collect()
}

/// For each triangle of `mesh` whether it lies within so many rings of
/// triangles of an open edge; a ring is all that share a point.
pub fn near_boundary(mesh: &Mesh, rings: usize) -> Vec<bool> {
    let topology = Topology::of(mesh);
    let mut point = vec![false; mesh.points().len()];
    for &h in topology.boundary() {
        ends(mesh, h).into_iter().for_each(|v| point[v as usize] = true);
    }
    let mut near = vec![false; mesh.triangles().len()];
    for _ in 0..rings {
        for (t, corners) in mesh.triangles().iter().enumerate() {
            near[t] = near[t] || corners.iter().any(|&v| point[v as usize]);
        }
        for (corners, _) in mesh.triangles().iter().zip(&near).filter(|&(_, &is_near)| is_near) {
            corners.iter().for_each(|&v| point[v as usize] = true);
        }
    }
    near
}

/// The least sine of an angle of the triangles within so many rings of an open edge.
pub(super) fn least_at_boundary(mesh: &Mesh, rings: usize) -> f64 {
    let near = near_boundary(mesh, rings);
    let near = (0..near.len()).filter(|&t| near[t]);
    near.map(|t| least_sine(mesh.corners(t))).fold(1.0, f64::min)
}

/// The triangles there whose least angle has a smaller sine than `least`.
pub(super) fn worse_at_boundary(mesh: &Mesh, rings: usize, least: f64) -> Vec<u32> {
    let near = near_boundary(mesh, rings);
    (0..near.len())
        .filter(|&t| near[t] && least_sine(mesh.corners(t)) < least)
        .map(|t| t as u32)
        .collect()
}

/// The length of each edge of `mesh`, once, divided by `size` at its middle.
pub fn edge_shares(mesh: &Mesh, topology: &Topology, size: &dyn Fn(DVec3) -> f64) -> Vec<f64> {
    (0..3 * mesh.triangles().len() as u32)
        .filter(|&h| topology.twin(h) > h)
        .map(|h| {
            let [a, b] = ends(mesh, h).map(|v| mesh.points()[v as usize]);
            a.distance(b) / size(0.5 * (a + b))
        })
        .collect()
}
