//! Shapes from formulas, for the tests of this crate.

use glam::DVec3;

use crate::Mesh;

/// A tube of `n` sides along z, radius `radius(z)`, with rings at `heights`
/// (rising) and open ends, facing outward.
pub fn tube(n: u32, heights: &[f64], radius: impl Fn(f64) -> f64) -> Mesh {
    let mut points = Vec::new();
    for &z in heights {
        for i in 0..n {
            let angle = std::f64::consts::TAU * f64::from(i) / f64::from(n);
            points.push(DVec3::new(radius(z) * angle.cos(), radius(z) * angle.sin(), z));
        }
    }
    let mut triangles = Vec::new();
    for ring in 0..heights.len() as u32 - 1 {
        for i in 0..n {
            let (a, b) = (ring * n + i, ring * n + (i + 1) % n);
            triangles.push([a, b, b + n]);
            triangles.push([a, b + n, a + n]);
        }
    }
    Mesh::new(points, triangles).unwrap()
}

/// A torus about z with `n` points round the axis and `m` round the tube.
pub fn torus(n: u32, m: u32, ring: f64, radius: f64) -> Mesh {
    let turn = |i: u32, of: u32| std::f64::consts::TAU * f64::from(i) / f64::from(of);
    let mut points = Vec::new();
    for i in 0..n {
        let (s, c) = turn(i, n).sin_cos();
        for j in 0..m {
            let (v, u) = turn(j, m).sin_cos();
            let out = ring + radius * u;
            points.push(DVec3::new(out * c, out * s, radius * v));
        }
    }
    let mut triangles = Vec::new();
    for i in 0..n {
        for j in 0..m {
            let at = |i: u32, j: u32| (i % n) * m + j % m;
            let [a, b, c, d] = [at(i, j), at(i + 1, j), at(i + 1, j + 1), at(i, j + 1)];
            triangles.push([a, b, c]);
            triangles.push([a, c, d]);
        }
    }
    Mesh::new(points, triangles).unwrap()
}

/// The two meshes as one, sharing nothing.
pub fn together(a: &Mesh, b: &Mesh) -> Mesh {
    Mesh::joined([a, b]).unwrap()
}

/// The mesh turned inside out.
pub fn flipped(mesh: &Mesh) -> Mesh {
    let triangles = mesh.triangles().iter().map(|&[a, b, c]| [a, c, b]).collect();
    Mesh::new(mesh.points().to_vec(), triangles).unwrap()
}
