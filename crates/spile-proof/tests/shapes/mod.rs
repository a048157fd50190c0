//! Tubes from formulas, for the tests of the bore and the wall.

#![allow(dead_code, reason = "each test file uses some of them")]

pub mod plain;

use spile_mesh::{DVec3, Mesh};
use std::f64::consts::{PI, TAU};

/// Points of a circle in the plane through `centre` square to `axis`.
pub fn ring(centre: DVec3, axis: DVec3, radius: f64, n: usize) -> Vec<DVec3> {
    turned_ring(centre, axis, radius, n, 0.0)
}

/// The same, turned by `turn` radians.
pub fn turned_ring(centre: DVec3, axis: DVec3, radius: f64, n: usize, turn: f64) -> Vec<DVec3> {
    // One reference direction for all rings, so that rings of a tube match.
    let u = (DVec3::X - DVec3::X.dot(axis) * axis).normalize();
    let v = axis.cross(u);
    (0..n)
        .map(|i| TAU * i as f64 / n as f64 + turn)
        .map(|a| centre + radius * (a.cos() * u + a.sin() * v))
        .collect()
}

/// The open tube through these rings, triangles facing away from the middle
/// where `is_outside`, else toward it.
pub fn tube(rings: &[Vec<DVec3>], is_outside: bool) -> Mesh {
    let n = rings[0].len();
    let points = rings.concat();
    let mut triangles = Vec::new();
    for k in 0..rings.len() - 1 {
        for i in 0..n {
            let (a, b) = ((k * n + i) as u32, (k * n + (i + 1) % n) as u32);
            let (c, d) = (a + n as u32, b + n as u32);
            if is_outside {
                triangles.extend([[a, b, d], [a, d, c]]);
            } else {
                triangles.extend([[a, d, b], [a, c, d]]);
            }
        }
    }
    Mesh::new(points, triangles).expect("indices in range")
}

/// All triangle numbers of a mesh.
pub fn all(mesh: &Mesh) -> Vec<u32> {
    (0..mesh.triangles().len() as u32).collect()
}

/// Corner radius of the regular n-gon as large as the circle (check-values,
/// section 5: n-gon of equal area).
pub fn equal_area(radius: f64, n: usize) -> f64 {
    let n = n as f64;
    radius / ((n / TAU) * (TAU / n).sin()).sqrt()
}

/// Area of a circle.
pub fn circle_area(radius: f64) -> f64 {
    PI * radius * radius
}

/// Heights from `from` to `to` in `count` equal steps, ends included.
pub fn steps(from: f64, to: f64, count: usize) -> impl Iterator<Item = f64> {
    (0..=count).map(move |i| from + (to - from) * i as f64 / count as f64)
}

/// Several meshes in one, points at one place made one; and each mesh's
/// triangle numbers in it.
pub fn joined(meshes: &[Mesh]) -> (Mesh, Vec<Vec<u32>>) {
    let mut order: Vec<DVec3> = meshes.iter().flat_map(|m| m.points().to_vec()).collect();
    let key = |p: &DVec3| p.to_array().map(|x| (x + 0.0).to_bits());
    order.sort_by_key(key);
    order.dedup_by_key(|p| key(p));
    let mut triangles = Vec::new();
    let mut numbers = Vec::new();
    for mesh in meshes {
        let from = triangles.len() as u32;
        for corners in mesh.triangles() {
            triangles.push(corners.map(|c| {
                let k = key(&mesh.points()[c as usize]);
                order.binary_search_by_key(&k, key).expect("every point was entered") as u32
            }));
        }
        numbers.push((from..triangles.len() as u32).collect());
    }
    (Mesh::new(order, triangles).expect("indices in range"), numbers)
}
