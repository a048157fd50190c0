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
