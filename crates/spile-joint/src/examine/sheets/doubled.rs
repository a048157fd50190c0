//! Sheets that lie twice, far nearer to each other than their triangles are
//! wide.

use rayon::prelude::*;
use spile_mesh::{Bounds3, Bvh, DVec3, Mesh, Topology};

use super::parts;

/// Layers nearer than this share of the local edge length are one sheet twice.
/// The thinnest walls of real scans are some tenths of it.
const NEAR_SHARE: f64 = 0.005;
/// The least cosine of the angle between the layers' normals, either way round.
const PARALLEL: f64 = 0.94;
/// How far from the middle to a corner the triangle is tried; not at the corner
/// itself, where the other layer may end.
const TO_CORNER: f64 = 0.9;
/// A lone triangle near another is a fold or a sliver, no sheet.
const FEWEST: usize = 2;

/// The doubled sheets, both layers together: the triangles that
/// have others straight above or below them, whole.
///
/// Cost: O(n log n).
pub(super) fn sheets(mesh: &Mesh, connectivity: &Topology) -> Vec<Vec<u32>> {
    let tree = Bvh::build(mesh);
    let count = mesh.triangles().len();
    let links: Vec<(u32, u32)> =
        (0..count as u32).into_par_iter().flat_map_iter(|t| over(mesh, &tree, t)).collect();
    let mut wanted = vec![false; count];
    links.iter().for_each(|&(t, _)| wanted[t as usize] = true);
    let mut found = parts(count, |t| wanted[t as usize], connectivity, &links);
    found.retain(|sheet| sheet.len() >= FEWEST);
    found
}

/// The triangles straight above or below the middle of `t`, if there are some
/// above or below its corners too: sheets that cross at a small angle are near
/// each other along a line only.
fn over(mesh: &Mesh, tree: &Bvh, t: u32) -> Vec<(u32, u32)> {
    let corners = mesh.corners(t as usize);
    let area_normal = mesh.area_normal(t as usize);
    let doubled_area = area_normal.length();
    if doubled_area.is_nan() || doubled_area <= 0.0 {
        return Vec::new();
    }
    let normal = area_normal / doubled_area;
    // The edge of an equilateral triangle of the same area, so that a needle is
    // not taken for wide.
    let near = NEAR_SHARE * (2.0 * doubled_area / 3.0_f64.sqrt()).sqrt();
    let own = sorted(mesh.triangles()[t as usize]);
    let over_point = |p: DVec3| {
        let mut found = Vec::new();
        tree.for_each_touching(Bounds3 { min: p - near, max: p + near }, &mut |u| {
            let is_other = u != t && sorted(mesh.triangles()[u as usize]) != own;
            if is_other && is_straight_over(mesh.corners(u as usize), p, normal, near) {
                found.push((t, u));
            }
        });
        found
    };
    let middle = (corners[0] + corners[1] + corners[2]) / 3.0;
    let found = over_point(middle);
    let is_over = |&corner: &DVec3| !over_point(middle + (corner - middle) * TO_CORNER).is_empty();
    if found.is_empty() || !corners.iter().all(is_over) { Vec::new() } else { found }
}

fn sorted(mut corners: [u32; 3]) -> [u32; 3] {
    corners.sort_unstable();
    corners
}

/// Whether the foot of `p` on the triangle's plane lies in the triangle, nearer
/// than `near`, and the triangle is parallel to the layer.
fn is_straight_over([a, b, c]: [DVec3; 3], p: DVec3, normal: DVec3, near: f64) -> bool {
    let area_normal = (b - a).cross(c - a);
    let length = area_normal.length();
    if length.is_nan() || length <= 0.0 || (area_normal / length).dot(normal).abs() < PARALLEL {
        return false;
    }
    let up = area_normal / length;
    let height = (p - a).dot(up);
    let foot = p - up * height;
    let inner = |from: DVec3, to: DVec3| (to - from).cross(foot - from).dot(up) >= 0.0;
    height.abs() < near && inner(a, b) && inner(b, c) && inner(c, a)
}
