//! What of a surface is shape: each point put onto the paraboloid that fits its
//! surroundings.
//!
//! A moving least-squares fit over one wave to each side: what is longer than
//! that stays as it is, and with it the curvature of a tube, at the rim too,
//! where the surroundings are on one side only.

use rayon::prelude::*;
use spile_mesh::{DVec3, Mesh, VertexTriangles, vertex_triangles};

/// The points of `mesh`, each moved along its normal onto the paraboloid that
/// fits the points nearer than its length of `waves`, weighted by the area
/// each stands for and fading out with distance. A point without such a length,
/// or with too few points round it, stays.
pub fn smooth(mesh: &Mesh, normals: &[DVec3], areas: &[f64], waves: &[Option<f64>]) -> Vec<DVec3> {
    let fans = vertex_triangles(mesh);
    (0..mesh.points().len())
        .into_par_iter()
        .map_init(Walk::default, |walk, v| {
            let p = mesh.points()[v];
            let fit = waves[v].and_then(|wave| {
                Paraboloid::over(mesh, (&fans, areas), (v as u32, normals[v]), wave, walk)
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
    let (normals, areas) = (mesh.point_normals(), mesh.point_areas());
    points
        .par_iter()
        .map_init(Walk::default, |walk, &v| {
            let normal = normals[v as usize];
            let fit = Paraboloid::over(mesh, (&fans, &areas), (v, normal), wave, walk);
            fit.map_or(normal, |fit| fit.normal)
        })
        .collect()
}

/// What a walk over the points near one needs, kept from point to point.
#[derive(Default)]
struct Walk {
    /// The number of the last walk that came to each point.
    seen: Vec<u32>,
    walks: u32,
    found: Vec<u32>,
}

impl Walk {
    /// The points nearer than `far` to point `v` that hang together with it over
    /// triangles all of whose corners are, in the order of their numbers.
    fn nearer_than(&mut self, mesh: &Mesh, fans: &VertexTriangles, v: u32, far: f64) -> &[u32] {
        self.seen.resize(mesh.points().len(), 0);
        self.walks += 1;
        self.found.clear();
        self.found.push(v);
        self.seen[v as usize] = self.walks;
        let (middle, far_squared) = (mesh.points()[v as usize], far * far);
        let mut next = 0;
        while let Some(&at) = self.found.get(next) {
            next += 1;
            for w in fans.of(at).iter().flat_map(|&t| mesh.triangles()[t as usize]) {
                let is_new = self.seen[w as usize] != self.walks;
                if is_new && mesh.points()[w as usize].distance_squared(middle) < far_squared {
                    self.seen[w as usize] = self.walks;
                    self.found.push(w);
                }
            }
        }
        self.found.sort_unstable();
        &self.found
    }
}

/// Terms of a paraboloid over a plane.
const TERMS: usize = 6;

/// The solution of a system with a symmetric positive matrix, of which the lower
/// half counts, by Cholesky's method; none where it is not positive.
fn solved(mut matrix: [[f64; TERMS]; TERMS], mut right: [f64; TERMS]) -> Option<[f64; TERMS]> {
    for i in 0..TERMS {
        for j in 0..=i {
            let known: f64 = (0..j).map(|k| matrix[i][k] * matrix[j][k]).sum();
            let left = matrix[i][j] - known;
            if i > j {
                matrix[i][j] = left / matrix[j][j];
            } else if left > 0.0 {
                matrix[i][i] = left.sqrt();
            } else {
                return None;
            }
        }
    }
    for i in 0..TERMS {
        let known: f64 = (0..i).map(|k| matrix[i][k] * right[k]).sum();
        right[i] = (right[i] - known) / matrix[i][i];
    }
    for i in (0..TERMS).rev() {
        let known: f64 = (i + 1..TERMS).map(|k| matrix[k][i] * right[k]).sum();
        right[i] = (right[i] - known) / matrix[i][i];
    }
    Some(right)
}

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
        walk: &mut Walk,
    ) -> Option<Self> {
        let near = walk.nearer_than(mesh, fans, v, far);
        if near.len() < 2 * TERMS || normal == DVec3::ZERO {
            return None;
        }
        let p = mesh.points()[v as usize];
        let (x, y) = normal.any_orthonormal_pair();
        let mut matrix = [[0.0; TERMS]; TERMS];
        let mut right = [0.0; TERMS];
        for &w in near {
            let q = (mesh.points()[w as usize] - p) / far;
            let (s, t) = (q.dot(x), q.dot(y));
            let row = [1.0, s, t, s * s, s * t, t * t];
            let weight = areas[w as usize] * (1.0 - q.length_squared()).powi(2);
            for i in 0..TERMS {
                right[i] += weight * row[i] * q.dot(normal);
                for j in 0..=i {
                    matrix[i][j] += weight * row[i] * row[j];
                }
            }
        }
        let fit = solved(matrix, right)?;
        let normal = (normal - x * fit[1] - y * fit[2]).normalize_or_zero();
        Some(Self { height: fit[0] * far, normal })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_small_system_is_solved_and_a_singular_one_refused() {
        // The Hilbert matrix, whose inverse times the first unit vector is whole:
        // for six rows 36, -630, 3360, -7560, 7560, -2772.
        let mut matrix = [[0.0; TERMS]; TERMS];
        for (i, row) in matrix.iter_mut().enumerate() {
            for (j, entry) in row.iter_mut().enumerate() {
                *entry = 1.0 / (i + j + 1) as f64;
            }
        }
        let found = solved(matrix, [1.0, 0.0, 0.0, 0.0, 0.0, 0.0]).unwrap();
        for (found, right) in found.iter().zip([36.0, -630.0, 3360.0, -7560.0, 7560.0, -2772.0]) {
            assert!((found / right - 1.0).abs() < 1e-8, "{found} {right}");
        }
        assert!(solved([[1.0; TERMS]; TERMS], [1.0; TERMS]).is_none());
    }

    #[test]
    fn a_point_off_a_paraboloid_is_drawn_onto_it_from_what_hangs_together() {
        let at = |i: u32, j: u32, lift: f64| {
            let (x, y) = (f64::from(i) - 5.0, f64::from(j) - 5.0);
            DVec3::new(x, y, 0.02 * x * x - 0.03 * x * y + 0.01 * y * y + 0.1 * x + lift)
        };
        let mut points: Vec<DVec3> =
            (0..121).map(|k| at(k / 11, k % 11, if k == 60 { 0.5 } else { 0.0 })).collect();
        let quad = |k: u32| [[k, k + 11, k + 12], [k, k + 12, k + 1]];
        let mut triangles: Vec<[u32; 3]> =
            (0..110).filter(|k| k % 11 != 10).flat_map(quad).collect();
        // Another sheet close by is none of its surroundings.
        points.extend((0..3).map(|k| at(5 + k % 2, 5 + k / 2, 1.0)));
        triangles.push([121, 122, 123]);
        let mesh = Mesh::new(points, triangles).unwrap();
        let (mut areas, mut waves) = (vec![1.0; 124], vec![None; 124]);
        // Its own place has no say.
        areas[60] = 0.0;
        waves[60] = Some(4.5);
        let smoothed = smooth(&mesh, &vec![DVec3::Z; 124], &areas, &waves);
        assert!((smoothed[60].z - at(5, 5, 0.0).z).abs() < 1e-12, "{}", smoothed[60]);
        assert_eq!(smoothed[0], mesh.points()[0]);
    }
}
