//! What of a surface is shape: each point put onto the paraboloid that fits its
//! surroundings.
//!
//! A moving least-squares fit over one wave to each side: what is longer than
//! that stays as it is, and with it the curvature of a tube, at the rim too,
//! where the surroundings are on one side only.

use rayon::prelude::*;
use spile_mesh::{DVec3, Mesh, VertexTriangles, vertex_triangles};

use super::point_areas;
use crate::least_squares::solve_dense;

/// The points of `mesh`, each moved along its normal onto the paraboloid that
/// fits the points nearer than its length of `waves`, weighted by the area
/// each stands for and fading out with distance. A point without such a length,
/// or with too few points round it, stays.
pub fn smooth(mesh: &Mesh, normals: &[DVec3], areas: &[f64], waves: &[Option<f64>]) -> Vec<DVec3> {
    let fans = vertex_triangles(mesh);
    (0..mesh.points().len())
        .into_par_iter()
        .map(|v| {
            let p = mesh.points()[v];
            let fit = waves[v].and_then(|wave| {
                Paraboloid::over(mesh, (&fans, areas), (v as u32, normals[v]), wave)
            });
            fit.map_or(p, |fit| p + normals[v] * fit.height)
        })
        .collect()
}

/// The unit normal of `mesh` at each of `points`, of the paraboloid that fits the
/// points nearer than `wave`: the slope of the shape, not of single triangles.
/// Where there is none, the mean of the triangles round the point.
pub fn normals_at(mesh: &Mesh, points: &[u32], wave: f64) -> Vec<DVec3> {
    let fans = vertex_triangles(mesh);
    let (normals, areas) = (mesh.point_normals(), point_areas(mesh));
    points
        .par_iter()
        .map(|&v| {
            let normal = normals[v as usize];
            let fit = Paraboloid::over(mesh, (&fans, &areas), (v, normal), wave);
            fit.map_or(normal, |fit| fit.normal)
        })
        .collect()
}

/// The points nearer than `far` to point `v` that hang together with it over
/// triangles all of whose corners are.
fn nearer_than(mesh: &Mesh, fans: &VertexTriangles, v: u32, far: f64) -> Vec<u32> {
    let is_near = |w: u32| mesh.points()[w as usize].distance(mesh.points()[v as usize]) < far;
    let mut found = std::collections::BTreeSet::from([v]);
    let mut queue = vec![v];
    while let Some(at) = queue.pop() {
        for w in fans.of(at).iter().flat_map(|&t| mesh.triangles()[t as usize]) {
            if is_near(w) && found.insert(w) {
                queue.push(w);
            }
        }
    }
    found.into_iter().collect()
}

/// Terms of a paraboloid over a plane.
const TERMS: usize = 6;

/// A paraboloid near one point.
struct Paraboloid {
    /// How high it passes over the point, along the normal there.
    height: f64,
    /// Its own unit normal there.
    normal: DVec3,
}

impl Paraboloid {
    /// The one that fits the points of `mesh` nearer to point `v` than `far`,
    /// seen along `normal`; none where they are too few to tell.
    fn over(
        mesh: &Mesh,
        (fans, areas): (&VertexTriangles, &[f64]),
        (v, normal): (u32, DVec3),
        far: f64,
    ) -> Option<Self> {
        let near = nearer_than(mesh, fans, v, far);
        if near.len() < 2 * TERMS || normal == DVec3::ZERO {
            return None;
        }
        let p = mesh.points()[v as usize];
        let (x, y) = normal.any_orthonormal_pair();
        let mut matrix = vec![vec![0.0; TERMS]; TERMS];
        let mut right = vec![0.0; TERMS];
        for &w in &near {
            let q = (mesh.points()[w as usize] - p) / far;
            let (s, t) = (q.dot(x), q.dot(y));
            let row = [1.0, s, t, s * s, s * t, t * t];
            let weight = areas[w as usize] * (1.0 - q.length_squared()).powi(2);
            for i in 0..TERMS {
                right[i] += weight * row[i] * q.dot(normal);
                for j in 0..TERMS {
                    matrix[i][j] += weight * row[i] * row[j];
                }
            }
        }
        let fit = solve_dense(&matrix, &right).ok()?;
        let normal = (normal - x * fit[1] - y * fit[2]).normalize_or_zero();
        Some(Self { height: fit[0] * far, normal })
    }
}
